"""Part files: holes, outline and heights of one flat part, in millimetres or in a picture."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from beltside.casework.formats.fields import Keys, Number, OneOrMore, Text, Word
from beltside.casework.formats.photo_keys import MOST_PX, KnownKeys, Size, Taps

SIDES = ("mating", "back")


class HoleKeys(Keys):
    """One hole: measured (x_mm, y_mm), or in the picture (x_px, y_px, or taps on its edge)."""

    x_mm: Number | None = Field(default=None, description="centre to the right in mm")
    y_mm: Number | None = Field(default=None, description="centre upwards in mm")
    x_px: Number | None = Field(default=None, description="centre from the left [px]")
    y_px: Number | None = Field(default=None, description="centre from the top [px]")
    taps: Taps | None = Field(default=None, description="three or more points on its edge [px]")
    diameter_mm: Size | None = Field(default=None, description="size by caliper in mm")

    def kind(self) -> str:
        """ "mm", "px" or "edge"; "" when it is none or several of these."""
        kinds = {
            "mm": self.x_mm is not None and self.y_mm is not None,
            "px": self.x_px is not None and self.y_px is not None,
            "edge": self.taps is not None and len(self.taps) >= 3,
        }
        set_keys = sum(
            (
                self.x_mm is not None or self.y_mm is not None,
                self.x_px is not None or self.y_px is not None,
                self.taps is not None,
            )
        )
        named = [name for name, there in kinds.items() if there]
        return named[0] if len(named) == 1 and set_keys == 1 else ""


class PortKeys(Keys):
    """A port's edge as corners."""

    corners_mm: Taps | None = Field(default=None, description="corners in mm")
    corners_px: Taps | None = Field(default=None, description="corners [px]")


class PartFileKeys(Keys):
    """One flat part."""

    name: Text = Field(default="", description="what to call it")
    photo: Text | None = Field(default=None, description="the picture, counted from this file")
    side: Word = Field(
        default="mating",
        description='which face is seen: "mating" or "back"',
        json_schema_extra={"enum": list(SIDES)},
    )
    width_px: Annotated[float, Field(ge=64, le=MOST_PX)] | None = Field(
        default=None, description="width of the picture, when there is no photo [px]"
    )
    height_px: Annotated[float, Field(ge=64, le=MOST_PX)] | None = Field(
        default=None, description="height of the picture, when there is no photo [px]"
    )
    tap_error_px: Annotated[float, Field(gt=0.0, le=60.0)] = Field(
        default=3.0, description="how far a tap may be off, one standard deviation [px]"
    )
    error_mm: Annotated[float, Field(gt=0.0, le=10.0)] = Field(
        default=0.1, description="how far a measured place may be off, one standard deviation, mm"
    )
    height_mm: Size | None = Field(default=None, description="height by caliper in mm")
    hub_offset_mm: Annotated[float, Field(ge=-500.0, le=500.0)] | None = Field(
        default=None, description="mating face to hub face by caliper in mm"
    )
    known: KnownKeys | None = Field(default=None, description="[known]: something of known size")
    hole: Annotated[list[HoleKeys], OneOrMore] = Field(
        default_factory=list, max_length=24, description="[[hole]] once for each"
    )
    port: Annotated[list[PortKeys], OneOrMore] = Field(
        default_factory=list, max_length=12, description="[[port]] once for each"
    )
    outline_mm: Taps | None = Field(default=None, description="corners of the outline in mm")
    outline_px: Taps | None = Field(default=None, description="corners of the outline [px]")
