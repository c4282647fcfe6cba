"""Findings in words: what each moves, the odds without it, and which contradict each other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.casework.next_step import Contradiction, FindingWeight
from beltside.casework.results import Because
from beltside.suspects.board import Board
from beltside.suspects.catalogue import CheckDone
from beltside.suspects.posterior import REST, SOUND, conflicts, weights_of_evidence, without_each

Float64 = npt.NDArray[np.float64]

_NAMED_WITHOUT: Final = 3
_MOST_CONTRADICTIONS: Final = 5


def finding_name(done: CheckDone) -> str:
    """Which check, on what: "Spin by hand on the coolant pump"."""
    return check_on(done.check.name, done.part)


def check_on(check: str, part: str | None) -> str:
    """A check's name with the part it is done on, when it is done on one.

    >>> check_on("Spin by hand", "ac-compressor"), check_on("Throttle blip", None)
    ('Spin by hand on the A/C compressor', 'Throttle blip')
    """
    if not part:
        return check
    words = part.replace("-", " ").replace("ac compressor", "A/C compressor")
    return f"{check} on the {words}"


def finding_says(done: CheckDone) -> str:
    """What it showed: "rough: feels rough, gritty or dry"."""
    return f"{done.outcome.word}: {done.outcome.says}"


def finding_reasons(
    board: Board, findings: Sequence[CheckDone], sound: Float64 | None
) -> list[list[Because]]:
    """For each suspect of the board, why the findings speak for or against it."""
    bits = weights_of_evidence(board, findings, sound)
    return [
        [
            Because(finding_name(done), finding_says(done), float(bits[number, index]))
            for number, done in enumerate(findings)
            if done.tells
        ]
        for index in range(len(board.suspects))
    ]


def finding_weights(
    board: Board,
    findings: Sequence[CheckDone],
    numbers: Sequence[int],
    sound: Float64 | None,
    probability: Float64,
) -> list[FindingWeight]:
    """Each finding with what it moves and the odds if it is taken back."""
    if not findings:
        return []
    top = int(np.argmax(probability))
    bits = weights_of_evidence(board, findings, sound)[:, top]
    without = np.exp(without_each(board, findings, sound))
    weights = []
    for row, (number, done) in enumerate(zip(numbers, findings, strict=True)):
        first = np.argsort(-without[row], kind="stable")[:_NAMED_WITHOUT].tolist()
        weights.append(
            FindingWeight(
                number,
                done.check.id,
                done.part or "",
                done.outcome.word,
                f"{finding_name(done)}: {done.outcome.says}",
                float(bits[row]) if done.tells else 0.0,
                tuple((board.suspects[index].id, float(without[row, index])) for index in first),
            )
        )
    return weights


def contradictions(
    board: Board, findings: Sequence[CheckDone], numbers: Sequence[int], sound: Float64 | None
) -> list[Contradiction]:
    """Evidence that speaks against other evidence, worst first."""

    def named(position: int) -> str:
        if position == SOUND:
            return "the sound"
        if position == REST:
            return "all the rest"
        done = findings[position]
        return f"finding {numbers[position]} ({finding_name(done)}, {done.outcome.word})"

    said = []
    for one in conflicts(board, findings, sound)[:_MOST_CONTRADICTIONS]:
        pair = [position for position in (one.first, one.second) if position != REST]
        text = f"{named(one.first)} and {named(one.second)} speak for different suspects"
        text = text[0].upper() + text[1:]
        rare = round(2.0**one.bits)
        said.append(
            Contradiction(
                tuple(0 if position == SOUND else numbers[position] for position in pair),
                f"{text}: together they are {rare} times rarer than chance "
                "would have it. Do the less certain one again, or take it back, before trusting "
                "the odds.",
                one.bits,
            )
        )
    return said


def distinct_words(findings: Sequence[CheckDone]) -> list[str]:
    """A note for each check that stands in the findings more than once."""
    counted: dict[tuple[str, str | None], int] = {}
    for one in findings:
        if one.tells:
            key = (finding_name(one), one.part)
            counted[key] = counted.get(key, 0) + 1
    return [
        f"{name} stands {times} times among the findings: the same check again counts for little."
        for (name, _), times in counted.items()
        if times > 1
    ]
