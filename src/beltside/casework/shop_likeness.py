"""A job's noise held against the takes of the shop's own closed jobs: what it is like, and what
that is worth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from beltside.base.errors import InputError
from beltside.base.words import count_of
from beltside.casework.find import HeardCase
from beltside.casework.results import Because, Progress
from beltside.casework.shop import Shop, sheet_of
from beltside.casework.shop_case import take_names
from beltside.casework.shop_jobs import car_words
from beltside.casework.shop_listen import take_of
from beltside.casework.shop_sounds import Vector, noisy_takes, sounds_of, world_of
from beltside.casework.similar import STRANGER, likeness_state
from beltside.casework.sound_vector import VECTOR_VERSION
from beltside.jobs.entries import JobSheet
from beltside.jobs.sounds import NearSound, lead_of
from beltside.suspects.likeness import kind_of_cause, learned_rate, likeness_bits
from beltside.suspects.posterior import normalised

NEAREST: Final = 5
_LOOKED_AT: Final = 50
"""Of so many of the nearest one with another cause is looked for."""


@dataclass(frozen=True)
class NearJob:
    """A take of another job that sounds alike: 0 is the same sound, 1 a stranger."""

    job_id: str
    number: int
    car: str
    take: str
    cause: str
    distance: float

    def to_json(self) -> dict[str, Any]:
        """Plain dict; distance to 0.001."""
        return {
            "job": self.number,
            "car": self.car,
            "take": self.take,
            "cause": self.cause,
            "distance": round(self.distance, 3),
        }


@dataclass(frozen=True)
class Likeness:
    """What a job's noise is most like among the shop's own closed jobs.

    Attributes
    ----------
    take
        The take of this job that is nearest to one of another; "" when none can be compared.
    nearest
        The nearest takes of other jobs, the nearest first.
    state
        "near", "some likeness" or "nothing like it".
    lead
        How much farther the nearest take with another cause is; None when there is none.
    compared
        With how many takes of closed jobs.
    right, judged
        In how many closed jobs such a likeness named the right cause, of how many.
    why_not
        Why nothing was compared, "" when something was.
    """

    take: str
    nearest: tuple[NearJob, ...]
    state: str
    lead: float | None
    compared: int
    right: int
    judged: int
    why_not: str = ""

    @property
    def cause(self) -> str:
        """The cause of the nearest take; "" when there is no likeness."""
        return self.nearest[0].cause if self.nearest and self.state != STRANGER else ""

    def record_words(self) -> str:
        """How often such a likeness was right, in words."""
        if not self.judged:
            return "no such likeness could be judged in your shop yet"
        times = count_of(self.judged, "time")
        return f"in your shop such a likeness was right {self.right} of {times}"

    def to_json(self) -> dict[str, Any]:
        """Plain dict; distances and rate to 0.001."""
        return {
            "take": self.take,
            "state": self.state,
            "nearest": [one.to_json() for one in self.nearest],
            "lead": None if self.lead is None else round(self.lead, 3),
            "compared": self.compared,
            "right": self.right,
            "judged": self.judged,
            "learned_rate": round(learned_rate(self.right, self.judged), 3),
            "why_not": self.why_not,
        }


NOTHING: Final = Likeness("", (), STRANGER, None, 0, 0, 0)


def likeness_now(
    shop: Shop,
    job: JobSheet,
    *,
    take: str = "",
    most: int = NEAREST,
    wait: bool = False,
    progress: Progress | None = None,
) -> Likeness:
    """What a job's noise is most like among the shop's own closed jobs.

    Parameters
    ----------
    take
        One take by its entry, number or name; without, the one nearest to another job's speaks.
    most
        How many of the nearest are wanted, 1 to 50.
    wait
        Listen first to takes nobody listened to yet; without, they are left out.

    Raises
    ------
    InputError
        When there is no such take, or `most` is out of range.
    """
    if not 1 <= most <= _LOOKED_AT:
        raise InputError(f"{most} nearest takes", allowed=f"1 to {_LOOKED_AT}")
    wanted = take_of(job, take).id if take else None
    sounds = shop.record.sounds
    among = world_of(job.job.id)
    if not sounds.count(VECTOR_VERSION):
        return replace(NOTHING, why_not="No closed job has a take with a known cause yet")
    own = sounds_of(shop, job, wait=wait, progress=progress)
    if wanted is not None:
        own = {name: vector for name, vector in own.items() if name == wanted}
    if not own:
        return replace(NOTHING, why_not=_why_nothing(job, wanted))
    best_take, near = _nearest(shop, job, own)
    if not near:
        return replace(NOTHING, why_not="No other closed job has a take with a known cause yet")
    lead = lead_of(near, all_of_them=len(near) < _LOOKED_AT)
    state = likeness_state(near[0].distance, lead)
    right, judged = track_record(shop, job.job.id)
    return Likeness(
        take_names(job)[best_take],
        tuple(_named(shop, near[:most])),
        state,
        lead,
        sounds.compared_with(VECTOR_VERSION, among=among, except_job=job.job.id),
        right,
        judged,
    )


def _why_nothing(job: JobSheet, wanted: str | None) -> str:
    takes = {entry.id for entry in noisy_takes(job)}
    if not takes:
        return "There is no recording with the noise in it"
    if wanted is not None and wanted not in takes:
        return "This take was made after the repair or with the belt off: the noise is not in it"
    return "No take was listened to whose crank speed can be told"


def _nearest(shop: Shop, job: JobSheet, own: Mapping[str, Vector]) -> tuple[str, list[NearSound]]:
    """The take nearest to one of another closed job, and all that is near it."""
    best: tuple[str, list[NearSound]] = ("", [])
    for name, vector in own.items():
        near = shop.record.sounds.nearest(
            vector,
            VECTOR_VERSION,
            limit=_LOOKED_AT,
            except_job=job.job.id,
            among=world_of(job.job.id),
        )
        if near and (not best[1] or near[0].distance < best[1][0].distance):
            best = (name, near)
    return best


def _named(shop: Shop, near: list[NearSound]) -> list[NearJob]:
    jobs = {one.id: one for one in shop.record.jobs_named(list({one.job_id for one in near}))}
    names: dict[str, dict[str, str]] = {}
    found = []
    for one in near:
        job = jobs[one.job_id]
        if one.job_id not in names:
            names[one.job_id] = take_names(shop.record.sheet(one.job_id))
        found.append(
            NearJob(
                one.job_id,
                job.number,
                car_words(job.card.car, job.card.plate, job.card.vin),
                names[one.job_id].get(one.entry_id, "a take"),
                one.cause or "",
                one.distance,
            )
        )
    return found


def track_record(shop: Shop, job_id: str) -> tuple[int, int]:
    """In how many closed jobs a likeness named the right cause, of how many that showed one.

    The newest closed jobs are held each against all others but the one asked about; a job never
    speaks for itself.
    """
    right = judged = 0
    for one in shop.record.sounds.each_nearest(
        VECTOR_VERSION, among=world_of(job_id), except_job=job_id
    ):
        if likeness_state(one.nearest.distance, one.lead) == STRANGER:
            continue
        judged += 1
        right += kind_of_cause(one.nearest.cause or "") == kind_of_cause(one.cause)
    return right, judged


def similar_on_job(
    shop: Shop,
    job_id: str,
    take: str = "",
    *,
    most: int = NEAREST,
    progress: Progress | None = None,
) -> Likeness:
    """As `likeness_now` for a job by its name or number; its takes are listened to first."""
    return likeness_now(
        shop, sheet_of(shop, job_id), take=take, most=most, wait=True, progress=progress
    )


def with_likeness(case: HeardCase, likeness: Likeness) -> HeardCase:
    """The case with what the likeness says of its cause, where this car can have it.

    The prior the factor is worked out from is that of all suspects of this car that are the same
    fault on the same kind of part, taken together.
    """
    if not likeness.cause:
        return case
    kind = kind_of_cause(likeness.cause)
    suspects = case.board.suspects
    same = [n for n, one in enumerate(suspects) if kind_of_cause(one.id) == kind]
    prior = float(normalised(case.board.log_prior)[same].sum()) if same else 0.0
    if not 0.0 < prior < 1.0:
        return case
    bits = likeness_bits(likeness.right, likeness.judged, prior)
    said = np.zeros(len(suspects)) if case.evidence is None else case.evidence.copy()
    said[same] += bits * np.log(2.0)
    beside = dict(case.reasons_beside)
    for index in same:
        one = suspects[index]
        nearest = likeness.nearest[0]
        says = (
            f"sounds most like job {nearest.number}, where it was the {one.name}; "
            f"{likeness.record_words()}"
        )
        beside[one.id] = (*beside.get(one.id, ()), Because(likeness.take, says, bits))
    # Without any bits the sound stays as silent as it was.
    return replace(case, evidence=said if bits else case.evidence, reasons_beside=beside)
