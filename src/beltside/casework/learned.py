"""What closed jobs taught: add one, show, export, merge, reset."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beltside.base.errors import InputError
from beltside.base.words import count_of
from beltside.casework.find import findings_of
from beltside.casework.formats.case import load_case
from beltside.casework.formats.learned_file import (
    Learned,
    new_learned,
    read_learned,
    write_learned,
)
from beltside.casework.own import learned_path, tables
from beltside.suspects.learning import (
    PRIOR_JOBS,
    ROW_JOBS,
    closed_job,
    counts,
    learned,
    parts_in_order,
)


@dataclass(frozen=True)
class Moved:
    """A value that closed jobs moved: what it is, shipped, learned, and from how much."""

    what: str
    shipped: float
    learned: float
    seen: float

    def to_json(self) -> dict[str, Any]:
        """Plain dict; probabilities to 0.0001."""
        return {
            "what": self.what,
            "shipped": round(self.shipped, 4),
            "learned": round(self.learned, 4),
            "seen": round(self.seen, 2),
        }


@dataclass(frozen=True)
class LearnedResult:
    """What has been learned so far.

    Attributes
    ----------
    path
        Where it is kept.
    jobs, cured
        Closed jobs, and those the repair cured.
    priors, likelihoods
        What moved; priors as shares among all suspects of a drive with every part.
    prior_jobs, row_jobs
        What the shipped values are worth, in jobs and in findings.
    notes
        What else to know.
    """

    path: Path
    jobs: int
    cured: int
    priors: tuple[Moved, ...]
    likelihoods: tuple[Moved, ...]
    prior_jobs: float
    row_jobs: float
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "file": str(self.path),
            "jobs": self.jobs,
            "cured": self.cured,
            "shipped_priors_worth_jobs": self.prior_jobs,
            "shipped_row_worth_findings": self.row_jobs,
            "priors": [one.to_json() for one in self.priors],
            "likelihoods": [one.to_json() for one in self.likelihoods],
            "notes": list(self.notes),
        }


def _kept(folder: Path | None = None) -> Learned:
    path = learned_path(folder)
    return read_learned(path) if path.is_file() else new_learned()


def show(*, notes: tuple[str, ...] = (), folder: Path | None = None) -> LearnedResult:
    """What has been learned, against the shipped values; in the own folder without `folder`.

    Raises
    ------
    InputError
        When the file is there and can't be read.
    """
    kept = _kept(folder)
    own = tables(with_learned=False, folder=folder)
    total = counts(own.catalogue, kept.jobs)
    after = learned(own.catalogue, kept.jobs)
    everyone = (*own.catalogue.suspects, *own.catalogue.pairs)
    single = {suspect.id: suspect for suspect in own.catalogue.suspects}
    now = {suspect.id: suspect.weight for suspect in (*after.suspects, *after.pairs)}
    before_sum = sum(suspect.weight for suspect in everyone)
    now_sum = sum(now.values())
    priors = [
        Moved(
            suspect.id,
            suspect.weight / before_sum,
            now[suspect.id] / now_sum,
            total.seen.get(suspect.id, 0.0),
        )
        for suspect in everyone
        if kept.jobs
    ]
    rows = []
    for (word, key), seen in sorted(total.rows.items()):
        check, taught = own.catalogue.check(word), after.check(word).likely
        shipped = check.likely.get(key)
        if shipped is None and key in single:
            part = single[key].part if check.parts else None
            shipped = check.likelihoods(single[key], part)
        if shipped is not None and key in taught:
            rows += [
                Moved(
                    f"{word}, {outcome} under {key}",
                    shipped[outcome],
                    taught[key][outcome],
                    seen.get(outcome, 0.0),
                )
                for outcome in shipped
            ]
    return LearnedResult(
        learned_path(folder),
        total.jobs,
        total.cured,
        tuple(sorted(priors, key=lambda one: -abs(one.learned - one.shipped))),
        tuple(sorted(rows, key=lambda one: -abs(one.learned - one.shipped))),
        PRIOR_JOBS,
        ROW_JOBS,
        notes,
    )


def add(case: Path, replaced: str, cured: bool) -> LearnedResult:
    """Close a job: what was put right, and whether the noise was gone after that.

    The same case again takes the place of what it said before.

    Raises
    ------
    InputError, LimitError
        For a case or a suspect that is not allowed; nothing is kept then.
    """
    read = load_case(case)
    own = tables(read.costs, with_learned=False)
    findings = findings_of(read, own)
    kept = _kept()
    parts = parts_in_order([pulley.part for pulley in read.sheet.pulleys])
    # Tells this case from others of this shop; the path cannot be read back out of it.
    mark = hashlib.sha256(f"{kept.shop}|{read.path.resolve()}".encode()).hexdigest()[:20]
    job = closed_job(own.catalogue, mark, parts, replaced, cured, findings)
    known = any(one.id == mark for one in kept.jobs)
    write_learned(learned_path(), kept.with_jobs((job,)))
    note = (
        "this case was there already: what it says now counts" if known else "this case was added"
    )
    return show(notes=(note,))


def export(target: Path) -> int:
    """Write what was learned into a file for another shop; gives the number of jobs.

    There is nothing of customers in it: parts on the drive, checks with outcomes, what was put
    right, whether it cured.

    Raises
    ------
    InputError
        When there is nothing to export, or `target` is there already.
    """
    kept = _kept()
    if not kept.jobs:
        raise InputError(
            "nothing has been learned yet", allowed="an export after `beltside learned add`"
        )
    if target.exists():
        raise InputError(f"{target} is there already", allowed="a file name that is free")
    write_learned(target, kept)
    return len(kept.jobs)


def merge(source: Path) -> LearnedResult:
    """Add what another shop exported; each job counts once, however often it is merged.

    Raises
    ------
    InputError, LimitError
        When `source` is no such file; nothing is changed then.
    """
    theirs = read_learned(source)
    kept = _kept()
    together = kept.with_jobs(theirs.jobs)
    new = len(together.jobs) - len(kept.jobs)
    write_learned(learned_path(), together)
    known = len(theirs.jobs) - new
    before = "was" if known == 1 else "were"
    return show(notes=(f"{count_of(new, 'job')} added, {known} {before} known already",))


def reset(folder: Path | None = None) -> Path | None:
    """Forget what was learned; the file is kept beside it under another name.

    In the own folder without `folder`.

    Returns
    -------
    Path or None
        Where the old file lies now; None when there was none.
    """
    path = learned_path(folder)
    if not path.is_file():
        return None
    number = 1
    while (aside := path.with_name(f"{path.stem}-before-reset-{number}{path.suffix}")).exists():
        number += 1
    return path.rename(aside)
