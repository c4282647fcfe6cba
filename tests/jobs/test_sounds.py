"""The nearest sounds are those that a comparison with every one finds (numpy, all pairs)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from beltside.base.errors import InputError
from beltside.jobs.database import Database, open_database
from beltside.jobs.reading import MissingError
from beltside.jobs.record import Record
from beltside.jobs.sounds import Sounds, known_cause

SIZE = 300


def vectors(count: int, seed: int = 0, clusters: int = 12) -> npt.NDArray[np.float32]:
    rng = np.random.default_rng(seed)
    made = rng.normal(size=(clusters, SIZE))[rng.integers(0, clusters, count)]
    made = made + 0.6 * rng.normal(size=made.shape)
    return (made / np.linalg.norm(made, axis=1, keepdims=True)).astype(np.float32)


def filled(record: Record, many: npt.NDArray[np.float32], *, takes: int) -> list[str]:
    """Closed jobs with so many takes each; gives back the takes' names."""
    sounds = Sounds(record.database)
    names: list[str] = []
    for start in range(0, len(many), takes):
        rows = many[start : start + takes]
        sheet = record.new_job(
            [
                *(("take", {}) for _ in rows),
                ("outcome", {"cause": f"cause.{start}", "closed": True}),
            ],
            by="Ida",
            job_id=f"j{start}",
        )
        for entry, row in zip(sheet.of_kind("take"), rows, strict=True):
            sounds.add(entry.id, 1, row)
            names.append(entry.id)
    return names


def test_as_a_comparison_with_every_one(database: Database) -> None:
    many = vectors(240)
    names = filled(Record(database), many, takes=20)
    sounds = Sounds(database)
    for asked in vectors(20, seed=1):
        apart = 1.0 - many.astype(float) @ asked.astype(float)
        best = np.argsort(apart)[:5]
        found = sounds.nearest(asked, 1)
        assert [one.entry_id for one in found] == [names[at] for at in best]
        assert [one.distance for one in found] == pytest.approx(apart[best], abs=1e-3)
        assert [one.cause for one in found] == [f"cause.{at // 20 * 20}" for at in best]


def test_among_more_than_are_compared_whole(tmp_path: Path) -> None:
    """Of 2,000, 128 are compared whole: the nearest must be among them."""
    many = vectors(2000, clusters=30)
    with open_database("sqlite://") as database:
        names = filled(Record(database), many, takes=100)
        sounds = Sounds(database)
        right = 0
        for asked in vectors(40, seed=3, clusters=30):
            best = np.argsort(1.0 - many @ asked, kind="stable")[:5]
            found = {one.entry_id for one in sounds.nearest(asked, 1)}
            right += len(found & {names[at] for at in best})
        assert right >= 0.97 * 40 * 5
        for at in (0, 777, 1999):
            assert sounds.nearest(many[at], 1)[0].entry_id == names[at]


def test_others_additions_and_changes_are_seen(address: Path | str) -> None:
    """Two programs on one record, each with its own copy in memory."""
    one, other = vectors(2, seed=5)
    with open_database(address) as mine, open_database(address) as theirs:
        record, sounds, theirs_sounds = Record(theirs), Sounds(mine), Sounds(theirs)
        assert sounds.nearest(one, 1) == []
        sheet = record.new_job([("take", {}), ("take", {})], by="Ida", job_id="j1")
        first, second = sheet.of_kind("take")
        theirs_sounds.add(first.id, 1, one)
        # Not closed yet: no cause is known.
        assert sounds.nearest(one, 1) == []
        assert [near.cause for near in sounds.nearest(one, 1, with_cause=False)] == [None]
        outcome = record.add("j1", "outcome", {"cause": "belt.slip", "closed": True}, by="Ida")
        assert [near.cause for near in sounds.nearest(one, 1)] == ["belt.slip"]
        assert sounds.nearest(one, 1)[0].distance == pytest.approx(0.0, abs=1e-3)
        theirs_sounds.add(second.id, 1, other)
        assert [n.entry_id for n in sounds.nearest(other, 1)] == [second.id, first.id]
        assert sounds.count(1) == 2
        # The job in question itself, other versions of the method.
        assert sounds.nearest(one, 1, except_job="j1") == []
        assert sounds.nearest(one, 2) == []
        # A take off the sheet, and back on it.
        record.remove(second.id, by="Ida")
        assert [n.entry_id for n in sounds.nearest(other, 1)] == [first.id]
        record.bring_back(second.id, 1, by="Ida")
        assert len(sounds.nearest(other, 1)) == 2
        # Made anew by the same method.
        theirs_sounds.add(second.id, 1, one)
        assert [n.distance for n in sounds.nearest(one, 1)] == pytest.approx([0, 0], abs=1e-3)
        # The noise came back: the cause is in doubt.
        body = {"cause": "belt.slip", "closed": True, "came_back": True}
        record.change(outcome.id, body, by="Ida")
        assert sounds.nearest(one, 1) == []


def test_the_best_pair_of_rows_counts(database: Database) -> None:
    """Sounds of one to three rows, by plain loops over every pair of rows."""
    rng = np.random.default_rng(9)
    pool, names, kept = vectors(60, seed=9), [], []
    record, sounds = Record(database), Sounds(database)
    sheet = record.new_job(
        [*[("take", {})] * 30, ("outcome", {"cause": "x", "closed": True})], by="Ida"
    )
    for number, entry in enumerate(sheet.of_kind("take")):
        rows = pool[rng.integers(0, 60, number % 3 + 1)] * rng.uniform(0.3, 1.0)
        sounds.add(entry.id, 1, rows)
        names.append(entry.id)
        kept.append(rows)
    # Made anew with fewer rows: the ones it had no longer count.
    kept[2] = kept[2][:1]
    sounds.nearest(kept[0], 1)
    sounds.add(names[2], 1, kept[2])
    assert sounds.vectors(1, [names[5]])[names[5]] == pytest.approx(kept[5], abs=1e-3)
    for asked in (kept[5], kept[2], pool[:3] * 0.5):
        alike = [max(float(a @ b) for a in asked for b in rows) for rows in kept]
        best = np.argsort(-np.array(alike), kind="stable")[:3]
        found = sounds.nearest(asked, 1, limit=30)
        far = {one.entry_id: one.distance for one in found}
        assert [far[name] for name in names] == pytest.approx(1.0 - np.array(alike), abs=2e-3)
        assert found[0].distance == pytest.approx(1.0 - alike[best[0]], abs=2e-3)


# Every closed job against all others --------------------------------------------------------------


def one_by_one(
    rows: npt.NDArray[np.float32], jobs: list[int], causes: list[str]
) -> dict[int, tuple[int, float, float | None]]:
    """For each job: the nearest take of another, how far, and the lead, by plain loops."""
    found = {}
    for job in set(jobs):
        best: tuple[int, float, float | None] | None = None
        for at, owner in enumerate(jobs):
            if owner != job:
                continue
            others = [n for n, other in enumerate(jobs) if other != job]
            apart = {n: 1.0 - float(rows[n].astype(float) @ rows[at].astype(float)) for n in others}
            ranked = sorted(others, key=lambda n: apart[n])
            elsewhere = [n for n in ranked if causes[n] != causes[ranked[0]]]
            lead = apart[elsewhere[0]] - apart[ranked[0]] if elsewhere else None
            if best is None or apart[ranked[0]] < best[1]:
                best = (ranked[0], apart[ranked[0]], lead)
        assert best is not None
        found[job] = best
    return found


def test_closed_jobs_against_each_other(database: Database) -> None:
    """15 takes on 5 jobs of 3 causes; by plain loops over every pair."""
    rows = vectors(15, seed=8, clusters=4)
    record, sounds = Record(database), Sounds(database)
    jobs = [at // 3 for at in range(15)]
    causes = [f"cause.{job % 3}" for job in jobs]
    names = []
    for job in range(5):
        sheet = record.new_job(
            [
                *[("take", {})] * 3,
                ("outcome", {"cause": f"cause.{job % 3}", "closed": True, "cured": True}),
            ],
            by="Ida",
            job_id=f"j{job}",
        )
        for entry in sheet.of_kind("take"):
            sounds.add(entry.id, 1, rows[len(names)])
            names.append(entry.id)
    wanted = one_by_one(rows, jobs, causes)
    for one in sounds.each_nearest(1):
        nearest, apart, lead = wanted[int(one.job_id[1:])]
        assert one.nearest.entry_id == names[nearest]
        assert one.nearest.distance == pytest.approx(apart, abs=2e-3)
        assert one.lead == pytest.approx(lead, abs=2e-3)
        assert one.cause == causes[3 * int(one.job_id[1:])]
        assert one.nearest.job_id != one.job_id
    assert len(sounds.each_nearest(1)) == 5
    # The job asked about is neither judged nor compared with.
    without = sounds.each_nearest(1, except_job="j4")
    kept = one_by_one(rows[:12], jobs[:12], causes[:12])
    assert {one.job_id: one.nearest.entry_id for one in without} == {
        f"j{job}": names[nearest] for job, (nearest, _, _) in kept.items()
    }
    assert sounds.compared_with(1, except_job="j4") == 12
    # Some jobs only, among themselves only.
    some = sounds.each_nearest(1, among=frozenset({"j0", "j3"}).__contains__)
    assert {(one.job_id, one.nearest.job_id) for one in some} == {("j0", "j3"), ("j3", "j0")}
    assert all(one.lead is None for one in some), "both have the one cause"
    # A cause that is put in doubt is seen at once.
    (outcome,) = record.sheet("j0").of_kind("outcome")
    record.change(outcome.id, {**outcome.body, "cured": False}, by="Ida")
    assert {one.job_id for one in sounds.each_nearest(1)} == {"j1", "j2", "j3", "j4"}


def test_takes_without_the_noise_are_not_compared(record: Record) -> None:
    """After the repair, and with the belt off; whether so from the start or only seen later."""
    sounds = record.sounds
    one, other = vectors(2, seed=6)
    bodies = [{"stage": "after"}, {"belt": "off"}, {"belt": "on"}, {}]
    job = record.new_job(
        [*(("take", body) for body in bodies), ("outcome", {"cause": "x.y", "closed": True})],
        by="Ida",
    )
    takes = job.of_kind("take")
    for take in takes:
        sounds.add(take.id, 1, one)
    assert {near.entry_id for near in sounds.nearest(other, 1)} == {takes[2].id, takes[3].id}
    record.change(takes[3].id, {"stage": "after"}, by="Ida")
    record.change(takes[0].id, {"stage": "before"}, by="Ida")
    assert {near.entry_id for near in sounds.nearest(other, 1)} == {takes[2].id, takes[0].id}
    assert set(sounds.vectors(1, [take.id for take in takes])) == {take.id for take in takes}


@pytest.mark.parametrize(
    ("outcome", "cause"),
    [
        ({}, None),
        ({"cause": "belt.slip"}, None),
        ({"cause": "belt.slip", "closed": True}, "belt.slip"),
        ({"cause": "belt.slip", "closed": True, "cured": False}, None),
        ({"cause": "", "closed": True}, None),
        ({"cause": "x" * 61, "closed": True}, None),
    ],
)
def test_when_a_cause_is_known(outcome: dict[str, object], cause: str | None) -> None:
    assert known_cause(outcome) == cause


@pytest.mark.parametrize(
    "vector",
    [
        *([], [[[1.0]]], [[1.0]] * 4, [2.0], [[1.0, 0.0], [0.0, 0.0]], [float("nan")]),
        *(np.zeros(4), np.full(20_001, 0.00707)),
    ],
)
def test_vectors_of_another_form_are_refused(record: Record, vector: npt.ArrayLike) -> None:
    job = record.new_job([("take", {})], by="Ida")
    with pytest.raises(InputError):
        Sounds(record.database).add(job.entries[0].id, 1, vector)
    with pytest.raises(InputError):
        Sounds(record.database).nearest(vector, 1)


def test_other_bad_input(record: Record) -> None:
    sounds = Sounds(record.database)
    with pytest.raises(MissingError):
        sounds.add("nothing", 1, [1.0])
    with pytest.raises(InputError, match="1 to 100"):
        sounds.nearest([1.0], 1, limit=0)
    job = record.new_job([("take", {}), ("outcome", {"cause": "x", "closed": True})], by="Ida")
    sounds.add(job.entries[0].id, 1, [1.0, 0.0])
    with pytest.raises(InputError, match="2, as those kept"):
        sounds.nearest([1.0], 1)
