"""Rim files: where the pulleys' rims are in a picture of the front of the engine."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from beltside.base.words import PULLEY_PARTS
from beltside.casework.formats.drive_sheet import BeltKeys, EngineKeys
from beltside.casework.formats.fields import Keys, Number, OneOrMore, PartName, Text, Word
from beltside.casework.formats.photo_keys import MOST_PX, KnownKeys, Pixels, Size, Taps


class RimKeys(Keys):
    """One pulley's rim."""

    part: PartName = Field(description="the part's name: " + ", ".join(PULLEY_PARTS))
    face: Word = Field(default="ribbed", description='"ribbed" or "back"')
    taps: Taps = Field(default_factory=list, description="points on the rim [px]")
    ellipse: Annotated[list[Number], Field(min_length=5, max_length=5)] | None = Field(
        default=None, description="middle x, y, half axes, angle in degrees, as suggested [px]"
    )
    diameter_mm: Size | None = Field(default=None, description="diameter when measured, in mm")
    forward_mm: Annotated[float, Field(ge=-100.0, le=100.0)] = Field(
        default=0.0, description="how far the rim stands before the others, to the camera, in mm"
    )


class RimFileKeys(Keys):
    """Rims in a picture of the front of the engine."""

    name: Text = Field(default="", description="a name for this drive")
    width_px: Annotated[float, Field(ge=64, le=MOST_PX)] | None = Field(
        default=None, description="width of the picture, when the photo is not given [px]"
    )
    height_px: Annotated[float, Field(ge=64, le=MOST_PX)] | None = Field(
        default=None, description="height of the picture, when the photo is not given [px]"
    )
    tap_error_px: Annotated[float, Field(gt=0.0, le=60.0)] | None = Field(
        default=None, description="how far a tap may be off, one standard deviation [px]"
    )
    up: Annotated[list[Pixels], Field(min_length=2, max_length=2)] | None = Field(
        default=None, description="a lower and an upper point of something upright [px]"
    )
    engine: EngineKeys | None = Field(default=None, description="[engine], for the drive sheet")
    belt: BeltKeys = Field(default_factory=BeltKeys, description="[belt], for the drive sheet")
    known: KnownKeys | None = Field(default=None, description="[known]: something of known size")
    rim: Annotated[list[RimKeys], OneOrMore] = Field(
        default_factory=list, max_length=40, description="[[rim]] once for each pulley"
    )

    def plain_engine(self) -> dict[str, Any]:
        """Keys of [engine] that are set."""
        return self.engine.model_dump(exclude_none=True) if self.engine else {}
