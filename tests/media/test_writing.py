"""What `write_recording` accepts, and what other readers make of it."""

from __future__ import annotations

import wave
from pathlib import Path

import av
import numpy as np
import pytest

from beltside.base.errors import InputError, OutOfRangeError
from beltside.media import read_recording, write_recording

from .conftest import two_tones


def test_the_standard_library_reads_the_wav(tmp_path: Path) -> None:
    # Second implementation: the standard library's `wave`.
    write_recording(tmp_path / "take.wav", two_tones(2.5), 44_100)
    with wave.open(str(tmp_path / "take.wav")) as file:
        assert (file.getframerate(), file.getnchannels(), file.getsampwidth()) == (44_100, 2, 2)
        values = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
    np.testing.assert_array_equal(
        values.reshape(-1, 2).T, np.rint(two_tones(2.5) * np.float32(32768)).astype(np.int16)
    )


@pytest.mark.parametrize(
    ("suffix", "container", "codec"),
    [
        (".m4a", "mov", "aac"),
        (".webm", "webm", "opus"),
        (".ogg", "ogg", "opus"),
        (".mp3", "mp3", "mp3"),
        (".flac", "flac", "flac"),
    ],
)
def test_the_file_is_of_the_kind_its_suffix_says(
    tmp_path: Path, suffix: str, container: str, codec: str
) -> None:
    path = tmp_path / f"take{suffix}"
    write_recording(path, two_tones(2.5), 48_000)
    with av.open(str(path)) as file:
        assert container in file.format.name
        assert file.streams.audio[0].codec_context.codec.canonical_name == codec


def test_one_row_of_samples_is_one_channel(tmp_path: Path) -> None:
    write_recording(tmp_path / "mono.flac", two_tones(2.5)[0], 48_000)
    samples, _, _ = read_recording(tmp_path / "mono.flac")
    assert samples.shape == (1, 120_000)


def test_the_bit_rate_is_kept(tmp_path: Path) -> None:
    sizes = []
    noise = np.random.default_rng(3).standard_normal((2, 5 * 48_000)) * 0.1
    for bit_rate in (64_000, 192_000):
        path = tmp_path / f"{bit_rate}.m4a"
        write_recording(path, noise, 48_000, bit_rate=bit_rate)
        sizes.append(path.stat().st_size * 8 / 5.0)
    np.testing.assert_allclose(sizes, [64_000, 192_000], rtol=0.15)


def test_beyond_full_scale_is_cut_there(tmp_path: Path) -> None:
    write_recording(tmp_path / "hot.wav", two_tones(2.5) * 4.0, 48_000)
    samples, _, _ = read_recording(tmp_path / "hot.wav")
    wanted = np.clip(two_tones(2.5) * 4.0, -1.0, 1.0)
    np.testing.assert_allclose(samples, wanted, atol=4e-5)


@pytest.mark.parametrize(
    ("name", "shape", "sample_rate_hz", "error", "says"),
    [
        ("take.xyz", (2, 100), 48_000, InputError, "not written as .xyz"),
        ("take", (2, 100), 48_000, InputError, "without a suffix"),
        ("take.amr", (1, 100), 48_000, OutOfRangeError, "8000 Hz"),
        ("take.amr", (2, 100), 8000, OutOfRangeError, "2 channels"),
        ("take.webm", (2, 100), 44_100, OutOfRangeError, "resample first"),
        ("take.wav", (3, 100), 48_000, OutOfRangeError, "3 channels"),
        ("take.wav", (2, 0), 48_000, InputError, "n at least 1"),
        ("take.wav", (1, 2, 3), 48_000, InputError, "floats of shape"),
        ("take.wav", (1, 100), 10, OutOfRangeError, "1000 to 384000 Hz"),
    ],
)
def test_what_cannot_be_written_is_refused(
    tmp_path: Path,
    name: str,
    shape: tuple[int, ...],
    sample_rate_hz: int,
    error: type[Exception],
    says: str,
) -> None:
    with pytest.raises(error) as caught:
        write_recording(tmp_path / name, np.zeros(shape), sample_rate_hz)
    assert says in str(caught.value)
    assert not (tmp_path / name).exists()


def test_numbers_that_are_none_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="NaN"):
        write_recording(tmp_path / "take.wav", np.array([0.0, np.nan]), 48_000)
    with pytest.raises(InputError, match="floats"):
        write_recording(tmp_path / "take.wav", np.zeros(100, dtype=np.int16), 48_000)
