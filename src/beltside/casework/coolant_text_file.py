"""Reads a small text file that somebody else may have written."""

from __future__ import annotations

from codecs import BOM_UTF8, BOM_UTF16_BE, BOM_UTF16_LE
from pathlib import Path
from typing import Final

from beltside.base.errors import InputError, LimitError

LARGEST_BYTES: Final = 1_000_000


def read_text(path: Path, what: str) -> str:
    """The file's text, UTF-8 with or without a byte-order mark, or UTF-16 with one.

    Raises
    ------
    InputError
        When it is not there, a folder, or no text; `what` says what was wanted.
    LimitError
        When it is larger than 1 MB.
    """
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder", allowed=what)
        if not path.is_file():
            raise InputError(f"{path} is not there", allowed=what)
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror})", allowed=what) from error
    if len(data) > LARGEST_BYTES:
        raise LimitError(f"{path.name} is larger than 1 MB", allowed=what)
    utf16 = data.startswith((BOM_UTF16_LE, BOM_UTF16_BE))
    try:
        return data.decode("utf-16") if utf16 else data.removeprefix(BOM_UTF8).decode("utf-8")
    except UnicodeDecodeError:
        raise InputError(
            f"{path.name} is not UTF-8 text", allowed=what, instead="saving it as CSV, UTF-8"
        ) from None
