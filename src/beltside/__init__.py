"""Beltside: from phone recordings of an engine to the part that makes the noise."""

__version__ = "0.1.0"
