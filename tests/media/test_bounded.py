"""The process that looks at untrusted files can't do what it may not; its answer is checked."""

from __future__ import annotations

import io
import struct
import time
import zlib
from pathlib import Path

import pytest
from PIL import Image

from beltside.base.errors import BeltsideError, LimitError
from beltside.media.bounded import Bounds, BrokeDownError, look_at
from beltside.media.picture import PictureError, picture_from_bytes

SMALL = Bounds(512 << 20, cpu_s=2, wall_s=5.0, output_bytes=1 << 20)


@pytest.fixture(autouse=True)
def tasks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(Path(__file__).parent))


def look(what: str, bounds: Bounds = SMALL) -> object:
    answer, out = look_at("The file", "bounded_tasks:do", b"content", bounds, {}, task=what)
    out.close()
    return answer


def test_an_answer_and_an_empty_folder_of_its_own() -> None:
    answer, out = look_at("it", "bounded_tasks:do", b"content", SMALL, {}, task="answer")
    with out:
        assert out.read() == b"content"
    assert answer["length"] == 7
    assert answer["folder"] == []
    assert not Path(answer["cwd"]).exists()


@pytest.mark.parametrize("what", ["connect", "program", "system", "write", "read"])
def test_nothing_goes_out_and_nothing_is_opened(what: str) -> None:
    with pytest.raises(BrokeDownError, match="PermissionError"):
        look(what)


@pytest.mark.parametrize("what", ["memory", "time", "sleep", "output"])
def test_no_more_than_it_may(what: str) -> None:
    start = time.monotonic()
    with pytest.raises((LimitError, BrokeDownError)) as refused:
        look(what)
    if what != "output":
        assert isinstance(refused.value, LimitError)
    # The wall limit and the start of a process; a machine under load is slow.
    assert time.monotonic() - start < 40


@pytest.mark.parametrize("what", ["crash", "nonsense", "deep", "unknown"])
def test_a_crash_or_nonsense_is_no_answer(what: str) -> None:
    with pytest.raises(BrokeDownError):
        look(what)


# Pictures -----------------------------------------------------------------------------------------


def told(data: bytes) -> object:
    """The size of a picture, or what kind of error of ours it is."""
    try:
        return picture_from_bytes(data, "photo").pixels.shape
    except BeltsideError as error:
        return type(error)


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int, height: int, data: bytes) -> bytes:
    """A PNG by hand (ISO/IEC 15948)."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def test_a_bomb_is_told_by_its_header() -> None:
    packed = zlib.compress(bytes(30_000_000), 9)
    for width, height in ((60_000, 60_000), (0x7FFFFFFF, 1), (19_999, 19_999)):
        with pytest.raises(LimitError, match="pixels"):
            picture_from_bytes(png(width, height, packed), "photo")


def test_more_data_than_the_header_says() -> None:
    """A small picture whose data unpack to a gigabyte."""
    packer = zlib.compressobj(9)
    packed = b"".join(packer.compress(bytes(1 << 20)) for _ in range(1024)) + packer.flush()
    assert len(packed) < 2_000_000
    assert told(png(100, 100, packed)) in ((100, 100, 3), PictureError, LimitError)


def test_texts_and_colour_tables_that_unpack_to_much() -> None:
    bomb = zlib.compress(bytes(200_000_000), 9)
    good = png(100, 100, zlib.compress(bytes(100 * 301)))
    for kind, data in ((b"zTXt", b"a\0\0" + bomb), (b"iCCP", b"a\0\0" + bomb)):
        made = good[:33] + chunk(kind, data) + good[33:]
        assert told(made) in ((100, 100, 3), PictureError, LimitError)


def test_one_file_of_two_kinds() -> None:
    """A picture with a zip behind it, a script behind its mark: read as a picture or not at all."""
    out = io.BytesIO()
    Image.new("RGB", (100, 80), (9, 90, 200)).save(out, "PNG")
    tail = b"PK\x05\x06" + bytes(18) + b"<script>alert(1)</script>"
    assert picture_from_bytes(out.getvalue() + tail, "photo").pixels.shape == (80, 100, 3)
    for head in (
        b"GIF89a",
        b"%PDF-1.7\n",
        b"<svg xmlns='a'/>",
        b"#!/bin/sh\n",
        b"\x00\x00\x01\x00",
    ):
        with pytest.raises(PictureError):
            picture_from_bytes(head + out.getvalue(), "photo")
