"""Writing recordings the way phones do: for the demo, the tests and handing sounds on."""

from __future__ import annotations

import os
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError, OutOfRangeError, nearest

_AAC_RATES: Final = (
    7350,
    8000,
    11025,
    12000,
    16000,
    22050,
    24000,
    32000,
    44100,
    48000,
    64000,
    88200,
    96000,
)
_OPUS_RATES: Final = (8000, 12000, 16000, 24000, 48000)
_MP3_RATES: Final = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
_FRAME_SAMPLES: Final = 1 << 15
_LAYOUTS: Final = {1: "mono", 2: "stereo"}


@dataclass(frozen=True)
class _Coding:
    """How files of one suffix are written."""

    container: str
    encoder: str
    sample_format: str
    sample_rates_hz: tuple[int, ...] = ()
    most_channels: int = 2
    bit_rate_per_channel: int | None = None


_CODINGS: Final = {
    ".m4a": _Coding("ipod", "aac", "fltp", _AAC_RATES, 2, 96_000),
    ".mp4": _Coding("mp4", "aac", "fltp", _AAC_RATES, 2, 96_000),
    ".mov": _Coding("mov", "aac", "fltp", _AAC_RATES, 2, 96_000),
    ".webm": _Coding("webm", "libopus", "flt", _OPUS_RATES, 2, 48_000),
    ".ogg": _Coding("ogg", "libopus", "flt", _OPUS_RATES, 2, 48_000),
    ".mp3": _Coding("mp3", "libmp3lame", "fltp", _MP3_RATES, 2, 64_000),
    ".flac": _Coding("flac", "flac", "s16"),
    ".wav": _Coding("wav", "pcm_s16le", "s16"),
    ".amr": _Coding("amr", "libopencore_amrnb", "s16", (8000,), 1, 12_200),
    ".3gp": _Coding("3gp", "libopencore_amrnb", "s16", (8000,), 1, 12_200),
}


def write_recording(
    path: str | os.PathLike[str],
    samples: npt.NDArray[np.floating],
    sample_rate_hz: int,
    *,
    bit_rate: int | None = None,
) -> None:
    """Write a recording in the coding that its suffix stands for.

    Parameters
    ----------
    path
        `.m4a`, `.mp4`, `.mov` (AAC), `.webm`, `.ogg` (Opus), `.mp3`, `.flac`, `.wav` (16 bits
        both), `.amr`, `.3gp` (AMR, 8000 Hz, one channel).
    samples
        Shape (n,) or (channels, n), full scale +-1; what lies beyond is cut at full scale, as
        the converter of a phone does.
    sample_rate_hz
        Sample rate [Hz]; AAC, Opus, MP3 and AMR know certain rates only.
    bit_rate
        For lossy codings [bit/s]; 96,000 per channel for AAC, 64,000 for MP3, 48,000 for
        Opus and 12,200 for AMR when not given.

    Raises
    ------
    InputError
        For an unknown suffix, samples of another shape or that are no numbers.
    OutOfRangeError
        For a sample rate or number of channels that the coding does not know.
    """
    target = Path(path)
    coding = _coding(target)
    data = _as_channels(samples)
    _check_fit(target, coding, data.shape[0], sample_rate_hz)
    import av  # only writing needs it in this process, and it takes a tenth of a second to load

    clipped = np.clip(data, -1.0, 1.0)
    layout = _LAYOUTS[data.shape[0]]
    if bit_rate is None and coding.bit_rate_per_channel is not None:
        bit_rate = coding.bit_rate_per_channel * data.shape[0]
    with av.open(str(target), "w", format=coding.container) as container:
        # The default search of this AAC encoder distorts pure tones by up to 5 dB.
        options = {"aac_coder": "fast"} if coding.encoder == "aac" else {}
        stream = container.add_stream(coding.encoder, rate=sample_rate_hz, options=options)
        assert isinstance(stream, av.AudioStream)
        stream.layout = layout
        stream.format = coding.sample_format
        if bit_rate is not None:
            stream.bit_rate = bit_rate
        for start in range(0, data.shape[1], _FRAME_SAMPLES):
            piece = _coded(clipped[:, start : start + _FRAME_SAMPLES], coding.sample_format)
            frame = av.AudioFrame.from_ndarray(piece, format=coding.sample_format, layout=layout)
            frame.sample_rate = sample_rate_hz
            frame.pts = start
            frame.time_base = Fraction(1, sample_rate_hz)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def _coding(path: Path) -> _Coding:
    suffix = path.suffix.lower()
    if suffix not in _CODINGS:
        near = nearest(suffix, _CODINGS)
        raise InputError(
            f"recordings are not written as {suffix or 'files without a suffix'}",
            allowed=", ".join(_CODINGS),
            instead=f"{path.stem}{near or '.m4a'}",
        )
    return _CODINGS[suffix]


def _as_channels(samples: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    data = np.atleast_2d(np.asarray(samples))
    if data.ndim != 2 or not np.issubdtype(data.dtype, np.floating) or data.shape[1] == 0:
        raise InputError(
            f"samples of shape {np.shape(samples)} and type {data.dtype}",
            allowed="floats of shape (n,) or (channels, n), n at least 1",
        )
    if not np.isfinite(data).all():
        raise InputError("some samples are NaN or infinite", allowed="finite samples")
    return data


def _check_fit(path: Path, coding: _Coding, channels: int, sample_rate_hz: int) -> None:
    if channels > coding.most_channels:
        raise OutOfRangeError(
            f"{channels} channels for {path.suffix}",
            allowed=f"1 to {coding.most_channels} (samples are shaped (channels, n))",
        )
    rates = coding.sample_rates_hz
    if rates and sample_rate_hz not in rates:
        raise OutOfRangeError(
            f"{path.suffix} at {sample_rate_hz} Hz",
            allowed=", ".join(str(rate) for rate in rates) + " Hz",
            instead="resample first, or write .wav or .flac",
        )
    if not 1000 <= sample_rate_hz <= 384_000:
        raise OutOfRangeError(f"sample rate {sample_rate_hz} Hz", allowed="1000 to 384000 Hz")


def _coded(
    samples: npt.NDArray[np.floating], sample_format: str
) -> npt.NDArray[np.float32] | npt.NDArray[np.int16]:
    """Samples of shape (channels, n) in the layout that PyAV wants for a sample format."""
    if sample_format == "fltp":
        return np.ascontiguousarray(samples, dtype=np.float32)
    interleaved = np.ascontiguousarray(samples.T).reshape(1, -1)
    if sample_format == "flt":
        return interleaved.astype(np.float32)
    return np.clip(np.rint(interleaved * 32768.0), -32768, 32767).astype(np.int16)
