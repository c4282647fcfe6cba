"""Errors, units, constants with their sources, words and provenance. Standard library and numpy."""
