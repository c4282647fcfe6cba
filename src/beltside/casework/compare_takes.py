"""Two takes read into memory to be compared."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from beltside.base.errors import InputError, RecordingError, require_range
from beltside.casework import compare_checks as checks
from beltside.casework.crank_speed import STATED_RANGE_RPM
from beltside.casework.formats.drive_sheet import load_drive_sheet
from beltside.casework.results import Progress
from beltside.casework.takes import ArraySource, Mono
from beltside.drive.sheet import DriveSheet
from beltside.media import Recording, open_recording
from beltside.sound.gate import Float32

MOST_S: Final = 120.0
"""No more of a take than this is compared [s]: more would add nothing."""


@dataclass(frozen=True)
class TakeSound:
    """One take in memory.

    Attributes
    ----------
    name
        What to call it.
    samples
        Mono, shape (n,), full scale +-1.
    sample_rate_hz
        Its rate [Hz].
    crank_rpm
        Speed read off a dash or scan tool, if any [1/min].
    clipped
        Share of samples on flat tops as recorded; None looks at the samples.
    reasons, warnings
        What reading it showed: what forbids a comparison, and what to know.
    """

    name: str
    samples: Float32
    sample_rate_hz: int
    crank_rpm: float | None = None
    clipped: float | None = None
    reasons: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def load_pair(
    before: Path,
    after: Path,
    *,
    drive: Path | None,
    before_rpm: float | None = None,
    after_rpm: float | None = None,
    progress: Progress | None = None,
) -> tuple[DriveSheet, tuple[TakeSound, TakeSound]]:
    """The drive sheet and both takes in memory; parameters and errors as in `compare`."""
    say = progress or (lambda _what, _share: None)
    if drive is None:
        raise InputError(
            "no drive sheet given",
            allowed="a drive sheet with at least [engine] and cylinders = 4 (or how many it has)",
            instead="--drive drive.toml",
        )
    sheet = load_drive_sheet(drive)
    for rpm in (before_rpm, after_rpm):
        if rpm is not None:
            if not math.isfinite(rpm):
                raise InputError(f"crank speed {rpm}", allowed="300 to 8000 rpm", instead="760")
            require_range("stated crank speed", rpm, *STATED_RANGE_RPM, "rpm")
    say("reading the takes", 0.0)
    names = (before.name, after.name)
    if names[0] == names[1]:
        names = (f"{before.parent.name}/{before.name}", f"{after.parent.name}/{after.name}")
    if names[0] == names[1]:
        names = (f"{before.name} (before)", f"{after.name} (after)")
    with open_recording(before) as one, open_recording(after) as other:
        return sheet, (
            _load(one, names[0], before_rpm),
            _load(other, names[1], after_rpm),
        )


def _load(recording: Recording, name: str, crank_rpm: float | None) -> TakeSound:
    recording.require_usable()
    mono = Mono()
    blocks: list[Float32] = []
    first: Float32 | None = None
    seconds = 0.0
    for block in recording.blocks(10.0):
        first = block if first is None else first
        blocks.append(mono(block))
        seconds += block.shape[1] / recording.sample_rate_hz
        if seconds >= MOST_S:
            break
    report = recording.report()
    warnings = [f"{name}: {said}" for said in (*report.warnings, *report.notes)]
    if report.seconds_read > seconds + 1.0:
        warnings.append(f"{name}: only the first {seconds:.0f} s are compared.")
    assert first is not None
    reasons = checks.recording_reasons(name, first, recording.sample_rate_hz, report.clipped_share)
    return TakeSound(
        name, np.concatenate(blocks), recording.sample_rate_hz, crank_rpm,
        report.clipped_share, tuple(reasons), tuple(warnings),
    )  # fmt: skip


def require_sound(take: TakeSound) -> None:
    ArraySource(take.samples[None, :], take.sample_rate_hz).require_usable()
    if float(np.abs(take.samples).max()) < checks.SILENCE:
        raise RecordingError(
            f"{take.name} is silent",
            allowed="sound above -80 dB of full scale",
            instead="uncover the microphone and record again",
        )
