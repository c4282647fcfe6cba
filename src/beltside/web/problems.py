"""How an error is told: its status, and its words as JSON for a program."""

from __future__ import annotations

from typing import Annotated, Final

from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field

from beltside.base.errors import (
    BeltsideError,
    ClashError,
    InputError,
    LimitError,
    RecordingError,
)
from beltside.casework.shop import FieldProblemsError, MissingError
from beltside.casework.shop_access import HelperError
from beltside.web.visitors import RefusedError


class WrongKindError(InputError):
    """What was sent is of another kind than is read here."""


class TooMuchError(InputError):
    """What was sent is longer than is read here."""


class Problem(BaseModel):
    """What went wrong, and what would work. Nothing was changed."""

    problem: Annotated[str, Field(description="what was given or met")]
    allowed: Annotated[str, Field(description="what is allowed; empty when that helps nobody")]
    instead: Annotated[str, Field(description="what would work; empty when nothing is known")]
    fields: Annotated[dict[str, str], Field(description="what is wrong of each field")]


_STATUS: Final = (
    (MissingError, 404),
    (RefusedError, 403),
    (HelperError, 403),
    (ClashError, 409),
    (WrongKindError, 415),
    (TooMuchError, 413),
    (LimitError, 413),
    (InputError, 422),
    (RecordingError, 422),
)


def status_of(error: BeltsideError) -> int:
    """The HTTP status of an error: 503 where it is neither the sender's nor the file's fault."""
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 503)


def problem_of(error: BeltsideError) -> Problem:
    """An error in its own words."""
    fields = dict(error.by_field) if isinstance(error, FieldProblemsError) else {}
    return Problem(problem=error.given, allowed=error.allowed, instead=error.instead, fields=fields)


_PLACES: Final = frozenset({"body", "query", "path", "header"})


def problem_of_request(error: RequestValidationError) -> Problem:
    """What is wrong with a request whose fields are not of the documented form."""
    fields: dict[str, str] = {}
    for one in error.errors():
        steps = [str(step) for step in one["loc"]]
        if steps[0] in _PLACES and len(steps) > 1:
            steps = steps[1:]
        said = "is missing" if one["type"] == "missing" else str(one["msg"])
        if one["type"] == "extra_forbidden":
            said = "there is no such field"
        fields.setdefault(".".join(steps), said.removeprefix("Value error, "))
    said = "; ".join(f"{name}: {what}" for name, what in fields.items())
    return Problem(
        problem=f"The request has problems: {said}",
        allowed="fields as /api/openapi.json says",
        instead="",
        fields=fields,
    )
