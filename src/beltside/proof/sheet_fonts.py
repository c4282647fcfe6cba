"""Fonts of printed sheets: where they lie, and which characters they have.

Every character on a sheet has to be in a font that is embedded: what none has is printed as "�".
"""

from __future__ import annotations

import struct
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Final

import manimgx_fonts
import typst

FAMILIES: Final = (
    "Noto Sans",
    "Noto Sans Arabic",
    "Noto Sans Hebrew",
    "Noto Sans Armenian",
    "Noto Sans Georgian",
    "Noto Sans Devanagari",
    "Noto Sans Thai",
    "Noto Sans Symbols",
    "Noto Emoji",
)
"""Asked one after the other."""
UNKNOWN: Final = "�"
_SHAPING: Final = frozenset("\n\u200c\u200d\ufe0e\ufe0f")


def font_folder() -> Path:
    """The folder with the fonts."""
    with as_file(files(manimgx_fonts)) as folder:
        return folder


@cache
def fonts() -> Any:
    """The fonts for a compilation, read once."""
    return typst.Fonts(
        include_system_fonts=False,
        include_embedded_fonts=False,
        font_paths=[str(font_folder())],
    )


def font_files() -> list[Path]:
    """The files of the families used, upright and italic."""
    wanted = {family.replace(" ", "") for family in FAMILIES}
    return sorted(
        path
        for path in font_folder().glob("*.ttf")
        if path.name.partition("[")[0].removesuffix("-Italic") in wanted
    )


@cache
def known_characters() -> frozenset[int]:
    """Code points of which a font has a picture."""
    found: set[int] = set()
    for path in font_files():
        if "Italic" not in path.name:
            found |= character_map(path.read_bytes())
    return frozenset(found)


def printed(text: str) -> str:
    """`text` with "�" for each character that no font has.

    >>> printed("Ærø Ω Ж שלום 🚗 漢")
    'Ærø Ω Ж שלום 🚗 �'
    """
    known = known_characters()
    return "".join(
        letter if ord(letter) in known or letter in _SHAPING else UNKNOWN for letter in text
    )


def character_map(font: bytes) -> set[int]:
    """Code points in the `cmap` table of an OpenType font (ISO/IEC 14496-22, formats 4 and 12)."""
    (count,) = struct.unpack_from(">H", font, 4)
    tables = {}
    for n in range(count):
        tag, _, offset, _ = struct.unpack_from(">4sIII", font, 12 + 16 * n)
        tables[tag] = offset
    start = tables[b"cmap"]
    (subtables,) = struct.unpack_from(">H", font, start + 2)
    found: set[int] = set()
    for n in range(subtables):
        platform, _, offset = struct.unpack_from(">HHI", font, start + 4 + 8 * n)
        at = start + offset
        (form,) = struct.unpack_from(">H", font, at)
        if platform not in (0, 3):
            continue
        if form == 12:
            (groups,) = struct.unpack_from(">I", font, at + 12)
            for g in range(groups):
                first, last, _ = struct.unpack_from(">III", font, at + 16 + 12 * g)
                found.update(range(first, last + 1))
        elif form == 4:
            (double,) = struct.unpack_from(">H", font, at + 6)
            segments = double // 2
            ends = struct.unpack_from(f">{segments}H", font, at + 14)
            starts = struct.unpack_from(f">{segments}H", font, at + 16 + double)
            for first, last in zip(starts, ends, strict=True):
                if first != 0xFFFF:
                    found.update(range(first, last + 1))
    return found
