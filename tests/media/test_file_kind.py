"""What a file says about itself, on files made byte by byte."""

from __future__ import annotations

import io
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.media.file_kind import Bookkeeping, bookkeeping, describe, has_mp4_index


def box(kind: bytes, size: int, length: int | None = None) -> bytes:
    """One MP4 box with `size` bytes in it (ISO/IEC 14496-12: size, then kind)."""
    return struct.pack(">I4s", 8 + (size if length is None else length), kind) + bytes(size)


def test_the_index_of_an_mp4_is_found_wherever_it_is() -> None:
    front = box(b"ftyp", 16) + box(b"moov", 100) + box(b"mdat", 1000)
    back = box(b"ftyp", 16) + box(b"mdat", 1000) + box(b"moov", 100)
    none = box(b"ftyp", 16) + box(b"mdat", 1000)
    wide = box(b"ftyp", 16) + struct.pack(">I4sQ", 1, b"mdat", 1016) + bytes(1000)
    assert has_mp4_index(io.BytesIO(front))
    assert has_mp4_index(io.BytesIO(back))
    assert not has_mp4_index(io.BytesIO(none))
    assert has_mp4_index(io.BytesIO(wide + box(b"moov", 10)))


def test_an_mp4_cut_in_the_head_of_a_piece_ends_before_it() -> None:
    start = box(b"ftyp", 16) + box(b"moov", 100) + box(b"moof", 50) + box(b"mdat", 500)
    assert bookkeeping(io.BytesIO(start)) == Bookkeeping()
    in_head = bookkeeping(io.BytesIO(start + box(b"moof", 20, length=50)))
    assert in_head == Bookkeeping(cut_short=True, readable_bytes=len(start))
    in_sound = bookkeeping(io.BytesIO(start + box(b"moof", 50) + box(b"mdat", 20, length=500)))
    assert in_sound == Bookkeeping(cut_short=True)


def riff(claimed: int, held: int) -> io.BytesIO:
    """A WAV at 96,000 bytes per second."""
    head = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, 48_000, 96_000, 2, 16)
    extra = struct.pack("<4sI", b"LIST", 3) + b"abc\0"  # odd length: one byte of padding
    data = struct.pack("<4sI", b"data", claimed) + bytes(held)
    return io.BytesIO(b"RIFF" + bytes(4) + b"WAVE" + head + extra + data)


@pytest.mark.parametrize(
    ("claimed", "held", "expected"),
    [
        (192_000, 192_000, Bookkeeping(duration_s=2.0)),
        (192_000, 100_000, Bookkeeping(duration_s=2.0, cut_short=True)),
        (0xFFFFFFFF, 100_000, Bookkeeping()),
        (0, 100_000, Bookkeeping()),
    ],
)
def test_the_length_a_wav_claims(claimed: int, held: int, expected: Bookkeeping) -> None:
    assert bookkeeping(riff(claimed, held)) == expected


def ogg_page(*, last: bool, body: int) -> bytes:
    """One page with a single segment table (RFC 3533, section 6)."""
    table = bytes([255] * (body // 255) + [body % 255])
    flags = 4 if last else 0
    return b"OggS\0" + bytes([flags]) + bytes(20) + bytes([len(table)]) + table + bytes(body)


def test_an_ogg_ends_with_a_whole_last_page() -> None:
    first, last = ogg_page(last=False, body=3000), ogg_page(last=True, body=500)
    assert not bookkeeping(io.BytesIO(first + last)).cut_short
    assert bookkeeping(io.BytesIO(first + last[:-1])).cut_short
    assert bookkeeping(io.BytesIO(first + last[:20])).cut_short
    assert bookkeeping(io.BytesIO(first)).cut_short


@pytest.mark.parametrize(
    ("head", "guess"),
    [
        (b"#!AMR\n" + bytes(100), True),
        (b"\xff\xf1" + bytes(100), True),
        (b"\xff\xfb\x90\x00" + bytes(100), True),
        (b"\xff\xfb\x90\x00" + bytes(32) + b"Xing" + bytes(100), False),
        (b"ID3\x04\0\0" + bytes([0, 0, 1, 0]) + bytes(128) + b"\xff\xfb" + b"Info", False),
        (b"fLaC" + bytes(100), False),
    ],
)
def test_lengths_that_can_only_be_guessed(head: bytes, guess: bool) -> None:
    assert bookkeeping(io.BytesIO(head)).duration_is_guess is guess


@pytest.mark.parametrize(
    ("head", "says"),
    [
        (b"\0\0\0\x18ftypheic", "a picture"),
        (b"\0\0\0\x18ftypM4A ", None),
        (b"RIFF\x24\x08\0\0WEBPVP8 ", "a picture"),
        (b"\xef\xbb\xbf#EXTM3U\n", "a playlist, which only points at other files"),
        ("ein Geräusch".encode(), "text"),
        ("ein Geräusch".encode()[:9], "text"),  # cut inside a letter
        (b"\x1aE\xdf\xa3", None),
        (b"", None),
    ],
)
def test_kinds_of_files(head: bytes, says: str | None) -> None:
    assert describe(head) == says


@settings(max_examples=200, deadline=None)
@given(
    start=st.sampled_from(
        [b"", b"RIFF....WAVE", b"OggS", b"\0\0\0\x08ftyp", b"ID3", b"\xff\xfb", b"#!AMR\n"]
    ),
    rest=st.binary(max_size=300),
)
def test_any_bytes_are_looked_at_without_harm(start: bytes, rest: bytes) -> None:
    file = io.BytesIO(start + rest)
    found = bookkeeping(file)
    assert found.duration_s is None or found.duration_s > 0
    assert found.readable_bytes is None or 0 < found.readable_bytes < len(start + rest)
    describe(start + rest)
    has_mp4_index(file)
