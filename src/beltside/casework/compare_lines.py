"""Explained lines of two takes, and how much quieter each became."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from beltside.casework.compare_results import LineChange, PartChange, Range
from beltside.casework.explain import explained_lines
from beltside.casework.families import Surprises, looked_for
from beltside.drive.sheet import DriveSheet
from beltside.sound.compare_change import Change, joined, line_change
from beltside.sound.compare_frames import TurnFrames
from beltside.sound.compare_gain import Gain
from beltside.sound.compare_power import envelope_power, window_power
from beltside.sound.families import row_strength
from beltside.sound.gate import Float64
from beltside.sound.hearing import Hearing

WIDEN: Final = 0.003
"""A belt creeps a little more or less in the second take: share of the order granted."""

BEAT_SCATTER_DB: Final = 1.0
"""Scatter of a beat between takes; own choice."""

BEAT_UNREST: Final = 0.1
"""Least relative uncertainty of a beat's power; own choice."""


@dataclass(frozen=True)
class HeardLine:
    """An explained line and the band its beat was found in (-1 for a line in the sound)."""

    part: str
    source: str
    order: float
    spectrum: str
    harmonic: int
    significance: float
    row: int


def heard_lines(hearing: Hearing, sheet: DriveSheet) -> dict[tuple[str, str, str, int], HeardLine]:
    """Explained lines of one take that are not the engine's own, by what they are."""
    looked = looked_for(hearing, sheet)
    if looked is None:
        return {}
    heard, found = looked
    rows: dict[tuple[str, str], int] = {}
    for one in found:
        if one.spectrum == "envelope":
            orders = np.array([member.order for member in one.family.members])
            rows[one.part, one.source] = _row(heard, one.family.row, orders)
    lines = {}
    for line in explained_lines(found, heard, sheet):
        if line.part == "engine":
            continue
        row = rows.get((line.part, line.source), 0) if line.spectrum == "envelope" else -1
        lines[line.part, line.source, line.spectrum, line.harmonic] = HeardLine(
            line.part,
            line.source,
            line.order,
            line.spectrum,
            line.harmonic,
            line.significance,
            row,
        )
    return lines


def _row(heard: Surprises, row: int, orders: Float64) -> int:
    """The band a family stands in, or the one that holds most of it when found in all together."""
    bands = heard.envelope.minus_log_p.shape[0] - 1
    return row if row < bands else int(np.argmax(row_strength(heard.envelope, orders)[:bands]))


def line_changes(
    hearings: tuple[Hearing, Hearing],
    frames: tuple[TurnFrames, TurnFrames],
    gain: Gain,
    sheet: DriveSheet,
) -> list[LineChange]:
    """Change of every line explained in either take, the surest first."""
    cycle = 0.5 if sheet.engine.strokes == 4 else 1.0
    before, after = (heard_lines(hearing, sheet) for hearing in hearings)
    lines: dict[tuple[str, str, str, int], HeardLine] = dict(after)
    for key, line in before.items():
        if key not in lines or lines[key].significance < line.significance:
            lines[key] = line
    changes = []
    for line in sorted(lines.values(), key=lambda one: -one.significance):
        change = (
            _in_sound(line, frames, gain, cycle)
            if line.spectrum == "sound"
            else _in_rhythm(line, hearings, gain, cycle)
        )
        if change is None or (change.low is None and change.high is None):
            continue
        band = hearings[0].bands[line.row] if line.row >= 0 else None
        changes.append(
            LineChange(
                line.part,
                line.source,
                line.order,
                line.spectrum,
                line.harmonic,
                line.significance,
                Range(change.value, change.low, change.high),
                change.high is None,
                None if band is None else (band.low_hz, band.high_hz),
            )
        )
    return changes


def _in_sound(
    line: HeardLine, frames: tuple[TurnFrames, TurnFrames], gain: Gain, cycle: float
) -> Change | None:
    step = max(frames[0].step, frames[1].step)
    away = abs(line.order - cycle * round(line.order / cycle))
    # The engine's own line beside it spreads the more the higher the order.
    half = min(2.0 * step + WIDEN * line.order, away - 2.0 * step - WIDEN * line.order)
    if half < step or line.order + half > min(one.order[-1] for one in frames):
        return None
    at, wide = np.array([line.order]), np.array([half])
    one, other = (window_power(take, at, wide) for take in frames)
    turn_hz = float(np.sqrt(frames[0].turn_hz * frames[1].turn_hz))
    return line_change(
        (float(one[0][0]), float(one[1][0])),
        (float(other[0][0]), float(other[1][0])),
        gain.at(line.order * turn_hz),
        gain.scatter_db,
    )


def _in_rhythm(
    line: HeardLine, hearings: tuple[Hearing, Hearing], gain: Gain, cycle: float
) -> Change | None:
    at = np.array([line.order])
    powers = []
    for hearing in hearings:
        if hearing.orders is None or line.order >= hearing.orders.envelope.order[-1]:
            return None
        power, sd = envelope_power(hearing.orders.envelope, line.row, at, cycle)
        unrest = BEAT_UNREST * max(float(power[0]), 0.0)
        powers.append((float(power[0]), float(np.hypot(sd[0], unrest))))
    level = [float(hearing.band_power[line.row]) for hearing in hearings]
    return line_change(
        powers[0],
        powers[1],
        gain.at(hearings[0].bands[line.row].centre_hz),
        BEAT_SCATTER_DB,
        halved=True,
        extra_db=10.0 * float(np.log10(max(level[0], 1e-30) / max(level[1], 1e-30))),
    )


def part_changes(lines: list[LineChange]) -> list[PartChange]:
    """Lines of one source together, the surest first."""
    groups: dict[tuple[str, str], list[LineChange]] = {}
    for line in lines:
        groups.setdefault((line.part, line.source), []).append(line)
    parts = []
    for (part, source), members in groups.items():
        ranges = [line.quieter_db for line in members]
        together = joined([Change(one.value or 0.0, one.low, one.high) for one in ranges])
        if together is not None:
            parts.append(
                PartChange(
                    part,
                    source,
                    len(members),
                    Range(together.value, together.low, together.high),
                )
            )
    return parts
