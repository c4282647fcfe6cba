"""What the takes of a case say together, small enough to be kept: findings then cost nothing more.

Listening takes seconds, weighing a finding milliseconds. `SoundSaid` is all that the odds need of
the sound, as plain values.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from beltside.base.provenance import Provenance
from beltside.casework.listen import listen_result
from beltside.casework.measures import case_measures
from beltside.casework.reasons import sound_reasons
from beltside.casework.results import Because, Crank, ExplainedLine, ListenResult
from beltside.casework.shipped import sound_model
from beltside.casework.take_measures import TakeMeasures
from beltside.casework.takes import HeardTake
from beltside.drive.sheet import DriveSheet
from beltside.suspects.board import Board, log_prior
from beltside.suspects.posterior import sound_evidence
from beltside.suspects.sound_model import sound_odds

Float64 = npt.NDArray[np.float64]

_LEAST_PROBABILITY: Final = 1e-12


@dataclass(frozen=True)
class SoundSaid:
    """What the takes say.

    Attributes
    ----------
    told
        Log-likelihood of each single suspect by its id, up to a constant; empty without takes.
    reasons
        Why, for each of them.
    listens
        What was heard in each take, by its name.
    belt_off
        Whether a take was made with the belt off.
    """

    told: Mapping[str, float] = field(default_factory=dict)
    reasons: Mapping[str, tuple[Because, ...]] = field(default_factory=dict)
    listens: Mapping[str, ListenResult] = field(default_factory=dict)
    belt_off: bool = False

    def evidence(self, board: Board) -> Float64 | None:
        """Log-likelihood of each suspect of the board, pairs too; None without takes."""
        if not self.told:
            return None
        single = [one.id for one in board.suspects if not one.members]
        return sound_evidence(board, np.array([self.told[name] for name in single]))

    def warnings(self) -> list[str]:
        """What to know of the takes before trusting them."""
        listens = self.listens.values()
        said = []
        if listens and all(one.crank is None for one in listens):
            said.append(
                "The crank speed could not be told in any take, so nothing could be tied to a "
                "shaft: the odds rest on loudness alone. Read the speed off the dash and add it "
                "to the take."
            )
        if listens and not self.belt_off:
            said.append(
                "No take with the belt off: it would tell a belt-driven part from the engine. With "
                "the belt off nothing cools; run it for minutes, not more."
            )
        return said

    def file_warnings(self) -> list[str]:
        """What reading each take's file showed, and what is doubtful about its crank speed."""
        return [
            f"{name}: {text}" for name, listen in self.listens.items() for text in listen.warnings
        ]

    def to_json(self) -> dict[str, Any]:
        """Plain values, without the pictures' arrays; `said_from_json` reads them back."""
        return {
            "told": dict(self.told),
            "reasons": {
                name: [reason.to_json() for reason in reasons]
                for name, reasons in self.reasons.items()
            },
            "listens": {name: listen.to_json() for name, listen in self.listens.items()},
            "belt_off": self.belt_off,
        }


def sound_said(
    heard: Sequence[HeardTake],
    measured: Sequence[TakeMeasures],
    sheet: DriveSheet,
    board: Board,
    warnings: Mapping[str, tuple[str, ...]],
) -> SoundSaid:
    """Weigh the takes of a case.

    Parameters
    ----------
    heard, measured
        The takes and their measures.
    board
        The car's suspects.
    warnings
        What reading each take's file showed, by its name.
    """
    if not heard:
        return SoundSaid()
    joined = case_measures(heard, measured, sheet)
    single = [one for one in board.suspects if not one.members]
    prior = log_prior(single)
    sound = sound_odds(sound_model(), [one.id for one in single], prior, joined.case, joined.parts)
    told = np.log(np.maximum(sound.probability, _LEAST_PROBABILITY)) - prior
    return SoundSaid(
        {one.id: float(value) for one, value in zip(single, told, strict=True)},
        {
            one.id: tuple(
                sound_reasons(one, bits, joined.case, joined.parts.get(one.part), heard, measured)
            )
            for one, bits in zip(single, sound.parts, strict=True)
        },
        {
            one.conditions.name: listen_result(
                one, each, sheet, warnings.get(one.conditions.name, ())
            )
            for one, each in zip(heard, measured, strict=True)
        },
        any(one.conditions.belt == "off" for one in heard),
    )


def said_from_json(plain: Mapping[str, Any]) -> SoundSaid:
    """What `SoundSaid.to_json` wrote."""
    return SoundSaid(
        {str(name): float(value) for name, value in plain["told"].items()},
        {
            str(name): tuple(Because(one["from"], one["says"], one["bits"]) for one in reasons)
            for name, reasons in plain["reasons"].items()
        },
        {str(name): listen_from_json(one) for name, one in plain["listens"].items()},
        bool(plain["belt_off"]),
    )


def listen_from_json(plain: Mapping[str, Any]) -> ListenResult:
    """What `ListenResult.to_json` wrote; without pictures."""
    crank, source = plain["crank"], plain["provenance"]
    return ListenResult(
        file=plain["file"],
        crank=Crank(**{**crank, "track": tuple(tuple(point) for point in crank["track"])})
        if crank
        else None,
        crank_reason=plain["crank_reason"],
        lines=tuple(ExplainedLine(**line) for line in plain["lines"]),
        warnings=tuple(plain["warnings"]),
        provenance=Provenance(**{**source, "warnings": tuple(source["warnings"])})
        if source
        else None,
        duration_s=plain["duration_s"],
    )
