"""The lines of a take that a known shaft, bearing or the engine explains."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.base.units import power_to_db
from beltside.casework.families import BEARING_SOURCES, Found, Surprises, engine_lines
from beltside.casework.results import ExplainedLine
from beltside.drive.sheet import DriveSheet

Float64 = npt.NDArray[np.float64]

FALSE_ALARM_RATE: Final = 0.01
"""Chance that a take's list of belt-driven families holds a false one."""

MEMBER_RATE: Final = 0.01
"""Chance that noise passes for one harmonic of a family that was found."""

ENGINE_RATE: Final = 1e-4
"""The same for one of the engine's own lines."""

LEAST_BEARING_DEPTH: Final = 0.25
"""Sound bearings show their lines too: a healthy one on a test rig beat up to 21 % deep (own
measurement on open bearing data). Only a deeper beat is named."""

LEAST_EXCESS_DB: Final = 3.0
"""Statistics aside, a line must stand this far out to be worth a name."""

MOST_ENGINE_LINES: Final = 24


def explained_lines(
    found: list[Found], heard: Surprises, sheet: DriveSheet
) -> tuple[ExplainedLine, ...]:
    """Explained lines, the most significant first; engine lines among them.

    A family is named when noise would show one as clear in at most `FALSE_ALARM_RATE` of takes,
    all families looked for taken together (Bonferroni). Where two families claim the same line
    the more significant family keeps it.
    """
    wanted = -np.log10(FALSE_ALARM_RATE / max(len(found), 1))
    clear = sorted(
        (one for one in found if one.family.significance >= wanted and deep_enough(one)),
        key=lambda one: -one.family.significance,
    )
    lines: list[ExplainedLine] = []
    taken: dict[tuple[str, int], list[float]] = {}
    for one in clear:
        step = heard.sound.step if one.spectrum == "sound" else heard.envelope.step
        row = (one.spectrum, one.family.row)
        for member in one.family.members:
            if member.significance < -np.log10(MEMBER_RATE) or member.excess_db < LEAST_EXCESS_DB:
                continue
            others = taken.setdefault(row, [])
            if any(abs(member.order - other) < 1.5 * step for other in others):
                continue
            others.append(member.order)
            lines.append(
                ExplainedLine(
                    part=one.part,
                    source=one.source,
                    order=member.order,
                    level_db=member.level_db,
                    significance=min(member.significance, one.family.significance),
                    spectrum=one.spectrum,
                    excess_db=member.excess_db,
                    harmonic=member.harmonic,
                )
            )
    lines.sort(key=lambda line: (-line.significance, -line.excess_db))
    return (*lines, *_engine(heard, sheet))


def deep_enough(one: Found) -> bool:
    """Whether a bearing's family beats deep enough to be more than a sound bearing's own."""
    if one.source not in BEARING_SOURCES:
        return True
    return float(np.sqrt(2.0 * one.family.power)) >= LEAST_BEARING_DEPTH


def _engine(heard: Surprises, sheet: DriveSheet) -> list[ExplainedLine]:
    own = engine_lines(heard, sheet)
    significance = own.minus_log_p / np.log(10.0)
    clear = np.nonzero(
        (significance >= -np.log10(ENGINE_RATE)) & (power_to_db(own.excess) >= LEAST_EXCESS_DB)
    )[0]
    loudest = clear[np.argsort(-own.power[clear])][:MOST_ENGINE_LINES]
    return [
        ExplainedLine(
            part="engine",
            source="firing" if own.fires[index] else "cycle",
            order=float(own.order[index]),
            level_db=float(power_to_db(own.power[index])),
            significance=float(significance[index]),
            spectrum="sound",
            excess_db=float(power_to_db(own.excess[index])),
            harmonic=round(float(own.order[index]) / _base(own.order, own.fires, int(index))),
        )
        for index in loudest
    ]


def _base(order: Float64, fires: npt.NDArray[np.bool_], index: int) -> float:
    """Order of the first line of the same kind."""
    if fires[index]:
        return float(order[np.nonzero(fires)[0][0]])
    return float(order[0])
