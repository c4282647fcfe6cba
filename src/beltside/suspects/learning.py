"""Priors and likelihoods that learn from closed jobs, by Dirichlet counts.

The shipped values count as so many jobs already seen (`PRIOR_JOBS`, `ROW_JOBS`); each closed job
adds one to what it showed. Nothing here changes the catalogue that was given: a new one is made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from beltside.base.errors import InputError, nearest
from beltside.base.words import part_kind
from beltside.suspects.board import Board, board_for
from beltside.suspects.catalogue import (
    BELT_DRIVEN,
    OTHERWISE,
    Catalogue,
    Check,
    CheckDone,
    Suspect,
    check_done,
)
from beltside.suspects.catalogue_table import LEAST_LIKELY
from beltside.suspects.posterior import posterior

PRIOR_JOBS: Final = 100.0
"""How many jobs the shipped priors are worth, all suspects together."""

ROW_JOBS: Final = 20.0
"""How many findings each shipped row of likelihoods is worth,"""

OTHERS_ROW_JOBS: Final = 100.0
"""and a row that stands for all other suspects: few jobs must not speak for everyone."""


@dataclass(frozen=True)
class ClosedJob:
    """What a closed job tells, and nothing of whose car it was.

    Attributes
    ----------
    id
        Tells this job from others; says nothing about it.
    parts
        Pulleys of the drive ("crank", "idler-2").
    replaced
        The suspect that was put right, "part.fault" or two with "+"; "none" when nothing was.
    cured
        Whether the noise was gone after that.
    shown
        (check, part or "", outcome) of each finding.
    """

    id: str
    parts: tuple[str, ...]
    replaced: str
    cured: bool
    shown: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True)
class Counts:
    """What closed jobs add up to.

    Attributes
    ----------
    jobs, cured
        How many jobs, and how many of them were cured by what was replaced.
    seen
        By suspect without numbers: how often it was the culprit. A job that was not cured is
        shared out over what is left.
    expected
        By suspect: how often the catalogue expected it on those drives.
    rows
        By (check, row of its likelihoods): how often each outcome was seen. What a suspect shows
        on its own part is counted for itself, also where the catalogue has no row of its own.
    """

    jobs: int
    cured: int
    seen: Mapping[str, float]
    expected: Mapping[str, float]
    rows: Mapping[tuple[str, str], Mapping[str, float]]


def closed_job(
    catalogue: Catalogue,
    job_id: str,
    parts: Sequence[str],
    replaced: str,
    cured: bool,
    findings: Sequence[CheckDone],
) -> ClosedJob:
    """A closed job in the catalogue's words.

    Raises
    ------
    InputError
        When `replaced` is no suspect of this car; names the nearest.
    """
    suspects = {suspect.id: suspect for suspect in board_for(catalogue, parts).suspects}
    if replaced not in suspects:
        close = nearest(replaced, suspects)
        raise InputError(
            f'"{replaced}" is not a suspect of this car',
            allowed=", ".join(suspects),
            instead=f'"{close}"' if close else "",
        )
    return ClosedJob(
        job_id,
        tuple(parts),
        replaced,
        cured,
        tuple((one.check.id, one.part or "", one.outcome.word) for one in findings if one.tells),
    )


def counts(catalogue: Catalogue, jobs: Sequence[ClosedJob]) -> Counts:
    """What the jobs add up to under this catalogue.

    A finding or suspect that the catalogue no longer knows is left out; so is a job whose culprit
    it does not know.
    """
    boards: dict[tuple[str, ...], Board] = {}
    seen: dict[str, float] = {}
    expected: dict[str, float] = {}
    rows: dict[tuple[str, str], dict[str, float]] = {}
    used = cured = 0
    for job in jobs:
        if job.parts not in boards:
            boards[job.parts] = board_for(catalogue, job.parts)
        board = boards[job.parts]
        culprit = next((one for one in board.suspects if one.id == job.replaced), None)
        if culprit is None:
            continue
        used += 1
        prior = np.exp(board.log_prior)
        for suspect, share in zip(board.suspects, prior.tolist(), strict=True):
            expected[suspect.kind] = expected.get(suspect.kind, 0.0) + share
        findings = _findings(catalogue, job)
        if not job.cured:
            for suspect, share in _what_is_left(board, findings, culprit):
                seen[suspect.kind] = seen.get(suspect.kind, 0.0) + share
            continue
        cured += 1
        seen[culprit.kind] = seen.get(culprit.kind, 0.0) + 1.0
        for one in {(done.check.id, done.part): done for done in findings}.values():
            key = _row_of(one.check, culprit, one.part)
            if key is not None:
                row = rows.setdefault((one.check.id, key), {})
                row[one.outcome.word] = row.get(one.outcome.word, 0.0) + 1.0
    return Counts(used, cured, seen, expected, rows)


def _row_of(check: Check, culprit: Suspect, part: str | None) -> str | None:
    """The row that a finding teaches; none for pairs, whose rows are made of their members'."""
    key = check.row_key(culprit, part)
    its_own = culprit.fault and (part is None or part == culprit.part)
    return culprit.kind if key in (OTHERWISE, BELT_DRIVEN) and its_own else key


def _findings(catalogue: Catalogue, job: ClosedJob) -> list[CheckDone]:
    found = []
    for check, part, outcome in job.shown:
        try:
            done = check_done(catalogue, job.parts, check, part or None, outcome)
        except InputError:
            continue
        if done.tells:
            found.append(done)
    return found


def _what_is_left(
    board: Board, findings: Sequence[CheckDone], culprit: Suspect
) -> list[tuple[Suspect, float]]:
    """Odds of the others once this one is out.

    Counted as fractions of a job (Spiegelhalter & Lauritzen 1990).
    """
    odds = posterior(board, findings)
    odds[[suspect.id == culprit.id for suspect in board.suspects]] = 0.0
    total = float(odds.sum())
    if total <= 0.0:
        return []
    return list(zip(board.suspects, (odds / total).tolist(), strict=True))


def learned(catalogue: Catalogue, jobs: Sequence[ClosedJob]) -> Catalogue:
    """The catalogue as these jobs leave it.

    A row of likelihoods becomes the mean of a Dirichlet distribution: (worth x shipped + seen) over
    the sum, worth being ROW_JOBS or, for a row of all other suspects, OTHERS_ROW_JOBS. A prior
    becomes shipped x (a + seen) / (a + expected) with a = PRIOR_JOBS x its share: the Dirichlet
    mean when every drive has every part (Gelman et al. 2013, ch. 3), and fair to parts that only
    some drives have (as in Clayton & Kaldor 1987).
    """
    if not jobs:
        return catalogue
    total = counts(catalogue, jobs)
    everyone = (*catalogue.suspects, *catalogue.pairs)
    single = {suspect.id: suspect for suspect in catalogue.suspects}
    weights = sum(suspect.weight for suspect in everyone)

    def weighed(suspect: Suspect) -> Suspect:
        worth = PRIOR_JOBS * suspect.weight / weights
        factor = (worth + total.seen.get(suspect.kind, 0.0)) / (
            worth + total.expected.get(suspect.kind, 0.0)
        )
        return replace(suspect, weight=suspect.weight * factor)

    return replace(
        catalogue,
        suspects=tuple(weighed(suspect) for suspect in catalogue.suspects),
        pairs=tuple(weighed(pair) for pair in catalogue.pairs),
        checks=tuple(_check_learned(check, total, single) for check in catalogue.checks),
    )


def _check_learned(check: Check, total: Counts, suspects: Mapping[str, Suspect]) -> Check:
    likely = dict(check.likely)
    for (word, key), row in total.rows.items():
        if word != check.id:
            continue
        worth = OTHERS_ROW_JOBS if key in (OTHERWISE, BELT_DRIVEN) else ROW_JOBS
        if key in check.likely:
            likely[key] = row_learned(check.likely[key], row, worth)
        elif key in suspects:
            suspect = suspects[key]
            shipped = check.likelihoods(suspect, suspect.part if check.parts else None)
            likely[key] = row_learned(shipped, row, worth)
    return replace(check, likely=likely)


def row_learned(
    shipped: Mapping[str, float], seen: Mapping[str, float], worth: float = ROW_JOBS
) -> dict[str, float]:
    """Mean of the Dirichlet distribution: shipped probabilities as `worth` findings, and seen.

    >>> row_learned({"smooth": 0.2, "rough": 0.8}, {"smooth": 20.0})
    {'smooth': 0.6, 'rough': 0.4}
    """
    many = worth + sum(seen.get(word, 0.0) for word in shipped)
    row = {
        word: max((worth * share + seen.get(word, 0.0)) / many, LEAST_LIKELY)
        for word, share in shipped.items()
    }
    whole = sum(row.values())
    return {word: share / whole for word, share in row.items()}


def merged_jobs(mine: Sequence[ClosedJob], theirs: Sequence[ClosedJob]) -> tuple[ClosedJob, ...]:
    """Both shops' jobs, each once; of two with the same id the second counts."""
    return tuple({job.id: job for job in (*mine, *theirs)}.values())


def parts_in_order(parts: Sequence[str]) -> tuple[str, ...]:
    """Parts by kind and number, so that the order on the engine is not told on.

    >>> parts_in_order(["idler-2", "crank", "idler"])
    ('crank', 'idler', 'idler-2')
    """
    return tuple(sorted(parts, key=lambda part: (part_kind(part), part)))
