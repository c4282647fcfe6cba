"""Reads a TOML file that somebody else may have written."""

from __future__ import annotations

import re
import tomllib
from codecs import BOM_UTF8, BOM_UTF16_BE, BOM_UTF16_LE
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import InputError, LimitError, nearest

LARGEST_FILE_BYTES: Final = 1_000_000


def read_toml(path: Path) -> dict[str, Any]:
    """The file's tables as plain values.

    UTF-8 with or without a byte-order mark, and UTF-16 with one, are read.

    Raises
    ------
    InputError
        When the file is not there, is no text or is not TOML; a TOML error names the line.
    LimitError
        When the file is larger than 1 MB.
    """
    return parse_toml(_decode(path, _read_bytes(path)), path)


def parse_toml(text: str, path: Path) -> dict[str, Any]:
    """The tables of a TOML text as plain values; `path` is what messages call it.

    Raises
    ------
    InputError
        When it is not TOML; names the line.
    """
    require_modest(text, path)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise InputError(
            f"{path.name} nests its groups too deep", allowed="a plain TOML file"
        ) from None
    except ValueError as error:
        raise _syntax_error(path, text, error) from None


def require_modest(text: str, path: Path, *, most: int = LARGEST_FILE_BYTES) -> None:
    """Refuse a text that would keep a TOML parser busy for long, or shows itself otherwise.

    Within these bounds the slowest text found takes about 1 s (docs/trust-files.md).

    Raises
    ------
    LimitError
        When it is longer than `most` characters, or a key has more than 32 parts.
    InputError
        When it holds characters that turn the order of what is shown.
    """
    if len(text) > most:
        raise LimitError(f"{path.name} is longer than {most / 1e6:g} million characters")
    if _LONG_KEY.search(text):
        raise LimitError(f"{path.name} has a key of very many parts", allowed="up to 32")
    turned = _TURNS.search(text)
    if turned:
        line = text[: turned.start()].count("\n") + 1
        raise InputError(
            f"{path.name}, line {line}: a character turns the order of the text, so that it does "
            "not read as it is",
            instead="typing the line anew",
        )


_PART: Final = r"""(?:(?<![\w-])[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+"""
_LONG_KEY: Final = re.compile(rf"{_PART}(?:\.[ \t]*+{_PART}){{32}}")
_TURNS: Final = re.compile("[\u202a-\u202e\u2066-\u2069]")
"""Unicode annex 9: embeddings, overrides, isolates."""


def _read_bytes(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder", allowed="a TOML file")
        if not path.is_file():
            raise InputError(
                f"{path} is not there", allowed="a TOML file", instead=nearest_file(path)
            )
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE_BYTES + 1)
    except OSError as error:
        raise InputError(
            f"{path} cannot be read ({error.strerror})", allowed="a TOML file"
        ) from error
    if len(data) > LARGEST_FILE_BYTES:
        raise LimitError(
            f"{path.name} is larger than {LARGEST_FILE_BYTES / 1e6:g} MB",
            allowed="a TOML file, which is a few kB of text",
            instead="checking that it is not a recording",
        )
    return data


def _decode(path: Path, data: bytes) -> str:
    if data.startswith((BOM_UTF16_LE, BOM_UTF16_BE)):
        encoding = "utf-16"
    else:
        encoding, data = "utf-8", data.removeprefix(BOM_UTF8)
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(
            f"{path.name}, line {line}: this is not UTF-8 text",
            allowed="a TOML file saved as UTF-8",
            instead="saving it again with the encoding set to UTF-8",
        ) from None


def _syntax_error(path: Path, text: str, error: ValueError) -> InputError:
    message = str(error)
    found = re.search(r"\(at line (\d+), column \d+\)", message)
    if not found:
        at_end = "end of document" in message
        where = ", at its end" if at_end else ""
        return InputError(
            f"{path.name}{where} is not TOML: {message}", allowed="see docs/formats.md"
        )
    number = int(found[1])
    line = text.splitlines()[number - 1].strip() if number <= len(text.splitlines()) else ""
    return InputError(
        f"{path.name}, line {number}: `{line[:80]}` is not TOML: "
        f"{message[: found.start()].strip().lower()}",
        allowed='`key = value`, with text in double quotes: belt = "on"',
        instead=_syntax_hint(line),
    )


def _syntax_hint(line: str) -> str:
    if "\\" in line:
        return "a path in single quotes, or with forward slashes"
    if re.match(r"^[\w-]+\s*:", line):
        return "= instead of :"
    if re.match(r"^[\w-]+\s*=\s*\d+,\d+", line):
        return "a decimal point instead of the comma"
    if re.match(r"^[\w-]+\s*=\s*[A-Za-z]", line):
        return "the text in double quotes"
    return ""


def file_beside(folder: Path, name: str) -> tuple[Path, bool]:
    """The path `name` counted from `folder`, and whether a file lies there.

    Names no file can have (too long, with a zero byte, links in a circle) are simply not there.
    """
    path = folder / name
    try:
        path = path.resolve()
        return path, bool(name) and path.is_file()
    except (OSError, ValueError, RuntimeError):
        return path, False


def nearest_file(path: Path) -> str:
    """Name of the file in the same folder most like `path`'s name, "" when none is close."""
    try:
        names = {entry.name.lower(): entry.name for entry in path.parent.iterdir()}
    except OSError:
        return ""
    close = nearest(path.name.lower(), names)
    return names[close] if close else ""
