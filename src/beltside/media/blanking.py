"""Blanks texts in a recording's own notes (title, place, comment) without touching its sound."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

PLACE: Final = re.compile(rb"[+-]\d{2}\.\d{2,8}[+-]\d{3}\.\d{2,8}(?:[+-]\d+(?:\.\d+)?)?(?:/|CRS)")
"""Where it was recorded, as phones write it (ISO 6709, annex H)."""

_OGG_HEAD: Final = 27


def blanked(data: bytes, spans: Iterable[tuple[int, int]], *, places: bool = True) -> bytes:
    """The file with these bytes made spaces, and places made zeros; its length stays.

    Pages of an Ogg file get their checksum anew (RFC 3533, section 6).
    """
    new = bytearray(data)
    for start, end in spans:
        # Of wide letters every second byte is a zero and stays one.
        new[start:end] = bytes(0x20 if byte else 0 for byte in new[start:end])
    for match in PLACE.finditer(data) if places else ():
        new[match.start() : match.end()] = re.sub(rb"\d", b"0", match[0])
    if new[:4] == b"OggS" and new != data:
        _sum_pages_anew(new)
    return bytes(new)


def _sum_pages_anew(data: bytearray) -> None:
    at = 0
    while data[at : at + 4] == b"OggS" and at + _OGG_HEAD <= len(data):
        segments = data[at + 26]
        table = at + _OGG_HEAD
        end = table + segments + sum(data[table : table + segments])
        if end > len(data):
            return
        data[at + 22 : at + 26] = bytes(4)
        data[at + 22 : at + 26] = _ogg_crc(bytes(data[at:end])).to_bytes(4, "little")
        at = end


def _table() -> tuple[int, ...]:
    entries = []
    for byte in range(256):
        rest = byte << 24
        for _ in range(8):
            rest = (rest << 1) ^ (0x04C11DB7 if rest & 0x80000000 else 0)
        entries.append(rest & 0xFFFFFFFF)
    return tuple(entries)


_CRC: Final = _table()


def _ogg_crc(page: bytes) -> int:
    """Polynomial 0x04C11DB7, begun with 0, not turned round (RFC 3533, section 6)."""
    rest = 0
    for byte in page:
        rest = ((rest << 8) & 0xFFFFFFFF) ^ _CRC[(rest >> 24) ^ byte]
    return rest
