"""The record against a plain dictionary: whatever two writers do, both say the same.

The model keeps every version in a list and joins by its own reading of the rule: a field is mine
where I changed it, else theirs; where both changed it to different values, mine stands and theirs
is told.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    multiple,
    rule,
    run_state_machine_as_test,
)

from beltside.base.errors import InputError
from beltside.jobs.database import Database, open_database
from beltside.jobs.entries import Entry
from beltside.jobs.reading import MissingError
from beltside.jobs.record import Record
from beltside.jobs.schema import METADATA, TERM
from beltside.jobs.search_words import uses_kept, uses_wanted

VALUES = st.sampled_from(
    [None, 0, 1, 1.0, True, "", "x", "Å\0", "belt slip", [1], [True], {"p": 1}, {"p": [2]}]
)
BODIES = st.dictionaries(st.sampled_from("abcd"), VALUES, max_size=4)
KINDS = st.sampled_from(["note", "take", "car", "outcome", "owner"])
WRITERS = st.sampled_from(["Ida", "Per"])


@dataclass
class Version:
    body: dict[str, Any]
    by: str
    how: str
    removed: bool = False
    clashes: list[tuple[str, Any, Any, str, int]] = field(default_factory=list)


@dataclass
class Thing:
    job_id: str | None
    kind: str
    versions: list[Version]

    @property
    def now(self) -> Version:
        return self.versions[-1]


def plain(value: Any) -> str:
    return json.dumps(value, sort_keys=True)


def same(one: dict[str, Any], other: dict[str, Any], name: str) -> bool:
    if (name in one) != (name in other):
        return False
    return name not in one or plain(one[name]) == plain(other[name])


class RecordModel(RuleBasedStateMachine):
    """Writes on the record and in dictionaries, and compares."""

    def __init__(self, database: Database) -> None:
        super().__init__()
        with database.writing() as connection:
            for table in reversed(METADATA.sorted_tables):
                connection.execute(table.delete())
        # Two programs, each with its own record.
        self.records = {"Ida": Record(database), "Per": Record(database)}
        self.jobs: dict[str, int] = {}
        self.things: dict[str, Thing] = {}
        self.writes: dict[str, int] = {}

    jobs_made = Bundle("jobs_made")
    things_made = Bundle("things_made")

    @initialize(target=jobs_made)
    def first_job(self) -> str:
        return self.new_job([], "Ida")

    @rule(target=jobs_made, entries=st.lists(st.tuples(KINDS, BODIES), max_size=3), by=WRITERS)
    def open_job(self, entries: list[tuple[str, dict[str, Any]]], by: str) -> str:
        return self.new_job(entries, by)

    def new_job(self, entries: list[tuple[str, dict[str, Any]]], by: str) -> str:
        sheet = self.records[by].new_job(entries, by=by)
        assert sheet.job.number == len(self.jobs) + 1
        self.jobs[sheet.job.id] = sheet.job.number
        assert [(entry.kind, plain(entry.body)) for entry in sheet.entries] == [
            (kind, plain(body)) for kind, body in entries
        ]
        for entry in sheet.entries:
            made = Version(dict(entry.body), by, "made")
            self.things[entry.id] = Thing(sheet.job.id, entry.kind, [made])
        return sheet.job.id

    @rule(job_id=jobs_made, by=WRITERS)
    def open_job_again(self, job_id: str, by: str) -> None:
        sheet = self.records[by].new_job([("note", {"a": 1})], by=by, job_id=job_id)
        assert sheet.job.number == self.jobs[job_id]

    @rule(target=things_made, job_id=st.none() | jobs_made, kind=KINDS, body=BODIES, by=WRITERS)
    def add(self, job_id: str | None, kind: str, body: dict[str, Any], by: str) -> str:
        entry = self.records[by].add(job_id, kind, body, by=by)
        self.things[entry.id] = Thing(job_id, kind, [Version(body, by, "made")])
        self.compare(entry.id, entry)
        return entry.id

    @rule(name=things_made, job_id=jobs_made, kind=KINDS, body=BODIES, by=WRITERS)
    def add_again(self, name: str, job_id: str, kind: str, body: dict[str, Any], by: str) -> None:
        thing = self.things[name]
        if (thing.job_id, thing.kind) == (job_id, kind):
            self.compare(name, self.records[by].add(job_id, kind, body, by=by, entry_id=name))
        else:
            with pytest.raises(InputError, match="something else"):
                self.records[by].add(job_id, kind, body, by=by, entry_id=name)

    @rule(
        name=things_made,
        edits=BODIES,
        drops=st.sets(st.sampled_from("abcd"), max_size=1),
        age=st.integers(0, 3),
        told=st.booleans(),
        by=WRITERS,
    )
    def change(
        self, name: str, edits: dict[str, Any], drops: set[str], age: int, told: bool, by: str
    ) -> None:
        thing = self.things[name]
        now = thing.now
        number = max(len(thing.versions) - age, 1) if told else len(thing.versions)
        base = thing.versions[number - 1].body
        mine = {key: value for key, value in {**base, **edits}.items() if key not in drops}
        made = self.records[by].change(name, mine, by=by, based_on=number if told else None)

        want, joined, clashes = dict(mine), [], []
        if number != len(thing.versions):
            clashes = list(now.clashes)
            for key in sorted({*base, *mine, *now.body}):
                if same(mine, now.body, key):
                    continue
                if same(base, mine, key):
                    joined.append(key)
                    want.pop(key, None)
                    if key in now.body:
                        want[key] = now.body[key]
                elif not same(base, now.body, key):
                    clashes.append(
                        (key, mine.get(key), now.body.get(key), now.by, len(thing.versions))
                    )
        assert sorted(made.joined) == joined
        unchanged = plain(want) == plain(now.body) and sorted(map(plain, clashes)) == sorted(
            map(plain, now.clashes)
        )
        if now.removed or not unchanged:
            told_of = joined or len(clashes) > len(now.clashes)
            how = "joined" if told_of else "changed"
            thing.versions.append(Version(want, by, how, clashes=clashes))
        self.compare(name, made.entry)

    @rule(name=things_made, by=WRITERS)
    def remove(self, name: str, by: str) -> None:
        thing = self.things[name]
        entry = self.records[by].remove(name, by=by)
        if not thing.now.removed:
            thing.versions.append(Version(thing.now.body, by, "removed", removed=True))
        self.compare(name, entry)

    @rule(name=things_made, age=st.integers(0, 5), by=WRITERS)
    def bring_back(self, name: str, age: int, by: str) -> None:
        thing = self.things[name]
        number = max(len(thing.versions) - age, 1)
        entry = self.records[by].bring_back(name, number, by=by)
        thing.versions.append(Version(thing.versions[number - 1].body, by, "brought back"))
        self.compare(name, entry)

    @rule(name=things_made, by=WRITERS)
    def ask_for_what_is_not_there(self, name: str, by: str) -> None:
        record = self.records[by]
        with pytest.raises(MissingError):
            record.bring_back(name, len(self.things[name].versions) + 1, by=by)
        with pytest.raises(MissingError):
            record.add("nothing", "note", {}, by=by)
        with pytest.raises(MissingError):
            record.change(name, {}, by=by, based_on=0)

    @rule(target=things_made, job_id=jobs_made)
    def read_the_sheet(self, job_id: str) -> Any:
        sheet = self.records["Ida"].sheet(job_id)
        wanted = [
            (name, thing.kind, plain(thing.now.body))
            for name, thing in self.things.items()
            if thing.job_id == job_id and not thing.now.removed
        ]
        assert [(one.id, one.kind, plain(one.body)) for one in sheet.entries] == wanted
        takes = [kind for _, kind, _ in wanted if kind == "take"]
        assert sheet.job.card.take_count == len(takes)
        of_job = [thing for thing in self.things.values() if thing.job_id == job_id]
        assert len(self.records["Per"].changes(job_id)) == sum(len(t.versions) for t in of_job)
        with self.records["Ida"].database.reading() as connection:
            uses = uses_kept(connection)
            assert uses == uses_wanted(connection)
            in_jobs = connection.execute(sa.select(TERM.c.word, TERM.c.jobs)).all()
        assert dict(in_jobs) == Counter(word for word, _ in uses)  # type: ignore[arg-type]
        return multiple(*(entry.id for entry in sheet.entries))

    def compare(self, name: str, given: Entry) -> None:
        """An entry and its whole history are as in the model."""
        for record in self.records.values():
            history = record.history(name)
            assert [(plain(one.body), one.removed, one.by, one.how) for one in history] == [
                (plain(v.body), v.removed, v.by, v.how) for v in self.things[name].versions
            ]
            for one, version in zip(history, self.things[name].versions, strict=True):
                clashes = [
                    (c.field, c.kept, c.other, c.other_by, c.other_version) for c in one.clashes
                ]
                assert sorted(map(plain, clashes)) == sorted(map(plain, version.clashes))
            now = record.entry(name)
            assert (now.id, now.version, plain(now.body)) == (
                given.id,
                given.version,
                plain(given.body),
            )
            assert (now.clashes, now.removed) == (history[-1].clashes, history[-1].removed)

    def teardown(self) -> None:
        for job_id in self.jobs:
            self.read_the_sheet(job_id)
        settings_there = {
            entry.id for kind in ("note", "car") for entry in self.records["Ida"].shop_entries(kind)
        }
        assert settings_there == {
            name
            for name, thing in self.things.items()
            if thing.job_id is None and thing.kind in ("note", "car") and not thing.now.removed
        }


def run(database: Database, examples: int, steps: int) -> None:
    run_state_machine_as_test(
        lambda: RecordModel(database),
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_the_record_is_as_a_plain_dictionary_on_sqlite() -> None:
    with open_database("sqlite://") as database:
        run(database, 40, 30)


def test_the_record_is_as_a_plain_dictionary_on_postgresql(server: Any) -> None:
    url = server.give()
    with open_database(url) as database:
        run(database, 6, 25)
    server.take_back(url)
