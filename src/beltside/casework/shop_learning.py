"""What a closed job teaches: the odds of the next one, and what its sounds were caused by."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError, nearest
from beltside.casework.find import board_and_planner
from beltside.casework.formats.learned_file import Learned, new_learned, read_learned, write_learned
from beltside.casework.own import learned_path, tables
from beltside.casework.shop import Shop
from beltside.casework.shop_case import case_of
from beltside.jobs.entries import JobSheet
from beltside.suspects.learning import closed_job, parts_in_order

DEMO_PREFIX: Final = "demo-"
"""Jobs of the demo shop are named so; nothing is learned from them."""


def require_suspect(shop: Shop, job: JobSheet, cause: str) -> None:
    """Refuse a cause that is no suspect of this car.

    Raises
    ------
    InputError
        Naming the nearest.
    """
    known = suspects_of(shop, job)
    if cause not in known:
        raise InputError(
            f'"{cause}" is not a suspect of this car',
            allowed=", ".join(known),
            instead=nearest(cause, known) or "",
        )


def suspects_of(shop: Shop, job: JobSheet) -> dict[str, str]:
    """Suspects of a job's car: id and name, in the catalogue's order."""
    read = case_of(shop, job)
    board, _ = board_and_planner(read.tables, tuple(pulley.part for pulley in read.sheet.pulleys))
    return {one.id: one.name for one in board.suspects if one.id != "other"}


def learn_from(shop: Shop, job: JobSheet) -> tuple[int, str]:
    """Let a closed job move the odds; the same job again takes the place of what it said before.

    Returns
    -------
    tuple
        How many jobs the odds rest on now, and why this one is not among them ("" when it is).
    """
    why_not = not_learned(shop, job)
    path = learned_path(shop.folder)
    try:
        kept = read_learned(path) if path.is_file() else new_learned()
    except BeltsideError as error:
        return 0, f"what was learned before can't be read: {error}"
    if why_not:
        return len(kept.jobs), why_not
    body = _outcome(job)
    try:
        read = case_of(shop, job)
        own = tables(with_learned=False, folder=shop.folder)
        parts = parts_in_order([pulley.part for pulley in read.sheet.pulleys])
        one = closed_job(
            own.catalogue,
            _mark(kept, job),
            parts,
            str(body["cause"]),
            bool(body["cured"]),
            read.findings,
        )
        together = kept.with_jobs((one,))
        write_learned(path, together)
    except BeltsideError as error:
        return len(kept.jobs), str(error)
    return len(together.jobs), ""


def not_learned(shop: Shop, job: JobSheet) -> str:
    """Why nothing can be learned from a job's outcome, "" when it can; nothing is changed."""
    body = _outcome(job)
    if job.job.id.startswith(DEMO_PREFIX):
        return "it is a job of the demo shop"
    if not body.get("cause"):
        return "the cause was not named"
    if body.get("cured") is None:
        return "nobody said whether the noise is gone"
    if case_of(shop, job).sheet_toml is None:
        return "there is no drive sheet, so the car's other suspects are not known"
    return ""


def taught(shop: Shop, job: JobSheet) -> tuple[int, bool]:
    """How many closed jobs the odds rest on, and whether this one is among them."""
    path = learned_path(shop.folder)
    try:
        kept = read_learned(path) if path.is_file() else new_learned()
    except BeltsideError:
        return 0, False
    mark = _mark(kept, job)
    return len(kept.jobs), any(one.id == mark for one in kept.jobs)


def _outcome(job: JobSheet) -> Mapping[str, Any]:
    outcome = job.newest("outcome")
    return outcome.body if outcome is not None else {}


def _mark(kept: Learned, job: JobSheet) -> str:
    """Tells this job from others of this shop; its name can't be read back out of it."""
    return hashlib.sha256(f"{kept.shop}|{job.job.id}".encode()).hexdigest()[:20]
