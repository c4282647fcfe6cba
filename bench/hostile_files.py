"""Hostile files: valid ones of every kind, broken by chance with a seed.

The valid ones are made anew each time by other programs (PyAV, Pillow, the standard library).
"""

from __future__ import annotations

import io
import random
import struct
import tempfile
import wave
from collections.abc import Callable
from pathlib import Path
from typing import Final

import av
import numpy as np
from PIL import Image

from beltside.casework.shop import keep, open_shop, write
from beltside.casework.shop_transfer import export_jobs

SHEET: Final = """
name = "Tarn 1.4 front drive"
[engine]
cylinders = 4
strokes = 4
idle_rpm = 760
[belt]
profile = "PK"
ribs = 6
length_mm = 1230
[[pulley]]
part = "crank"
x_mm = 0
y_mm = 0
diameter_mm = 138.0
face = "ribbed"
[[pulley]]
part = "alternator"
x_mm = 175
y_mm = 205
diameter_mm = 55.0
face = "ribbed"
"""
READINGS: Final = "time_min,pressure_kpa,engine_c,air_c\n" + "".join(
    f"{n},{108 - 0.2 * n:.1f},{60 - n:.1f},18\n" for n in range(20)
)
SOUNDS: Final = {
    "m4a": ("mp4", "aac"),
    "ogg": ("ogg", "libopus"),
    "webm": ("webm", "libopus"),
    "mp3": ("mp3", "mp3"),
    "flac": ("flac", "flac"),
}
KINDS: Final = ("wav", *SOUNDS, "jpeg", "png", "webp", "csv", "zip", "toml")


def valid(kind: str) -> bytes:
    """A valid file of a kind."""
    rng = np.random.default_rng(12)
    if kind in ("jpeg", "png", "webp"):
        out = io.BytesIO()
        rows = np.add.outer(np.arange(240), np.arange(320))[:, :, None] * np.array([1, 2, 3])
        noise = rng.integers(0, 20, (240, 320, 3))
        image = Image.fromarray(((rows + noise) % 256).astype(np.uint8))
        exif = image.getexif()
        exif[0x0112] = 6
        exif.get_ifd(0x8825).update({1: "N", 2: (59.0, 19.0, 45.0)})
        image.save(out, kind.upper(), exif=exif)
        return out.getvalue()
    if kind == "toml":
        return SHEET.encode()
    if kind == "csv":
        return READINGS.encode()
    if kind == "zip":
        return _zip()
    t = np.arange(3 * 48000) / 48000
    sound = 0.2 * np.sin(2 * np.pi * 25 * t) + 0.05 * rng.standard_normal(len(t))
    samples = (sound * 32767).clip(-32768, 32767).astype(np.int16)
    out = io.BytesIO()
    if kind == "wav":
        with wave.open(out, "wb") as file:
            file.setparams((1, 2, 48000, 0, "NONE", ""))
            file.writeframes(samples.tobytes())
        return out.getvalue()
    container_name, codec = SOUNDS[kind]
    with av.open(out, "w", format=container_name) as container:
        stream = container.add_stream(codec, rate=48000, layout="mono")
        assert isinstance(stream, av.AudioStream)
        frame = av.AudioFrame.from_ndarray(samples[None, :], format="s16", layout="mono")
        frame.sample_rate = 48000
        resampler = av.AudioResampler(stream.format, "mono", 48000, frame_size=stream.frame_size)
        for part in [*resampler.resample(frame), *resampler.resample(None)]:
            container.mux(stream.encode(part))
        container.mux(stream.encode(None))
    return out.getvalue()


def _zip() -> bytes:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with open_shop(folder / "shop") as shop:
            job = shop.record.new_job([("owner", {"name": "Ola Berg"})], by="x").job.id
            kept = keep(shop, [valid("png")], media_type="image/png").sha256
            write(shop, job, "photo", {"file": kept}, files=[kept])
            export_jobs(shop, folder / "one.zip")
        return (folder / "one.zip").read_bytes()


def broken(chance: random.Random, files: dict[str, bytes], kind: str) -> tuple[bytes, str]:
    """A file of this kind, broken in one to three ways, and in which."""
    data = bytearray(files[kind])
    ways = []
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        name = chance.choice(list(WAYS))
        data = WAYS[name](chance, data, files)
        ways.append(name)
    return bytes(data), "+".join(ways)


def _bits(chance: random.Random, data: bytearray, _: dict[str, bytes]) -> bytearray:
    for _time in range(chance.choice((1, 3, 10, 100))):
        if data:
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    return data


def _head_bits(chance: random.Random, data: bytearray, _: dict[str, bytes]) -> bytearray:
    for _time in range(chance.choice((1, 2, 5))):
        if data:
            data[chance.randrange(min(200, len(data)))] = chance.randrange(256)
    return data


def _cut(chance: random.Random, data: bytearray, _: dict[str, bytes]) -> bytearray:
    return data[: chance.randrange(len(data) + 1)]


def _middle_out(chance: random.Random, data: bytearray, _: dict[str, bytes]) -> bytearray:
    a = chance.randrange(len(data) + 1)
    return data[:a] + data[a + chance.randrange(1, 1000) :]


def _spliced(chance: random.Random, data: bytearray, files: dict[str, bytes]) -> bytearray:
    other = files[chance.choice(list(files))]
    a, b = chance.randrange(len(data) + 1), chance.randrange(len(other) + 1)
    return data[:a] + other[b : b + chance.randrange(1, 20_000)] + data[a:]


def _length(chance: random.Random, data: bytearray, _: dict[str, bytes]) -> bytearray:
    if len(data) < 8:
        return data
    at = chance.choice((chance.randrange(len(data) - 4), chance.randrange(min(len(data) - 4, 120))))
    value = chance.choice(
        (0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0xFFFF, chance.getrandbits(32))
    )
    data[at : at + 4] = struct.pack(chance.choice("<>") + "I", value)
    return data


def _head_of_another(chance: random.Random, data: bytearray, files: dict[str, bytes]) -> bytearray:
    size = chance.choice((4, 12, 64, 512))
    return bytearray(files[chance.choice(list(files))][:size]) + data[size:]


def _repeated(chance: random.Random, data: bytearray, _: dict[str, bytes]) -> bytearray:
    a = chance.randrange(len(data) + 1)
    return data[:a] + data[a : a + 200] * chance.choice((2, 50, 2000)) + data[a:]


def _odd_text(chance: random.Random, data: bytearray, _: dict[str, bytes]) -> bytearray:
    a = chance.randrange(len(data) + 1)
    odd = chance.choice(
        (
            b"\0",
            "\u202e".encode(),
            b"[" * 5000,
            b"a." * 5000,
            b"9" * 5000,
            b"'",
            b'"""',
            b"\xff\xfe",
        )
    )
    return data[:a] + odd + data[a:]


WAYS: Final[dict[str, Callable[[random.Random, bytearray, dict[str, bytes]], bytearray]]] = {
    "bits": _bits,
    "head": _head_bits,
    "cut": _cut,
    "middle": _middle_out,
    "splice": _spliced,
    "length": _length,
    "other head": _head_of_another,
    "repeat": _repeated,
    "odd text": _odd_text,
}
