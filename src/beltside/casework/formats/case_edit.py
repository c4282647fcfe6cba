"""Adds a finding to a case file, or takes one back, without touching anything else in it.

The text is changed, not rewritten: comments, order and spelling stay. Every change is read back
before it is written; a finding taken back is left in the file as a comment.
"""

from __future__ import annotations

import json
import re
import tomllib
from codecs import BOM_UTF8, BOM_UTF16_BE, BOM_UTF16_LE
from pathlib import Path
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.formats.safe_write import write_safely
from beltside.casework.formats.toml_file import read_toml

_HEADER: Final = re.compile(r"^\s*\[\[\s*finding\s*\]\]")
_SINGLE_HEADER: Final = re.compile(r"^(\s*)\[\s*finding\s*\]", re.MULTILINE)
_ANY_HEADER: Final = re.compile(r"^\s*\[")


def add_finding(path: Path, check: str, part: str | None, outcome: str) -> None:
    """Write one more [[finding]] at the end of a case file.

    Raises
    ------
    InputError
        When the file is no TOML any more, or its findings are not written as [[finding]].
    BeltsideError
        When it cannot be written; it is then as it was.
    """
    text, before, encoding = _read(path)
    line_end = "\r\n" if "\r\n" in text else "\n"
    if isinstance(before.get("finding"), dict):
        text = _SINGLE_HEADER.sub(r"\1[[finding]]", text, count=1)
    lines = ["[[finding]]", f"check = {json.dumps(check)}"]
    if part:
        lines.append(f"part = {json.dumps(part)}")
    lines.append(f"outcome = {json.dumps(outcome)}")
    gap = "" if not text or text.endswith("\n") else line_end
    text += gap + line_end + line_end.join(lines) + line_end
    added: dict[str, Any] = {"check": check, **({"part": part} if part else {}), "outcome": outcome}
    _write(path, text, encoding, {**before, "finding": [*_findings(before), added]})


def take_back_finding(path: Path, number: int) -> None:
    """Turn finding `number`, counted from 1, into a comment.

    Raises
    ------
    InputError
        When there is no such finding, or it is not written as a [[finding]] of its own.
    BeltsideError
        When the file cannot be written; it is then as it was.
    """
    text, before, encoding = _read(path)
    findings = _findings(before)
    if not 1 <= number <= len(findings):
        raise InputError(
            f"finding {number} is to be taken back",
            allowed=f"1 to {len(findings)}" if findings else "none: this case has no findings",
        )
    if isinstance(before.get("finding"), dict):
        text = _SINGLE_HEADER.sub(r"\1[[finding]]", text, count=1)
    lines = text.splitlines(keepends=True)
    headers = [place for place, line in enumerate(lines) if _HEADER.match(line)]
    if len(headers) != len(findings):
        raise _by_hand(path)
    start = headers[number - 1]
    end = next(
        (place for place in range(start + 1, len(lines)) if _ANY_HEADER.match(lines[place])),
        len(lines),
    )
    for place in range(start, end):
        if lines[place].strip() and not lines[place].lstrip().startswith("#"):
            lines[place] = "# taken back: " + lines[place]
    rest = [*findings[: number - 1], *findings[number:]]
    after = {key: value for key, value in before.items() if key != "finding"}
    _write(path, "".join(lines), encoding, {**after, **({"finding": rest} if rest else {})})


def _findings(data: dict[str, Any]) -> list[Any]:
    found = data.get("finding", [])
    return found if isinstance(found, list) else [found]


def _read(path: Path) -> tuple[str, dict[str, Any], str]:
    """Text as it stands, its values, and the encoding to write it back in."""
    data = read_toml(path)
    raw = path.read_bytes()
    encoding = (
        "utf-16"
        if raw.startswith((BOM_UTF16_LE, BOM_UTF16_BE))
        else "utf-8-sig"
        if raw.startswith(BOM_UTF8)
        else "utf-8"
    )
    return raw.decode(encoding), data, encoding


def _write(path: Path, text: str, encoding: str, wanted: dict[str, Any]) -> None:
    try:
        found = tomllib.loads(text)
    except ValueError:
        raise _by_hand(path) from None
    if found != wanted:
        raise _by_hand(path)
    write_safely(path, text.encode(encoding))


def _by_hand(path: Path) -> InputError:
    return InputError(
        f"the findings in {path.name} cannot be changed safely; it is as it was",
        allowed="each finding as [[finding]] with its keys on lines of their own",
        instead="changing the file by hand, see docs/formats.md",
    )
