"""Signals and files that the tests of this room share."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
import pytest

from beltside.media import write_recording

Signal = npt.NDArray[np.float32]


def two_tones(duration_s: float = 5.0, sample_rate_hz: int = 48_000) -> Signal:
    """440 Hz at 0.5 on channel 1, 1000 Hz at 0.25 on channel 2."""
    time_s = np.arange(round(duration_s * sample_rate_hz)) / sample_rate_hz
    left = 0.5 * np.sin(2 * np.pi * 440.0 * time_s)
    right = 0.25 * np.sin(2 * np.pi * 1000.0 * time_s)
    return np.stack([left, right]).astype(np.float32)


def rumble(duration_s: float, sample_rate_hz: int = 48_000, rms: float = 0.1) -> Signal:
    """Low-passed noise on two independent channels, like an engine heard through a bonnet."""
    drawn = np.random.default_rng(7).standard_normal((2, round(duration_s * sample_rate_hz)))
    spectrum = np.fft.rfft(drawn)
    spectrum[:, round(2000 * duration_s) :] = 0.0
    noise = np.fft.irfft(spectrum, n=drawn.shape[1])
    return (noise * rms / noise.std()).astype(np.float32)


def rms_db(samples: Signal) -> npt.NDArray[np.float64]:
    """RMS level of each channel [dB re 1]."""
    return 10.0 * np.log10(np.mean(np.square(samples, dtype=np.float64), axis=-1))


@pytest.fixture(scope="session")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Path of a 5 s recording of `two_tones` in the coding of a suffix; written once each."""
    folder = tmp_path_factory.mktemp("recorded")

    def path(suffix: str) -> Path:
        target = folder / f"take{suffix}"
        if not target.exists():
            if suffix in (".amr", ".3gp"):
                write_recording(target, two_tones(sample_rate_hz=8000)[0], 8000)
            else:
                write_recording(target, two_tones(), 48_000)
        return target

    return path


def write_video(
    path: Path,
    *,
    sound: tuple[Signal, ...],
    codec: str = "libx264",
    sound_codec: str = "aac",
    video_s: float = 3.0,
    delay_s: float = 0.0,
) -> None:
    """A small video with any number of sound tracks at 48 kHz, written with PyAV directly."""
    with av.open(str(path), "w") as container:
        picture = container.add_stream(codec, rate=25)
        picture.width, picture.height, picture.pix_fmt = 64, 48, "yuv420p"
        tracks = [container.add_stream(sound_codec, rate=48_000, layout="stereo") for _ in sound]
        for number in range(round(25 * video_s)):
            image = np.full((72, 64), number % 200, dtype=np.uint8)
            frame = av.VideoFrame.from_ndarray(image, format="yuv420p")
            frame.pts, frame.time_base = number, Fraction(1, 25)
            container.mux(picture.encode(frame))
        container.mux(picture.encode(None))
        for track, samples in zip(tracks, sound, strict=True):
            write_track(container, track, samples, delay_s)


def write_track(
    container: av.container.OutputContainer,
    track: av.AudioStream,
    samples: Signal,
    delay_s: float = 0.0,
) -> None:
    """Encode stereo samples at 48 kHz onto one track and finish it."""
    for start in range(0, samples.shape[1], 4800):
        piece = np.ascontiguousarray(samples[:, start : start + 4800])
        frame = av.AudioFrame.from_ndarray(piece, format="fltp", layout="stereo")
        frame.sample_rate, frame.time_base = 48_000, Fraction(1, 48_000)
        frame.pts = start + round(delay_s * 48_000)
        container.mux(track.encode(frame))
    container.mux(track.encode(None))
