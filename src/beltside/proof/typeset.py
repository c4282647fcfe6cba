"""Typesetting: a template of ours and plain values in a fresh folder, PDF/A-2b out.

The template reads the values as data; nothing a person typed is ever evaluated.
"""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Mapping
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import typst

from beltside.base.errors import BeltsideError
from beltside.proof.sheet_fonts import FAMILIES, UNKNOWN, fonts, printed

STANDARD: Final = "a-2b"
_AS_PDF: Final[dict[str, Any]] = {"format": "pdf", "pdf_standards": [STANDARD]}
_AS_PICTURE: Final[dict[str, Any]] = {"format": "png", "ppi": 110.0}
MOST_TRIES: Final = 20
_NO_PICTURE: Final = re.compile(r'the text `(".*?")` could not be displayed', re.DOTALL)


def pdf_of(
    template: str,
    values: Mapping[str, Any],
    moment: datetime,
    beside: Mapping[str, bytes],
    *,
    first_page: bool = False,
) -> bytes:
    """A PDF/A-2b file (ISO 19005-2) with tags and embedded fonts.

    Parameters
    ----------
    template
        Name of a template in this package.
    values
        Plain values for it; text of a character that no font has is printed with "�".
    moment
        Stands in the file as the time it was made: the same input gives the same bytes.
    beside
        Pictures by file name.
    first_page
        Give the first page as PNG instead, to show on a screen.

    Raises
    ------
    BeltsideError
        When it can't be typeset.
    """
    plain = plain_printed({**values, "fonts": list(FAMILIES)})
    source = files(__package__).joinpath(template).read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory(prefix="beltside-sheet-") as name:
        folder = Path(name)
        (folder / "main.typ").write_text(source, encoding="utf-8")
        for file, data in beside.items():
            (folder / file).write_bytes(data)
        for _ in range(MOST_TRIES):
            (folder / "sheet.json").write_text(json.dumps(plain), encoding="utf-8")
            try:
                made = typst.compile(
                    str(folder / "main.typ"),
                    root=str(folder),
                    font_paths=fonts(),
                    ignore_system_fonts=True,
                    timestamp=int(moment.timestamp()),
                    **(_AS_PICTURE if first_page else _AS_PDF),
                )
                return bytes(made[0] if isinstance(made, list) else made)
            except typst.TypstError as error:
                # A mark on a letter of another font: no font has the two together.
                shown = _NO_PICTURE.search(str(error))
                if shown is None:
                    raise BeltsideError(f"the sheet can't be typeset: {error}") from error
                plain = _without(plain, _unquoted(shown[1]))
    raise BeltsideError("the sheet can't be typeset: too many characters that no font has")


def _unquoted(quoted: str) -> str:
    return re.sub(
        r"\\u\{([0-9a-f]+)\}", lambda found: chr(int(found[1], 16)), quoted[1:-1]
    ).replace('\\"', '"')


def _without(value: Any, text: str) -> Any:
    """Plain values with "�" where `text` stood."""
    if isinstance(value, str):
        return value.replace(text, UNKNOWN)
    if isinstance(value, Mapping):
        return {name: _without(one, text) for name, one in value.items()}
    return [_without(one, text) for one in value] if isinstance(value, list) else value


def plain_printed(value: Any) -> Any:
    """Plain values with "�" for each character that no font has."""
    if isinstance(value, str):
        return printed(value)
    if isinstance(value, Mapping):
        return {name: plain_printed(one) for name, one in value.items()}
    return [plain_printed(one) for one in value] if isinstance(value, list | tuple) else value
