"""The next step in words: which check, what must be done first, or stop and replace."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.casework.findings import check_on
from beltside.casework.next_step import NextStep
from beltside.casework.own import Tables
from beltside.casework.results import NextCheck
from beltside.suspects.board import Board
from beltside.suspects.catalogue import CheckDone
from beltside.suspects.costs import HAND_OVER, RELEASE
from beltside.suspects.next_check import Advice, Option, likely_now
from beltside.suspects.plan import (
    Situation,
    situation_after,
)

Float64 = npt.NDArray[np.float64]

NEXT_CHECKS: Final = 3
_OBVIOUS: Final = "engine-runs"
"""The hazard of a check with the engine running says so already."""


def next_checks(
    own: Tables,
    board: Board,
    probability: Float64,
    advice: Advice,
    findings: Sequence[CheckDone],
    start: Situation,
) -> list[NextCheck]:
    """The three checks that save most; none when no check is worth its minutes."""
    done = [one.check for one in findings if one.outcome.word != "not-done"]
    now = situation_after(own.catalogue, start, done)
    likely = likely_now(board, findings)
    chosen = []
    for option in advice.worth_doing[:NEXT_CHECKS]:
        check, part = board.places[option.place]
        chosen.append(
            NextCheck(
                check=check.id,
                part=part or "",
                minutes=option.minutes,
                worth=option.saves,
                why=_why(board, option, probability, likely.get(option.place)),
                how=check.how,
                first=tuple(_first(own, board, option, now)),
                hazard=check.hazard,
                cautions=check.cautions,
            )
        )
    return chosen


def _first(own: Tables, board: Board, option: Option, now: Situation) -> list[str]:
    """What has to be opened, closed or true before a check."""
    check = board.places[option.place][0]
    says = {one.id: one.says for one in own.catalogue.accesses}
    opens = [says[word] for word in check.opens if word not in now.opened]
    closes = [f"no longer: {says[word]}" for word in check.closes if word in now.opened]
    holds = {one.id: one.says for one in own.catalogue.conditions}
    return [*opens, *closes, *(holds[word] for word in check.needs if word != _OBVIOUS)]


def _why(board: Board, option: Option, probability: Float64, likely: Float64 | None) -> str:
    """What a check would tell apart: the outcomes that move the first suspect most."""
    check = board.places[option.place][0]
    top = int(np.argmax(probability))
    rows = board.likely[option.place, : len(check.outcomes)] if likely is None else likely
    after = rows * probability
    after = after[:, top] / after.sum(axis=1)
    high, low = int(after.argmax()), int(after.argmin())
    return (
        f"{board.suspects[top].name} now {probability[top]:.0%}: would be {after[high]:.0%} after "
        f'"{check.outcomes[high].word}" and {after[low]:.0%} after "{check.outcomes[low].word}"'
    )


def next_step(own: Tables, board: Board, probability: Float64, advice: Advice) -> NextStep:
    """The best next step in a sentence or two."""
    currency = own.costs.currency
    repair, share = advice.repair, advice.repair_probability
    if not advice.stop:
        best = advice.options[0]
        check, part = board.places[best.place]
        return NextStep(
            "check",
            check.id,
            part or "",
            f"Check on: {check_on(check.name, part)} is the next, about {best.minutes:.0f} min. "
            f"It is expected to save {best.saves:.0f} {currency} against acting now",
            share,
            advice.money_without_check,
            currency,
        )
    do = {RELEASE: "release", HAND_OVER: "hand over"}.get(repair.id, "replace")
    ended = ends_the_noise(share)
    return NextStep(
        do,
        repair.id,
        repair.part,
        f"Stop checking: {repair.name}. No check left is worth its minutes"
        if repair.id == HAND_OVER
        else f"Stop checking: {repair.name}. {ended}. No check left is worth its minutes",
        share,
        advice.money_without_check,
        currency,
    )


def ends_the_noise(probability: float) -> str:
    """How likely a repair ends it; rounding must not make a certainty of that.

    >>> ends_the_noise(0.954), ends_the_noise(0.996)
    ('95% that this ends the noise', 'Over 99% that this ends the noise')
    """
    if probability > 0.99:
        return "Over 99% that this ends the noise"
    return f"{probability:.0%} that this ends the noise"
