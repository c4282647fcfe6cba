"""Forms as routes get them: the token looked at, every field still as it was typed."""

from __future__ import annotations

import math
from collections.abc import AsyncIterator, Iterator, Mapping
from typing import Annotated, Final

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile

from beltside.casework.shop import FieldProblemsError
from beltside.web.problems import TooMuchError
from beltside.web.visitors import TOKEN_FIELD, TOKEN_HEADER, require_token

PIECE_BYTES: Final = 1 << 20
MOST_FIELDS: Final = 1500
MOST_FIELD_BYTES: Final = 2_000_000
"""How long one text may be."""
MOST_BYTES_OF_FIELDS: Final = 10_000_000
"""How long a form without files may be: it is held in memory."""
_NOT_SHOWN: Final = frozenset({"passphrase", "again", "code", "signature", "version"})
"""Fields that are secret, or that nobody typed."""


async def _checked_form(request: Request) -> AsyncIterator[FormData]:
    async with request.form(
        max_fields=MOST_FIELDS, max_files=20, max_part_size=MOST_BYTES_OF_FIELDS
    ) as form:
        # So that the page that tells what is wrong holds it again, whatever comes from here on.
        request.state.typed = {name: "\n".join(texts(form, name)) for name in typed(form)}
        longest = max((len(one.encode()) for one in request.state.typed.values()), default=0)
        if longest > MOST_FIELD_BYTES:
            raise TooMuchError(
                f"A text is {longest / 1e6:.1f} MB long",
                allowed=f"up to {MOST_FIELD_BYTES / 1e6:g} MB in one field",
                instead="a shorter one; what was typed stands below",
            )
        require_token(request, form.get(TOKEN_FIELD) or request.headers.get(TOKEN_HEADER))
        yield form


CheckedForm = Annotated[FormData, Depends(_checked_form)]
"""A form that was made for this visitor."""


def text(form: FormData, name: str) -> str:
    """A text field, without spaces around it; empty when it is missing."""
    value = form.get(name)
    return value.strip() if isinstance(value, str) else ""


def texts(form: FormData, name: str) -> list[str]:
    """All values of a field that may be ticked several times."""
    return [value for value in form.getlist(name) if isinstance(value, str) and value]


def number_typed(kind: str, typed: Mapping[str, str], name: str) -> float | None:
    """A number as it was typed, with a decimal comma or point; None for an empty field.

    Raises
    ------
    FieldProblemsError
        When it is none.
    """
    words = typed.get(name, "").strip()
    if not words:
        return None
    try:
        value = float(words.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or value < 0:
        raise FieldProblemsError(kind, typed, {name: "is a number, such as 12 or 7.5"})
    return value


def typed(form: FormData) -> dict[str, str]:
    """Every text field as it was typed, without the frame's own."""
    return {
        name: value
        for name, value in form.items()
        if isinstance(value, str) and not name.startswith("_")
    }


def typed_before(request: Request) -> dict[str, str]:
    """What was typed into the form that a request brought, for a page that tells an error.

    Without secrets and without what a page put into the form itself.
    """
    fields: Mapping[str, str] = getattr(request.state, "typed", {})
    return {
        name: value for name, value in fields.items() if value.strip() and name not in _NOT_SHOWN
    }


def uploads(form: FormData, name: str) -> list[UploadFile]:
    """The files of a field; a file field left empty gives none."""
    return [
        value for value in form.getlist(name) if isinstance(value, UploadFile) and value.filename
    ]


def pieces(upload: UploadFile) -> Iterator[bytes]:
    """An uploaded file piece by piece."""
    upload.file.seek(0)
    while piece := upload.file.read(PIECE_BYTES):
        yield piece
