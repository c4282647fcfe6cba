"""What the decoding process says a recording is, checked before it is believed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from beltside.base.errors import LimitError, RecordingError
from beltside.media.child_process import ChildBrokenError, number, whole_number, word
from beltside.media.limits import Limits
from beltside.media.sound_check import Float32

AS_RECORDED: Final = "the sound file or video as the phone recorded it"
_LOSSLESS: Final = ("pcm_", "flac", "alac")

# Sample format: numpy type, what to subtract, full scale.
SAMPLE_FORMATS: Final[dict[str, tuple[str, float, float]]] = {
    "u8": ("u1", 128.0, 128.0),
    "s16": ("i2", 0.0, 32768.0),
    "s32": ("i4", 0.0, 2147483648.0),
    "s64": ("i8", 0.0, 9223372036854775808.0),
    "flt": ("f4", 0.0, 1.0),
    "dbl": ("f8", 0.0, 1.0),
}


@dataclass(frozen=True)
class Header:
    """What the child says it sends, checked."""

    sample_rate_hz: int
    channels: int
    sample_format: str
    planar: bool
    codec: str
    container: str
    duration_s: float | None
    duration_of_stream: bool
    starts_late_s: float
    audio_streams: int
    has_video: bool

    @property
    def lossy(self) -> bool:
        return not self.codec.startswith(_LOSSLESS)

    @property
    def step(self) -> float:
        return 1.0 / 128.0 if self.sample_format == "u8" else 1.0 / 32768.0

    def samples(self, payload: bytearray) -> Float32:
        """Samples of one message as float32, shape (channels, n), full scale +-1."""
        kind, zero, full_scale = SAMPLE_FORMATS[self.sample_format]
        item = np.dtype(kind)
        if not payload or len(payload) % (item.itemsize * self.channels):
            raise ChildBrokenError("a message of odd length")
        raw = np.frombuffer(payload, dtype=item)
        shaped = raw.reshape(self.channels, -1) if self.planar else raw.reshape(-1, self.channels).T
        # A double beyond float32 becomes Inf here, which the sound check replaces and reports.
        with np.errstate(over="ignore", invalid="ignore"):
            samples: Float32 = shaped.astype(np.float32, order="C")
        if zero:
            samples -= np.float32(zero)
        if full_scale != 1.0:
            samples *= np.float32(1.0 / full_scale)
        return samples


def check_header(name: str, content: dict[str, Any], limits: Limits) -> Header:
    """A header from what the child says.

    Raises
    ------
    LimitError
        For an absurd sample rate or number of channels.
    RecordingError
        For samples of an unknown kind.
    """
    checked = Header(
        sample_rate_hz=whole_number(content, "sample_rate_hz", 1 << 40),
        channels=whole_number(content, "channels", 1 << 20),
        sample_format=word(content, "sample_format"),
        planar=content.get("planar") is True,
        codec=word(content, "codec"),
        container=word(content, "container"),
        duration_s=number(content, "duration_s"),
        duration_of_stream=content.get("duration_of_stream") is True,
        starts_late_s=number(content, "starts_late_s") or 0.0,
        audio_streams=whole_number(content, "audio_streams", 1 << 20),
        has_video=content.get("has_video") is True,
    )
    check_shape(name, checked.sample_rate_hz, checked.channels, limits)
    if checked.sample_format not in SAMPLE_FORMATS:
        raise RecordingError(
            f"{name} holds samples of a kind that is not read here",
            instead=AS_RECORDED,
        )
    return checked


def check_shape(name: str, sample_rate_hz: int, channels: int, limits: Limits) -> None:
    """Refuse sample rates and numbers of channels outside the limits.

    Raises
    ------
    LimitError
        When one of them is.
    """
    if not limits.min_sample_rate_hz <= sample_rate_hz <= limits.max_sample_rate_hz:
        raise LimitError(
            f"{name} gives its sample rate as {sample_rate_hz} Hz",
            allowed=f"{limits.min_sample_rate_hz} to {limits.max_sample_rate_hz} Hz",
            instead=AS_RECORDED,
        )
    if not 1 <= channels <= limits.max_channels:
        raise LimitError(
            f"{name} gives its number of channels as {channels}",
            allowed=f"1 to {limits.max_channels}",
            instead=AS_RECORDED,
        )
