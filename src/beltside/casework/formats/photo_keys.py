"""Keys that picture files share: things of known size, and the file's reading."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Final, TypeVar

from pydantic import Field, ValidationError

from beltside.casework.formats.fields import Keys, Number
from beltside.casework.formats.problems import FileProblemsError, Problem, from_pydantic
from beltside.casework.formats.toml_file import read_toml

Pixels = Annotated[list[Number], Field(min_length=2, max_length=2)]
Taps = Annotated[list[Pixels], Field(max_length=400)]
Size = Annotated[float, Field(gt=0.0, le=2000.0)]

MOST_PX: Final = 20_000
Model = TypeVar("Model", bound=Keys)


class KnownKeys(Keys):
    """Something of known size in the picture: a disc, two points, or a card's four corners."""

    diameter_mm: Size | None = Field(default=None, description="diameter of a disc in mm")
    taps: Taps | None = Field(
        default=None, description="points on the disc's edge [px]; one in it when there is a photo"
    )
    length_mm: Size | None = Field(default=None, description="distance of two points in mm")
    between: Taps | None = Field(default=None, description="the two points [px]")
    width_mm: Size | None = Field(default=None, description="a card's width in mm")
    height_mm: Size | None = Field(default=None, description="a card's height in mm")
    corners: Taps | None = Field(
        default=None, description="the card's corners in turn, the first edge its width [px]"
    )
    error_mm: Annotated[float, Field(gt=0.0, le=10.0)] = Field(
        default=0.1, description="how well the size is known in mm"
    )
    lower_mm: Annotated[float, Field(ge=-200.0, le=200.0)] = Field(
        default=0.0, description="how far it lies below the face measured, away from the camera"
    )

    def problem(self) -> str:
        """What is wrong with it, "" for nothing."""
        kinds = [
            self.diameter_mm is not None,
            self.length_mm is not None,
            self.width_mm is not None or self.height_mm is not None,
        ]
        if sum(kinds) != 1:
            return "exactly one of: diameter_mm; length_mm; width_mm with height_mm"
        if self.length_mm is not None and len(self.between or ()) != 2:
            return "length_mm with between = [[x, y], [x, y]]"
        if kinds[2] and (
            self.width_mm is None or self.height_mm is None or len(self.corners or ()) != 4
        ):
            return "width_mm, height_mm and four corners"
        return ""


def load_keys(path: Path, model: type[Model]) -> Model:
    """A TOML file as keys of `model`.

    Raises
    ------
    InputError
        When it is not there, is not TOML, or (as `FileProblemsError`) naming all that is wrong.
    """
    try:
        return model.model_validate(read_toml(path))
    except ValidationError as error:
        raise FileProblemsError(from_pydantic(path.name, model, error)) from None


def refuse(path: Path, where: tuple[str | int, ...], given: str, allowed: str) -> FileProblemsError:
    """The error for one thing wrong with a file."""
    return FileProblemsError([Problem(path.name, where, given, allowed)])
