"""Reading a recording: the whole take, or block by block.

Recordings are untrusted files. They are decoded by a process of their own, under limits; this
module asks it, checks what it answers and turns it into float32.
"""

from __future__ import annotations

import contextlib
import os
import weakref
from collections.abc import Generator, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Final

import numpy as np

from beltside.base.errors import LimitError, RecordingError, require_range
from beltside.media import file_kind
from beltside.media.child_process import (
    ChildBrokenError,
    DecodingChild,
    number,
    parse_json,
    whole_number,
)
from beltside.media.file_kind import Bookkeeping
from beltside.media.header import Header, check_header
from beltside.media.limits import Limits
from beltside.media.refusals import broke_off, too_long, too_much_memory, why_not
from beltside.media.report import (
    LATE_WORTH_SAYING_S,
    Losses,
    ReadingReport,
    quality_sentences,
)
from beltside.media.sound_check import Float32, SoundCheck
from beltside.media.source_file import check_file

# A take of up to this many bytes of float32 is kept, so that it is decoded only once.
KEPT_BYTES: Final = 64 << 20


class Recording:
    """One recording, open for reading; made by `open_recording`.

    Attributes
    ----------
    path
        The file.
    sample_rate_hz
        Sample rate as recorded [Hz].
    channels
        Number of channels as recorded.
    codec
        Name of the coding, such as "aac".
    container_duration_s
        Length by the file's own account [s], before anything is read; None when it has none.
        A guess for files that hold no length (AMR, bare AAC, some MP3).

    A context manager; without one, the decoding process ends with the object.
    """

    def __init__(self, path: Path, limits: Limits) -> None:
        self.path = path
        self._limits = limits
        self._source = check_file(path, limits)
        self._first_pass: DecodingChild | None = None
        self._kept: Float32 | None = None
        self._report: ReadingReport | None = None
        child, self._file_says = self._start()
        self._end = weakref.finalize(self, child.close)
        try:
            self._header = self._read_header(child)
        except BaseException:
            child.close()
            raise
        self._first_pass = child
        self.sample_rate_hz = self._header.sample_rate_hz
        self.channels = self._header.channels
        self.codec = self._header.codec
        lengths = [self._header.duration_s, self._file_says.duration_s]
        self.container_duration_s = max((s for s in lengths if s is not None), default=None)
        try:
            self._check_promises()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Recording:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the decoding process that waits for the first pass, if there is one."""
        self._first_pass = None
        self._end()

    def blocks(self, block_s: float = 10.0) -> Iterator[Float32]:
        """The samples, block by block; may be asked for again, from the start.

        Parameters
        ----------
        block_s
            Length of a block [s], 0.001 to 3600.

        Yields
        ------
        float32, shape (channels, n), yours to change; n is `block_s` times the sample rate,
        rounded, and less only in the last block. Full scale is +-1; floats beyond stay as they
        are. Nothing overlaps, nothing is left out between blocks.

        Raises
        ------
        RecordingError
            When the file changed meanwhile.
        LimitError
            When it is longer than allowed or takes too long.
        """
        require_range("block length", block_s, 0.001, 3600.0, "s")
        size = max(1, round(block_s * self.sample_rate_hz))
        if self._kept is not None:
            return self._cut(self._kept, size)
        return self._joined(size)

    def report(self) -> ReadingReport:
        """What reading showed; reads to the end first if that has not been done yet."""
        if self._report is None:
            for _ in self.blocks():
                pass
        if self._report is None:
            raise RecordingError(f"{self.path.name} was not read to its end")
        return self._report

    def require_usable(self) -> None:
        """Refuse a recording that is too short or silent; reads it first if need be.

        Raises
        ------
        RecordingError
            When it is shorter than 2 s, or silent.
        """
        self.report().require_usable(self.path.name)

    def whole(self) -> Float32:
        """All samples, float32, shape (channels, n).

        Raises
        ------
        LimitError
            When they would take more memory than the limits allow.
        """
        if self._kept is None:
            pieces: list[Float32] = []
            total = 0
            for piece in self._pieces():
                pieces.append(piece)
                total += piece.nbytes
                if total > self._limits.max_memory_bytes:
                    raise LimitError(
                        f"{self.path.name} takes more than {total >> 20} MiB as a whole",
                        allowed=f"{self._limits.max_memory_bytes >> 20} MiB",
                        instead="read it block by block with blocks()",
                    )
            if self._kept is None:
                return np.concatenate(pieces, axis=1)
        return self._kept.copy()

    # -- opening -------------------------------------------------------------------------------

    def _start(self) -> tuple[DecodingChild, Bookkeeping]:
        with self._source.open() as file:
            file_says = file_kind.bookkeeping(file)
            file.seek(0)
            readable = file_says.readable_bytes or self._source.size_bytes
            return DecodingChild(file.fileno(), readable, self._limits), file_says

    def _read_header(self, child: DecodingChild) -> Header:
        try:
            kind, payload = child.next_message()
            content = parse_json(payload)
        except ChildBrokenError as error:
            raise broke_off(self.path.name) from error
        if kind == b"E":
            with self._source.open() as file:
                raise why_not(self.path.name, content, file, self._limits)
        return check_header(self.path.name, content, self._limits)

    def _check_promises(self) -> None:
        duration_s = self.container_duration_s
        is_guess = self._file_says.duration_is_guess
        if duration_s is not None and duration_s > self._limits.max_duration_s and not is_guess:
            raise too_long(
                self.path.name, f"says that it is {duration_s / 60:.0f} min long", self._limits
            )

    # -- reading -------------------------------------------------------------------------------

    @staticmethod
    def _cut(samples: Float32, size: int) -> Iterator[Float32]:
        for start in range(0, samples.shape[1], size):
            yield samples[:, start : start + size].copy()

    def _joined(self, size: int) -> Iterator[Float32]:
        block = np.empty((self.channels, size), dtype=np.float32)
        filled = 0
        with contextlib.closing(self._pieces()) as pieces:
            for piece in pieces:
                taken = 0
                while taken < piece.shape[1]:
                    step = min(size - filled, piece.shape[1] - taken)
                    block[:, filled : filled + step] = piece[:, taken : taken + step]
                    filled += step
                    taken += step
                    if filled == size:
                        yield block
                        block = np.empty((self.channels, size), dtype=np.float32)
                        filled = 0
        if filled:
            yield block[:, :filled].copy()

    def _pieces(self) -> Generator[Float32, None, None]:
        """One pass over the samples in pieces as they come; keeps short takes and the report."""
        child = self._first_pass
        self._first_pass = None
        header_due = child is None
        if child is None:
            child, _ = self._start()
        else:
            self._end.detach()  # from here on this pass ends it
        kept: list[Float32] | None = [] if self._may_be_kept() else None
        kept_bytes = 0
        check = SoundCheck(self.channels, lossy=self._header.lossy, step=self._header.step)
        last: dict[str, Any] = {}
        try:
            if header_due and self._read_header(child) != self._header:
                raise RecordingError(f"{self.path.name} changed while it was being read")
            for samples in _messages(child, self._header):
                if isinstance(samples, dict):
                    last = samples
                    break
                check.take(samples)
                if check.samples_read > self._limits.max_duration_s * self.sample_rate_hz:
                    raise too_long(self.path.name, "is longer than that", self._limits)
                if kept is not None:
                    kept_bytes += samples.nbytes
                    kept.append(samples)
                    if kept_bytes > KEPT_BYTES:
                        kept = None
                yield samples
        finally:
            child.close()
        if last.get("problem") == "memory":
            raise too_much_memory(self.path.name, self._limits)
        self._report = self._make_report(check, last)
        if kept is not None and self._kept is None:
            self._kept = np.concatenate(kept, axis=1)

    def _may_be_kept(self) -> bool:
        # Where the length is known beforehand, a long take is not even begun to be kept.
        samples = (self.container_duration_s or 0.0) * self.sample_rate_hz
        return samples * self.channels * 4 <= KEPT_BYTES

    def _make_report(self, check: SoundCheck, last: dict[str, Any]) -> ReadingReport:
        seconds_read = check.samples_read / self.sample_rate_hz
        exact = not self._file_says.duration_is_guess
        # The length of a whole video says little about the sound in it.
        loose = self._header.has_video and not self._header.duration_of_stream
        cut_short = self._file_says.cut_short or last.get("ended_early") is True
        losses = Losses(
            promised_s=self.container_duration_s if exact else None,
            promise_tolerance_s=1.0 if loose else 0.25,
            seconds_failed=number(last, "seconds_failed") or 0.0,
            packets_failed=whole_number(last, "packets_failed", 1 << 40),
            gap_s=number(last, "gap_s") or 0.0,
            cut_short=cut_short,
            promise_is_whole=self._file_says.duration_s is not None or self._file_says.indexed,
            format_changed=last.get("format_changed") is True,
            crashed=last.get("problem") in ("crashed", "internal"),
        )
        silent_channels = check.silent_channels
        silent = len(silent_channels) == self.channels
        clipped_share = max(check.clipped_share, check.flattened_share)
        warnings = losses.sentences(seconds_read) + quality_sentences(
            sample_rate_hz=self.sample_rate_hz,
            level_db=check.level_db,
            clipped_share=clipped_share,
            own_ceiling=check.own_ceiling,
            not_finite=check.not_finite,
            silent=silent,
            silent_channels=silent_channels,
        )
        return ReadingReport(
            seconds_read=seconds_read,
            seconds_lost=losses.seconds_lost(seconds_read),
            peak=check.peak,
            level_db=check.level_db,
            clipped_share=clipped_share,
            silent=silent,
            cut_short=cut_short,
            warnings=tuple(warnings),
            notes=tuple(self._notes(alike=check.channels_alike and not silent)),
        )

    def _notes(self, *, alike: bool) -> list[str]:
        said: list[str] = []
        if alike:
            said.append("Both channels hold the same sound: one microphone, written twice.")
        if self._header.audio_streams > 1:
            said.append(
                f"The file holds {self._header.audio_streams} sound tracks; the longest was read."
            )
        if self._header.starts_late_s >= LATE_WORTH_SAYING_S:
            said.append(
                f"The sound starts {self._header.starts_late_s:.1f} s after the picture; times "
                "count from the start of the sound."
            )
        return said


def open_recording(path: str | os.PathLike[str], limits: Limits | None = None) -> Recording:
    """Open a recording and start decoding it.

    Parameters
    ----------
    path
        M4A, MP4, MOV, 3GP (AAC, ALAC, AMR), WebM, Ogg, MKV (Opus, Vorbis), AMR, MP3, FLAC, WAV,
        AIFF, CAF; mono or more channels, any usual rate. Of a video only the sound is decoded.
    limits
        Bounds on it; `Limits()` when not given.

    Raises
    ------
    InputError
        When there is no such file, or it is a folder or no ordinary file.
    RecordingError
        When it is empty, no recording, a video without sound, or beyond reading.
    LimitError
        When it is larger, longer, or of a stranger shape than allowed.
    """
    return Recording(Path(path), limits or Limits())


def read_recording(
    path: str | os.PathLike[str], limits: Limits | None = None
) -> tuple[Float32, int, ReadingReport]:
    """Read a whole recording: samples (float32, shape (channels, n)), sample rate [Hz], report.

    Raises
    ------
    InputError, RecordingError, LimitError
        As `open_recording` and `Recording.blocks`, and when it is shorter than 2 s or silent.
    """
    with open_recording(path, limits) as recording:
        samples = recording.whole()
        recording.require_usable()
        return samples, recording.sample_rate_hz, recording.report()


def _messages(child: DecodingChild, header: Header) -> Iterator[Float32 | dict[str, Any]]:
    """Samples as they come, then what went wrong on the way."""
    try:
        while True:
            kind, payload = child.next_message()
            if kind == b"E":
                yield parse_json(payload)
                return
            if kind == b"S":
                yield header.samples(payload)
    except ChildBrokenError:
        # What came before is kept: a damaged file is read as far as it goes.
        yield {"problem": "crashed"}
