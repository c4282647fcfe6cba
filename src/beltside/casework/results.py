"""What `listen`, `find` and `demo` hand back, and the JSON other programs rely on.

Frozen values. Names of parts and suspects are those of `base.words`; every number in the JSON
is finite and rounded to what the measurement can carry.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from beltside.base.provenance import Provenance
from beltside.casework.next_step import Contradiction, FindingWeight, NextStep
from beltside.casework.picture_data import ListenPictures as ListenPictures
from beltside.casework.picture_data import OrderSpectrum as OrderSpectrum
from beltside.casework.picture_data import Spectrogram as Spectrogram
from beltside.sound.track import CrankTrack

Float64 = npt.NDArray[np.float64]
Progress = Callable[[str, float], None]
"""What is being done, and the share done, 0 to 1."""

TRACK_POINTS: Final = 600
"""A crank track is thinned to at most this many points."""

SIGNIFICANCE_LIMIT: Final = 300.0
"""Largest significance given: a false-alarm probability below 1e-300 is not told apart from 0."""

_SUM_TOLERANCE: Final = 1e-6


def _finite(name: str, value: float) -> float:
    if not math.isfinite(value):
        raise ValueError(f"{name} is {value}; a result holds finite numbers only")
    return value


def _share(name: str, value: float) -> float:
    if not 0.0 <= value <= 1.0:
        raise ValueError(f"{name} is {value}; it runs from 0 to 1")
    return value


def _provenance_json(provenance: Provenance | None) -> dict[str, Any] | None:
    if provenance is None:
        return None
    return {
        "method": provenance.method,
        "version": provenance.version,
        "inputs": {
            name: (None if isinstance(value, float) and not math.isfinite(value) else value)
            for name, value in provenance.inputs.items()
        },
        "valid_range": provenance.valid_range,
        "source": provenance.source,
        "warnings": list(provenance.warnings),
    }


@dataclass(frozen=True)
class Crank:
    """Crank speed over one take.

    Attributes
    ----------
    rpm_median
        Median speed over the take [1/min].
    rpm_low, rpm_high
        90 % range of that median [1/min]; rpm_low <= rpm_median <= rpm_high.
    confidence
        Probability that the speed is right and not, say, half or double, 0 to 1.
    track
        (moment [s], speed [1/min]), moments rising, at most 600 points.
    source
        "sound" when worked out from the recording, "stated" when somebody read it off.

    Raises
    ------
    ValueError
        When a number is not finite or not in its range.
    """

    rpm_median: float
    rpm_low: float
    rpm_high: float
    confidence: float
    track: tuple[tuple[float, float], ...] = ()
    source: str = "sound"

    def __post_init__(self) -> None:
        _share("confidence", self.confidence)
        for name in ("rpm_low", "rpm_median", "rpm_high"):
            _finite(name, getattr(self, name))
        if not 0.0 < self.rpm_low <= self.rpm_median <= self.rpm_high:
            raise ValueError(
                f"rpm_low {self.rpm_low}, rpm_median {self.rpm_median}, rpm_high {self.rpm_high} "
                "do not rise"
            )
        if len(self.track) > TRACK_POINTS:
            raise ValueError(f"a track of {len(self.track)} points; at most {TRACK_POINTS}")

    @classmethod
    def from_track(cls, track: CrankTrack, confidence: float, *, source: str = "sound") -> Crank:
        """The crank speed told by a `CrankTrack`: medians of speed and of its 90 % range.

        `track` is thinned to at most 600 points; `confidence` runs from 0 to 1.
        """
        median = float(np.median(track.rpm))
        return cls(
            rpm_median=median,
            rpm_low=min(float(np.median(track.rpm_low)), median),
            rpm_high=max(float(np.median(track.rpm_high)), median),
            confidence=confidence,
            track=thin_track(track.time_s, track.rpm),
            source=source,
        )

    @property
    def slowest_rpm(self) -> float:
        """Lowest speed met during the take [1/min]."""
        return min((rpm for _, rpm in self.track), default=self.rpm_median)

    @property
    def fastest_rpm(self) -> float:
        """Highest speed met during the take [1/min]."""
        return max((rpm for _, rpm in self.track), default=self.rpm_median)

    def to_json(self) -> dict[str, Any]:
        """Plain dict; speeds to 0.1 1/min, moments to 1 ms."""
        return {
            "rpm_median": round(self.rpm_median, 1),
            "rpm_low": round(self.rpm_low, 1),
            "rpm_high": round(self.rpm_high, 1),
            "confidence": round(self.confidence, 3),
            "source": self.source,
            "track": [
                [round(_finite("track time", t_s), 3), round(_finite("track speed", rpm), 1)]
                for t_s, rpm in self.track
            ],
        }


def thin_track(
    time_s: Float64, rpm: Float64, points: int = TRACK_POINTS
) -> tuple[tuple[float, float], ...]:
    """At most `points` of a track's points, evenly picked, with the first and the last.

    `time_s` [s] and `rpm` [1/min] have shape (n,).

    >>> thin_track(np.arange(5.0), np.array([700.0, 710.0, 720.0, 730.0, 740.0]), points=3)
    ((0.0, 700.0), (2.0, 720.0), (4.0, 740.0))
    """
    picked = np.unique(np.linspace(0, len(time_s) - 1, min(points, len(time_s))).round())
    return tuple((float(time_s[int(i)]), float(rpm[int(i)])) for i in picked)


@dataclass(frozen=True)
class ExplainedLine:
    """A peak in a spectrum that a known shaft or bearing explains.

    Attributes
    ----------
    part
        The part, as in `base.words` ("coolant-pump", "idler-2").
    source
        What about the part makes it, in words ("shaft", "bearing outer ring").
    order
        Events per crank turn, as measured.
    level_db
        Level of the line [dB, relative to the recording's full scale].
    significance
        -log10 of the false-alarm probability: 3 means that noise alone would make such a line
        in one of 1,000 places looked at. 0 to 300.
    spectrum
        "sound" when found in the sound itself, "envelope" when in the rhythm of its loudness.
    excess_db
        How far the line stands above its own surroundings [dB].
    harmonic
        1 for the fundamental, 2 for twice that, and so on.

    Raises
    ------
    ValueError
        When a number is not finite or `spectrum` is neither of the two.
    """

    part: str
    source: str
    order: float
    level_db: float
    significance: float
    spectrum: str = "sound"
    excess_db: float = 0.0
    harmonic: int = 1

    def __post_init__(self) -> None:
        if self.spectrum not in ("sound", "envelope"):
            raise ValueError(f"spectrum is {self.spectrum!r}; it is 'sound' or 'envelope'")
        for name in ("order", "level_db", "excess_db"):
            _finite(name, getattr(self, name))
        if not self.significance >= 0.0:
            raise ValueError(f"significance is {self.significance}; it is 0 or more")

    def to_json(self) -> dict[str, Any]:
        """Plain dict; order to 0.0001, levels and significance to 0.01."""
        return {
            "part": self.part,
            "source": self.source,
            "order": round(self.order, 4),
            "level_db": round(self.level_db, 2),
            "significance": round(min(self.significance, SIGNIFICANCE_LIMIT), 2),
            "spectrum": self.spectrum,
            "excess_db": round(self.excess_db, 2),
            "harmonic": self.harmonic,
        }


@dataclass(frozen=True)
class ListenResult:
    """What one take tells.

    Attributes
    ----------
    file
        The take's file name.
    crank
        Crank speed, or None when it can't be told.
    crank_reason
        Why it can't be told; None when it can.
    lines
        Explained lines, most significant first.
    warnings
        What to know before trusting it, in plain words.
    provenance
        How it was made.
    pictures
        Reduced arrays for the charts.
    duration_s
        Length of the take [s].
    """

    file: str
    crank: Crank | None
    crank_reason: str | None
    lines: tuple[ExplainedLine, ...] = ()
    warnings: tuple[str, ...] = ()
    provenance: Provenance | None = None
    pictures: ListenPictures = field(default_factory=ListenPictures)
    duration_s: float = 0.0

    def __post_init__(self) -> None:
        if self.crank is None and not self.crank_reason:
            raise ValueError("without a crank speed a result must say why")
        _finite("duration_s", self.duration_s)

    def to_json(self) -> dict[str, Any]:
        """Plain dict with the keys of docs/usage.md; the pictures' arrays are left out."""
        return {
            "file": self.file,
            "duration_s": round(self.duration_s, 3),
            "crank": self.crank.to_json() if self.crank else None,
            "crank_reason": None if self.crank else self.crank_reason,
            "lines": [line.to_json() for line in self.lines],
            "warnings": list(self.warnings),
            "provenance": _provenance_json(self.provenance),
        }


@dataclass(frozen=True)
class Because:
    """One reason for or against a suspect.

    Attributes
    ----------
    from_
        Where it comes from: a take's file name, a finding, "before any test".
    says
        The reason in plain words.
    bits
        Weight of evidence, log2 of the likelihood ratio: +1 doubles the odds, -1 halves them.
    """

    from_: str
    says: str
    bits: float

    def to_json(self) -> dict[str, Any]:
        """Plain dict; bits to 0.01."""
        return {
            "from": self.from_,
            "says": self.says,
            "bits": round(_finite("bits", self.bits), 2),
        }


@dataclass(frozen=True)
class SuspectOdds:
    """How likely one suspect is; `id` as in the catalogue ("coolant-pump.bearing").

    `name` is how a person calls it ("coolant pump bearing"), `probability` runs from 0 to 1.
    """

    id: str
    name: str
    probability: float
    because: tuple[Because, ...] = ()

    def __post_init__(self) -> None:
        _share("probability", self.probability)


@dataclass(frozen=True)
class NextCheck:
    """A check worth doing next.

    Attributes
    ----------
    check, part
        What to do and on which part; `part` may be "" when it is about none.
    minutes
        How long it takes [min].
    worth
        Money it is expected to save, its own cost taken off, against acting now.
    why
        What it would tell apart, in plain words.
    how, first
        What to do, and what has to be opened or must hold before it.
    hazard, cautions
        Its main risk and further ones, each a sentence.
    """

    check: str
    part: str
    minutes: float
    worth: float
    why: str
    how: str = ""
    first: tuple[str, ...] = ()
    hazard: str = ""
    cautions: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain dict; minutes to 0.1, worth to 0.0001."""
        return {
            "check": self.check,
            "part": self.part,
            "minutes": round(_finite("minutes", self.minutes), 1),
            "worth": round(_finite("worth", self.worth), 4),
            "why": self.why,
            "how": self.how,
            "first": list(self.first),
            "hazard": self.hazard,
            "cautions": list(self.cautions),
        }


def rounded_to_one(probabilities: Sequence[float], digits: int = 6) -> list[float]:
    """Probabilities rounded so that they still sum to 1: the largest takes the remainder.

    >>> rounded_to_one([1 / 3, 1 / 3, 1 / 3], digits=2)
    [0.34, 0.33, 0.33]
    """
    rounded = [round(probability, digits) for probability in probabilities]
    if rounded:
        largest = max(range(len(rounded)), key=rounded.__getitem__)
        rounded[largest] = round(rounded[largest] + 1.0 - math.fsum(rounded), digits)
    return rounded


@dataclass(frozen=True)
class FindResult:
    """Odds for every suspect of a case and what to check next.

    Attributes
    ----------
    suspects
        Most likely first; probabilities sum to 1 and `none` and `other` are among them.
    next_checks
        Most worth first; empty when no check is worth its minutes.
    next_step
        The best next step: a check, or stop checking and do a repair.
    findings
        What each finding moves, and the odds without it.
    contradictions
        Pieces of evidence that speak against each other, worst first.
    crank
        Crank speed of each take by file name; None when it can't be told.
    crank_reasons
        Why not, by file name, for those without one.
    warnings
        What to know before trusting it.
    listens
        The full result of each take by file name.
    provenance
        How it was made.

    Raises
    ------
    ValueError
        When the probabilities do not sum to 1, or `none` or `other` is missing.
    """

    suspects: tuple[SuspectOdds, ...]
    next_checks: tuple[NextCheck, ...] = ()
    crank: Mapping[str, Crank | None] = field(default_factory=dict)
    crank_reasons: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    listens: Mapping[str, ListenResult] = field(default_factory=dict)
    provenance: Provenance | None = None
    next_step: NextStep | None = None
    findings: tuple[FindingWeight, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()

    def __post_init__(self) -> None:
        total = math.fsum(suspect.probability for suspect in self.suspects)
        if abs(total - 1.0) > _SUM_TOLERANCE:
            raise ValueError(f"the suspects' probabilities sum to {total}, not to 1")
        missing = {"none", "other"} - {suspect.id for suspect in self.suspects}
        if missing:
            raise ValueError(f"the suspects leave out {', '.join(sorted(missing))}")

    def to_json(self) -> dict[str, Any]:
        """Plain dict with the keys of docs/usage.md; probabilities sum to 1 after rounding."""
        probabilities = rounded_to_one([suspect.probability for suspect in self.suspects])
        return {
            "suspects": [
                {
                    "id": suspect.id,
                    "name": suspect.name,
                    "probability": probability,
                    "because": [reason.to_json() for reason in suspect.because],
                }
                for suspect, probability in zip(self.suspects, probabilities, strict=True)
            ],
            "next_checks": [check.to_json() for check in self.next_checks],
            "next_step": self.next_step.to_json() if self.next_step else None,
            "findings": [finding.to_json() for finding in self.findings],
            "contradictions": [one.to_json() for one in self.contradictions],
            "crank": {
                name: (crank.to_json() if crank else None) for name, crank in self.crank.items()
            },
            "crank_reasons": dict(self.crank_reasons),
            "lines": {
                name: [line.to_json() for line in listen.lines]
                for name, listen in self.listens.items()
            },
            "warnings": list(self.warnings),
            "provenance": _provenance_json(self.provenance),
        }


@dataclass(frozen=True)
class DemoResult:
    """The demo case: what was found, where its files lie, and what was wrong in truth.

    `truth` is the id of the suspect that was simulated ("coolant-pump.bearing").
    """

    find: FindResult
    folder: Path
    files: tuple[Path, ...]
    truth: str

    def to_json(self) -> dict[str, Any]:
        """The JSON of `find`, with the folder, its files and the truth added."""
        return {
            **self.find.to_json(),
            "folder": str(self.folder),
            "files": [str(file) for file in self.files],
            "truth": self.truth,
        }
