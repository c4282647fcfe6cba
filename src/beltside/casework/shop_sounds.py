"""What the takes of jobs sound like, kept so that the next noise can be held against them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import BeltsideError
from beltside.casework.results import Progress
from beltside.casework.shipped import fingerprint_nuisance
from beltside.casework.shop import Shop, sheet_of
from beltside.casework.shop_analysis import kept_result
from beltside.casework.shop_learning import DEMO_PREFIX
from beltside.casework.shop_listen import (
    LISTEN,
    LISTEN_VERSION,
    ask_to_listen,
    listen_settings,
    take_heard,
)
from beltside.casework.sound_vector import VECTOR_VERSION, sound_vector
from beltside.jobs.entries import Entry, JobSheet
from beltside.jobs.sounds import known_cause, shows_the_noise
from beltside.sound.fingerprint import Fingerprint

Vector = npt.NDArray[np.float32]
MOST_JOBS: Final = 100_000
MOST_ASKED: Final = 2000
"""So many takes are put on the workers' list at once."""


def noisy_takes(job: JobSheet) -> list[Entry]:
    """Takes of a job in which its noise can be heard: before the repair, the belt not off."""
    return [entry for entry in job.of_kind("take") if shows_the_noise(entry.body)]


def keep_sounds_of(shop: Shop, job: JobSheet) -> int:
    """Keep what the takes of a job sound like, as far as they have been listened to.

    A take that is listened to later is kept then; its cause is that of its closed job.

    Returns
    -------
    int
        How many of its takes can be compared with others.
    """
    kept = shop.record.sounds.vectors(VECTOR_VERSION, [one.id for one in noisy_takes(job)])
    for entry in noisy_takes(job):
        if entry.id in kept:
            continue
        settings = listen_settings(job, entry)
        found = kept_result(shop, LISTEN, LISTEN_VERSION, str(entry.body["file"]), settings)
        if found is None:
            continue
        vector = sound_vector(Fingerprint.from_json(found["fingerprint"]), fingerprint_nuisance())
        if vector is not None:
            shop.record.sounds.add(entry.id, VECTOR_VERSION, vector)
            kept[entry.id] = vector
    return len(kept)


def sounds_of(
    shop: Shop, job: JobSheet, *, wait: bool = False, progress: Progress | None = None
) -> dict[str, Vector]:
    """Kept sounds of a job's takes, by their entry; with `wait` all are listened to first.

    A take that can't be used, or whose crank speed can't be told, is left out.
    """
    takes = noisy_takes(job)
    say = progress or (lambda _what, _share: None)
    if wait:
        keep_sounds_of(shop, job)
        there = shop.record.sounds.vectors(VECTOR_VERSION, [one.id for one in takes])
        missing = [one for one in takes if one.id not in there]
        for number, entry in enumerate(missing):
            say("listening for likeness", number / len(missing))
            try:
                take_heard(shop, job.job.id, entry.id, wait=True)
            except BeltsideError:
                # Why it can't be used is told where the takes are listened to together.
                continue
        if missing:
            keep_sounds_of(shop, job)
    return shop.record.sounds.vectors(VECTOR_VERSION, [one.id for one in takes])


@dataclass(frozen=True)
class World:
    """Which jobs may be compared with each other: those of the demo shop only among themselves."""

    demo: bool

    def __call__(self, job_id: str) -> bool:
        """Whether a job belongs to it."""
        return job_id.startswith(DEMO_PREFIX) == self.demo


def world_of(job_id: str) -> World:
    """The jobs that one may be compared with."""
    return World(job_id.startswith(DEMO_PREFIX))


@dataclass(frozen=True)
class SoundsKept:
    """How far the sounds of closed jobs are kept.

    `jobs` are closed jobs with a known cause, `takes` theirs with the noise in them, `kept` those
    that can be compared, `asked` those put on the workers' list just now.
    """

    jobs: int
    takes: int
    kept: int
    asked: int

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {"jobs": self.jobs, "takes": self.takes, "kept": self.kept, "asked": self.asked}


def catch_up(shop: Shop, *, ask: bool = False) -> SoundsKept:
    """Count the sounds of closed jobs; with `ask` have those that are missing listened to.

    They are missing after an import, and after a new version that hears takes anew. At most 2,000
    takes are put on the workers' list at once, those of the newest jobs first.
    """
    jobs = takes = kept = asked = 0
    for outcome in shop.record.entries_of_kind("outcome", limit=MOST_JOBS):
        if outcome.job_id is None or known_cause(outcome.body) is None:
            continue
        job = sheet_of(shop, outcome.job_id)
        noisy = noisy_takes(job)
        if not noisy:
            continue
        jobs += 1
        takes += len(noisy)
        there = keep_sounds_of(shop, job)
        kept += there
        if not ask or there == len(noisy):
            continue
        for entry in noisy:
            if asked < MOST_ASKED and _is_open(shop, job, entry):
                ask_to_listen(shop, job, entry)
                asked += 1
    return SoundsKept(jobs, takes, kept, asked)


def _is_open(shop: Shop, job: JobSheet, entry: Entry) -> bool:
    settings = listen_settings(job, entry)
    file = str(entry.body["file"])
    return kept_result(shop, LISTEN, LISTEN_VERSION, file, settings) is None
