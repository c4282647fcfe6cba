"""Which pages of a job the phones ask for, and how often."""

from __future__ import annotations

from typing import Final

PAGES: Final = (
    ("/job/{job}", 8),
    ("/job/{job}/find", 6),
    ("/job/{job}/take", 3),
    ("/job/{job}/drive", 3),
    ("/job/{job}/complaint", 2),
    ("/job/{job}/plan", 2),
    ("/job/{job}/hold", 2),
    ("/job/{job}/coolant", 2),
    ("/job/{job}/bolts", 2),
    ("/job/{job}/history", 1),
    ("/job/{job}/compare", 1),
    ("/job/{job}/how", 1),
    ("/job/{job}/proof", 1),
)
