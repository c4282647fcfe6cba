"""What an untrusted recording may ask for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from beltside.base.errors import require_range

MEBIBYTE: Final = 1 << 20
GIBIBYTE: Final = 1 << 30

# A short file has no business computing for long: this much time, and more for every mebibyte.
_CPU_FLOOR_S: Final = 20.0
_CPU_PER_MEBIBYTE_S: Final = 20.0


@dataclass(frozen=True)
class Limits:
    """Bounds on one recording and on the process that decodes it.

    Attributes
    ----------
    max_duration_s
        Longest recording [s].
    max_file_bytes
        Largest file [bytes].
    max_memory_bytes
        Address space of the decoding process, and the largest array `read_recording` makes
        [bytes]; the process needs about 150 MiB to start.
    max_cpu_s
        Processor time of one decoding pass [s]; small files get less, see `cpu_s`.
    max_wall_s
        Longest time spent waiting for the decoding process in one pass, all waits together [s].
    max_stall_s
        Longest single wait without anything coming back [s].
    max_channels
        Most channels.
    min_sample_rate_hz, max_sample_rate_hz
        Allowed sample rates [Hz].

    Raises
    ------
    OutOfRangeError
        When a bound makes no sense.
    """

    max_duration_s: float = 2 * 3600.0
    max_file_bytes: int = 4 * GIBIBYTE
    max_memory_bytes: int = 1 * GIBIBYTE
    max_cpu_s: float = 900.0
    max_wall_s: float = 1800.0
    max_stall_s: float = 30.0
    max_channels: int = 8
    min_sample_rate_hz: int = 4000
    max_sample_rate_hz: int = 384_000

    def __post_init__(self) -> None:
        require_range("longest recording", self.max_duration_s, 1.0, 24 * 3600.0, "s")
        require_range("largest file", self.max_file_bytes, 1, 1 << 40, "bytes")
        require_range(
            "memory of the decoder", self.max_memory_bytes, 192 * MEBIBYTE, 1 << 40, "bytes"
        )
        require_range("processor time", self.max_cpu_s, 1.0, 24 * 3600.0, "s")
        require_range("waiting time", self.max_wall_s, 0.01, 24 * 3600.0, "s")
        require_range("longest single wait", self.max_stall_s, 0.01, 3600.0, "s")
        require_range("most channels", self.max_channels, 1, 64, "channels")
        require_range("lowest sample rate", self.min_sample_rate_hz, 1, 1_000_000, "Hz")
        require_range(
            "highest sample rate",
            self.max_sample_rate_hz,
            self.min_sample_rate_hz,
            10_000_000,
            "Hz",
        )

    def cpu_s(self, file_bytes: int) -> float:
        """Processor time one decoding pass of a file of this size may take [s].

        A minute of sound takes about 0.1 s to decode, so this is generous by a factor of ten
        and more even for the tightest speech coding.

        >>> Limits().cpu_s(0), Limits().cpu_s(10 * 2**20), Limits().cpu_s(2**30)
        (20.0, 220.0, 900.0)
        """
        scaled_s = _CPU_FLOOR_S + _CPU_PER_MEBIBYTE_S * file_bytes / MEBIBYTE
        return min(self.max_cpu_s, scaled_s)
