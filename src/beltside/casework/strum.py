"""A plucked span: its note from recordings, the belt's tension from the note, and a verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError, RecordingError, require_range
from beltside.base.provenance import Provenance
from beltside.casework.drive_results import provenance_json, rounded
from beltside.casework.formats.drive_sheet import load_drive_sheet
from beltside.casework.takes import Mono
from beltside.drive.path import belt_path, has_positions
from beltside.drive.sheet import DriveSheet
from beltside.drive.tension import (
    SPAN_ERROR_MM,
    SPAN_RANGE_MM,
    BeltBody,
    SpanTension,
    Tension,
    spans_it_may_be,
    strum_tension,
    verdict,
)
from beltside.media import open_recording
from beltside.sound.strum import LONGEST_S, Pluck, Strum, find_strum

METHOD: Final = "beltside.strum"
VERSION: Final = 1

Float32 = npt.NDArray[np.float32]


@dataclass(frozen=True)
class StrumSpan:
    """What the note would mean on one span; `verdict` is None without a target."""

    from_part: str
    to_part: str
    length_mm: float
    tension: Tension
    possible: bool
    named: bool
    verdict: str | None

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "from": self.from_part,
            "to": self.to_part,
            "length_mm": rounded(self.length_mm, 1),
            "tension_n": _tension_json(self.tension),
            "possible": self.possible,
            "named": self.named,
            "verdict": self.verdict,
        }


@dataclass(frozen=True)
class StrumResult:
    """What the plucks of one span say.

    Attributes
    ----------
    files
        The takes.
    strum
        The note with its range, or why it can't be told.
    spans
        The spans that may have given it; one when it was named.
    tension
        Tension of the one span it must have been, None when several are possible or none known.
    verdict
        Against the target: "within target", "too slack", "too tight", "can't tell"; None without
        a target or a tension.
    target_n
        Target range [N].
    """

    files: tuple[str, ...]
    strum: Strum
    spans: tuple[StrumSpan, ...]
    tension: Tension | None
    verdict: str | None
    target_n: tuple[float, float] | None
    warnings: tuple[str, ...]
    provenance: Provenance

    def to_json(self) -> dict[str, Any]:
        """Plain dict with the keys of docs/usage/drive.md."""
        return {
            "files": list(self.files),
            "frequency_hz": None
            if self.strum.frequency_hz is None
            else {
                "value": rounded(self.strum.frequency_hz),
                "low": rounded(self.strum.low_hz),
                "high": rounded(self.strum.high_hz),
            },
            "reason": self.strum.reason,
            "plucks": [_pluck_json(one) for one in self.strum.plucks],
            "other_notes": [_pluck_json(one) for one in self.strum.others],
            "hum_hz": rounded(self.strum.hum_hz),
            "tension_n": None if self.tension is None else _tension_json(self.tension),
            "spans": [span.to_json() for span in self.spans],
            "target_n": None if self.target_n is None else list(self.target_n),
            "verdict": self.verdict,
            "warnings": list(self.warnings),
            "provenance": provenance_json(self.provenance),
        }


def strum(
    takes: Sequence[Path],
    *,
    sheet: Path | None = None,
    span: tuple[str, str] | None = None,
    span_mm: float | None = None,
    ribs: int | None = None,
    mass_g_per_m: float | None = None,
    target_n: tuple[float, float] | None = None,
) -> StrumResult:
    """The note of a plucked span and what it says of the belt's tension.

    Parameters
    ----------
    takes
        Recordings of plucks of one span, engine off; averaged.
    sheet
        Drive sheet: gives the spans' lengths, ribs and belt mass.
    span
        The two parts whose span was plucked, in any order.
    span_mm
        Its free length by rule, 30 to 1500 [mm]; stands above the sheet's.
    ribs, mass_g_per_m
        Of the belt, when there is no sheet or it does not say; mass in g/m, 10 to 1000.
    target_n
        Lowest and highest tension the technician wants [N].

    Raises
    ------
    InputError, RecordingError, LimitError
        For a figure, a sheet or a take that can't be used; each says why and what would work.
    """
    drive_sheet = None if sheet is None else load_drive_sheet(sheet)
    body = _body(drive_sheet, ribs, mass_g_per_m)
    spans, named = _spans(drive_sheet, span, span_mm)
    if target_n is not None and not 0.0 < target_n[0] <= target_n[1] <= 5000.0:
        raise InputError(
            f"a target of {target_n[0]:g} to {target_n[1]:g} N",
            allowed="lowest and highest tension, above 0, to 5000 N",
        )
    heard = _heard(takes)
    warnings = _warnings(heard)
    if heard.frequency_hz is None or body is None or not spans:
        if heard.frequency_hz is not None:
            warnings.append(_MISSING_MASS if body is None else _MISSING_SPAN)
        return _result(takes, heard, (), None, None, target_n, warnings)
    assert heard.low_hz is not None
    assert heard.high_hz is not None
    span_range = (heard.low_hz, heard.high_hz)
    known_ribs = ribs or (drive_sheet.belt.ribs if drive_sheet is not None else None)
    if named:
        one = spans[0]
        found: tuple[SpanTension, ...] = (
            SpanTension(
                *one,
                strum_tension(
                    heard.frequency_hz,
                    one[2],
                    body,
                    frequency_range_hz=span_range,
                    span_error_mm=min(SPAN_ERROR_MM, 0.2 * one[2]),
                ),
                True,
            ),
        )
    else:
        found = spans_it_may_be(
            heard.frequency_hz, spans, body, ribs=known_ribs, frequency_range_hz=span_range
        )
    shown = tuple(
        StrumSpan(
            one.from_part,
            one.to_part,
            one.span_mm,
            one.tension,
            one.possible,
            named,
            None if target_n is None else verdict(one.tension, target_n),
        )
        for one in found
    )
    possible = [one for one in shown if one.possible]
    single = possible[0] if len(possible) == 1 else None
    said = None
    if target_n is not None and possible:
        verdicts = {one.verdict for one in possible}
        said = verdicts.pop() if len(verdicts) == 1 else "can't tell"
    if single is None and not named:
        warnings.append(
            f"{len(possible)} spans may have given this note: name the one plucked."
            if possible
            else "No spans may have given this note."
        )
    if body.mass_error > 0.1:
        warnings.append(
            "The belt's mass is taken from its ribs and may be off by a quarter, and the tension "
            "with it: weigh the belt and give its mass per metre."
        )
    return _result(
        takes, heard, shown, None if single is None else single.tension, said, target_n, warnings
    )


_MISSING_MASS: Final = (
    "No tension: the belt's ribs or mass are not known. Give --ribs, --mass-g-per-m or a sheet."
)
_MISSING_SPAN: Final = (
    "No tension: the free length of the span is not known. Give --span-mm, or a drive sheet with "
    "positions."
)


def _result(
    takes: Sequence[Path],
    heard: Strum,
    spans: tuple[StrumSpan, ...],
    tension: Tension | None,
    said: str | None,
    target_n: tuple[float, float] | None,
    warnings: Sequence[str],
) -> StrumResult:
    return StrumResult(
        tuple(take.name for take in takes),
        heard,
        spans,
        tension,
        said,
        target_n,
        tuple(warnings),
        Provenance(
            method=METHOD,
            version=VERSION,
            inputs={"takes": len(takes), "plucks": len(heard.plucks)},
            valid_range="standing belt, engine off, fundamental 15 to 600 Hz, span 30 to 1500 mm",
            source="stiff string, docs/methods/belt-strum.md",
        ),
    )


def _tension_json(tension: Tension) -> dict[str, Any]:
    return {
        "value": rounded(tension.value_n, 1),
        "low": rounded(tension.low_n, 1),
        "high": rounded(tension.high_n, 1),
        "string": rounded(tension.string_n, 1),
        "stiffness": rounded(tension.stiffness_n, 1),
    }


def _pluck_json(pluck: Pluck) -> dict[str, Any]:
    return {
        "start_s": rounded(pluck.start_s),
        "frequency_hz": rounded(pluck.frequency_hz),
        "low_hz": rounded(pluck.low_hz),
        "high_hz": rounded(pluck.high_hz),
    }


def _body(
    sheet: DriveSheet | None, ribs: int | None, mass_g_per_m: float | None
) -> BeltBody | None:
    belt = None if sheet is None else sheet.belt
    ribs = ribs if ribs is not None else (belt.ribs if belt else None)
    mass = mass_g_per_m if mass_g_per_m is not None else (belt.mass_g_per_m if belt else None)
    if ribs is not None:
        require_range("ribs", ribs, 2, 14, "ribs")
    if mass is not None:
        require_range("belt mass", mass, 10.0, 1000.0, "g/m")
    if ribs is None and mass is None:
        return None
    if ribs is None:
        assert mass is not None
        return BeltBody.of_ribs(min(max(round(mass / 20.0), 2), 14), mass / 1000.0)
    return BeltBody.of_ribs(ribs, None if mass is None else mass / 1000.0)


def _spans(
    sheet: DriveSheet | None, span: tuple[str, str] | None, span_mm: float | None
) -> tuple[list[tuple[str, str, float]], bool]:
    """Spans with their lengths, and whether there is one because it was named."""
    if span_mm is not None:
        require_range("free length of the span", span_mm, *SPAN_RANGE_MM, "mm")
    if span_mm is not None and (span is None or sheet is None or not has_positions(sheet)):
        return [(*(span or ("", "")), span_mm)], True
    if sheet is None or not has_positions(sheet):
        if span is not None:
            raise InputError(
                f"the span from {span[0]} to {span[1]} without its length",
                allowed="a drive sheet with positions, or the free length by rule",
                instead="--span-mm 210",
            )
        return [], False
    spans = [(one.from_part, one.to_part, one.length_mm) for one in belt_path(sheet).spans]
    if span is None:
        return spans, False
    for one in spans:
        if {one[0], one[1]} == set(span):
            return [(one[0], one[1], span_mm or one[2])], True
    raise InputError(
        f"no span runs from {span[0]} to {span[1]}",
        allowed="; ".join(f"{one[0]} to {one[1]}" for one in spans),
    )


def _heard(takes: Sequence[Path]) -> Strum:
    """The note of all takes together."""
    if not takes:
        raise InputError("no recording", allowed="one take of plucks or more")
    each = []
    for take in takes:
        mono = Mono()
        with open_recording(take) as recording:
            pieces: list[Float32] = []
            seconds = 0.0
            for block in recording.blocks(10.0):
                seconds += block.shape[1] / recording.sample_rate_hz
                if seconds > LONGEST_S:
                    raise RecordingError(
                        f"{take.name} is longer than {LONGEST_S:g} s",
                        allowed="a short take of plucks",
                        instead="recording five plucks, a second apart",
                    )
                pieces.append(mono(block))
            recording.require_usable()
            each.append(find_strum(np.concatenate(pieces), recording.sample_rate_hz))
    return each[0] if len(each) == 1 else joined(each)


def joined(each: Sequence[Strum]) -> Strum:
    """Several takes of one span as one; the takes whose notes agree with most plucks count."""
    told = [one for one in each if one.frequency_hz is not None]
    if not told:
        return each[0]
    reference = max(
        told,
        key=lambda one: sum(
            len(other.plucks)
            for other in told
            if abs((other.frequency_hz or 0.0) / (one.frequency_hz or 1.0) - 1.0) < 0.03
        ),
    )
    near = reference.frequency_hz or 1.0
    same = [one for one in told if abs((one.frequency_hz or 0.0) / near - 1.0) < 0.03]
    place = np.log([one.frequency_hz or 1.0 for one in same])
    half = np.array([0.5 * math.log((one.high_hz or 1.0) / (one.low_hz or 1.0)) for one in same])
    weight = 1.0 / half**2
    mean = float(np.sum(weight * place) / np.sum(weight))
    spread = 0.0
    if len(same) > 1:
        spread = 1.9 * math.sqrt(
            float(np.sum(weight * (place - mean) ** 2) / np.sum(weight)) / (len(same) - 1)
        )
    range_half = math.hypot(float(half.min()) / math.sqrt(len(same)), spread)
    return Strum(
        math.exp(mean),
        math.exp(mean - range_half),
        math.exp(mean + range_half),
        tuple(pluck for one in same for pluck in one.plucks),
        tuple(
            pluck
            for one in told
            for pluck in (one.others if one in same else (*one.plucks, *one.others))
        ),
        None,
        reference.hum_hz,
    )


def _warnings(heard: Strum) -> list[str]:
    said: list[str] = []
    if heard.frequency_hz is None:
        return said
    if len(heard.plucks) == 1:
        said.append("Only one pluck was found: pluck three to five times for a sure note.")
    if heard.others:
        notes = ", ".join(f"{one.frequency_hz:.0f} Hz" for one in heard.others)
        said.append(f"Plucks of another note were left out ({notes}): keep to one span in a take.")
    if (
        heard.hum_hz is not None
        and abs(heard.frequency_hz / heard.hum_hz - round(heard.frequency_hz / heard.hum_hz))
        * heard.hum_hz
        < 0.01 * heard.frequency_hz
    ):
        said.append(
            "The note lies on mains hum: record once more away from lamps, chargers and motors to "
            "be sure."
        )
    return said
