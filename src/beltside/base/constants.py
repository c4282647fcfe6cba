"""Constants of nature and of standards, each with its unit and source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Constant:
    """A figure that is the same for every car.

    Attributes
    ----------
    value
        The figure.
    unit
        Its unit, as written behind a number.
    source
        Author or standard, year, place in it; how sure that is.
    """

    value: float
    unit: str
    source: str


PK_PITCH_LINE: Final = Constant(
    2.0,
    "mm",
    "ISO 9981:2020, 5.2: nominal b_e of a PK pulley, pitch diameter = effective diameter + 2 b_e",
)
"""How far the cords of a PK belt run outside the effective diameter of a ribbed pulley."""

SOUND_SPEED: Final = Constant(
    343.2,
    "m/s",
    "ISO 9613-1:1993, equation A.5, dry air at 20 degrees Celsius (from memory)",
)
"""Speed of sound in the air of a workshop."""
