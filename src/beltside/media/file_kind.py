"""What a file is by its bytes, and whether its own bookkeeping says that its end is missing.

Looks at a few bytes only and decodes nothing: for messages in plain words, and for the losses
that a decoder does not notice.
"""

from __future__ import annotations

import os
import struct
from dataclasses import dataclass
from typing import BinaryIO, Final

_HEAD_BYTES: Final = 4096
_OGG_TAIL_BYTES: Final = 1 << 17  # an Ogg page is at most 65,307 bytes
_MAX_BOXES: Final = 100_000
# Programs that write to a pipe put a placeholder of about 2 or 4 GiB here.
_UNKNOWN_SIZE: Final = 0x7FFF0000

# First bytes of what people send by mistake.
_OTHER_KINDS: Final = (
    (b"\x89PNG\r\n\x1a\n", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"BM", "a picture"),
    (b"II*\x00", "a picture"),
    (b"MM\x00*", "a picture"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "an archive or office document"),
    (b"#EXTM3U", "a playlist, which only points at other files"),
    (b"ffconcat", "a playlist, which only points at other files"),
    (b"[playlist]", "a playlist, which only points at other files"),
)
_PICTURE_BRANDS: Final = (b"heic", b"heix", b"hevc", b"mif1", b"msf1", b"avif", b"avis")


@dataclass(frozen=True)
class Bookkeeping:
    """What a file says about its own length.

    Attributes
    ----------
    duration_s
        Length by the file's own count of bytes [s], None when it keeps none that is read here.
    cut_short
        True when its end is missing.
    readable_bytes
        Where to stop reading, when the last part is too incomplete to be of use; else None.
    duration_is_guess
        True when a decoder can only guess the length, from the first bit rate it meets.
    indexed
        True when the file kept the length of the whole before its end was lost.
    """

    duration_s: float | None = None
    cut_short: bool = False
    readable_bytes: int | None = None
    duration_is_guess: bool = False
    indexed: bool = False


def describe(head: bytes) -> str | None:
    """What a file is when it is plainly no recording, in words; None when it may be one.

    >>> describe(b"%PDF-1.7")
    'a PDF document'
    >>> describe(b"OggS\\x00\\x02") is None
    True
    """
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    for start, kind in _OTHER_KINDS:
        if text.startswith(start) or head.startswith(start):
            return kind
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "a picture"
    if head[4:8] == b"ftyp" and head[8:12] in _PICTURE_BRANDS:
        return "a picture"
    if head and not head.strip(b"\x00"):
        return "nothing but zeros (probably a copy that was not finished)"
    if _is_text(head):
        return "text"
    return None


def _is_text(head: bytes) -> bool:
    if not head:
        return False
    try:
        letters = head.decode("utf-8")
    except UnicodeDecodeError as error:
        # A letter of several bytes may be cut at the end of what was looked at.
        if error.start < len(head) - 4 or error.start == 0:
            return False
        letters = head[: error.start].decode("utf-8")
    return all(letter.isprintable() or letter in "\r\n\t\f" for letter in letters)


def read_head(file: BinaryIO) -> bytes:
    """The first bytes of a file."""
    file.seek(0)
    return file.read(_HEAD_BYTES)


def has_mp4_index(file: BinaryIO) -> bool:
    """True when an MP4, M4A or MOV file holds its index (the `moov` box)."""
    return any(kind == b"moov" for kind, _, _ in _mp4_boxes(file))


def bookkeeping(file: BinaryIO) -> Bookkeeping:
    """What the file says about its own length; see `Bookkeeping`."""
    head = read_head(file)
    if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
        return _wav(file)
    if head[:4] == b"OggS":
        return Bookkeeping(cut_short=_ogg_is_cut(file))
    if head[:4] == b"fLaC":
        return Bookkeeping(indexed=True)
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free"):
        return _mp4(file)
    if head[:5] == b"#!AMR" or head[:2] in (b"\xff\xf1", b"\xff\xf9"):
        return Bookkeeping(duration_is_guess=True)
    if head[:3] == b"ID3" or (len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0):
        return Bookkeeping(duration_is_guess=not _mp3_counts_frames(file, head))
    return Bookkeeping()


def _mp3_counts_frames(file: BinaryIO, head: bytes) -> bool:
    # The first frame of an MP3 may say how many there are; it follows the ID3 tag, if any.
    start = 0
    if head[:3] == b"ID3" and len(head) >= 10:
        a, b, c, d = (byte & 0x7F for byte in head[6:10])
        start = 10 + (a << 21 | b << 14 | c << 7 | d)
    file.seek(start)
    first = file.read(_HEAD_BYTES)
    return any(mark in first for mark in (b"Xing", b"Info", b"VBRI"))


def _wav(file: BinaryIO) -> Bookkeeping:
    size = file.seek(0, os.SEEK_END)
    at, bytes_per_second = 12, 0
    for _ in range(_MAX_BOXES):
        file.seek(at)
        head = file.read(8)
        if len(head) < 8:
            break
        kind, length = struct.unpack("<4sI", head)
        if kind == b"fmt ":
            body = file.read(16)
            bytes_per_second = struct.unpack("<I", body[8:12])[0] if len(body) == 16 else 0
        elif kind == b"data":
            known = 0 < length < _UNKNOWN_SIZE and bytes_per_second > 0
            return Bookkeeping(
                duration_s=length / bytes_per_second if known else None,
                cut_short=known and at + 8 + length > size,
            )
        at += 8 + length + length % 2
    return Bookkeeping()


def _ogg_is_cut(file: BinaryIO) -> bool:
    # The last page carries an end mark, and all of its bytes are there.
    size = file.seek(0, os.SEEK_END)
    file.seek(max(0, size - _OGG_TAIL_BYTES))
    tail = file.read(_OGG_TAIL_BYTES)
    at = tail.rfind(b"OggS")
    if at < 0 or len(tail) < at + 27:
        return True
    is_last, segments = bool(tail[at + 5] & 4), tail[at + 26]
    table = tail[at + 27 : at + 27 + segments]
    whole = len(table) == segments and at + 27 + segments + sum(table) <= len(tail)
    return not (is_last and whole)


def _mp4(file: BinaryIO) -> Bookkeeping:
    size = file.seek(0, os.SEEK_END)
    boxes = _mp4_boxes(file)
    cut = [(kind, start) for kind, start, end in boxes if end > size]
    if not cut:
        return Bookkeeping()
    # Browsers write an MP4 piece by piece. Half of the head of a piece spoils the whole file for
    # a decoder, half of its sound does not.
    kind, start = cut[0]
    kinds = {kind for kind, _, _ in boxes}
    return Bookkeeping(
        cut_short=True,
        readable_bytes=None if kind == b"mdat" else start or None,
        indexed=kind == b"mdat" and b"moov" in kinds and b"moof" not in kinds,
    )


def _mp4_boxes(file: BinaryIO) -> list[tuple[bytes, int, int]]:
    """Kind, start and end of the boxes at the top of an MP4 file [bytes]."""
    size = file.seek(0, os.SEEK_END)
    boxes: list[tuple[bytes, int, int]] = []
    at = 0
    while at + 8 <= size and len(boxes) < _MAX_BOXES:
        file.seek(at)
        length, kind = struct.unpack(">I4s", file.read(8))
        if length == 1:
            wide = file.read(8)
            length = struct.unpack(">Q", wide)[0] if len(wide) == 8 else 0
        elif length == 0:
            length = size - at
        if length < 8:
            break
        boxes.append((kind, at, at + length))
        at += length
    return boxes
