"""A helper's record: prices stay where they are and never come out."""

from __future__ import annotations

import json

import pytest

from beltside.jobs.record import Record
from beltside.jobs.without_prices import HIDDEN, HelperError, WithoutPrices

PRICED = {
    "part-used": {"name": "Pump", "price": "4711.17"},
    "outcome": {"cause": "", "charged": "4711.18", "currency": "EUR"},
    "estimate": {"offer": {"total": "4711.19"}, "says": "4711.20 in all"},
    "approval": {"option": "Pump", "name": "A", "agreement": {"total": "4711.21"}},
    "proof": {"made_at": "", "digest": "", "sheet": {"total": "4711.22"}},
}


@pytest.fixture
def job(record: Record) -> str:
    return record.new_job(PRICED.items(), by="Per").job.id


@pytest.fixture
def helper(record: Record) -> WithoutPrices:
    return WithoutPrices.of(record)


def test_no_way_of_reading_gives_a_price(job: str, record: Record, helper: WithoutPrices) -> None:
    entries = record.sheet(job).entries
    assert len([one for one in entries if "4711" in json.dumps(one.body)]) == 5
    seen = [
        *helper.sheet(job).entries,
        *helper.changes(job),
        *(helper.entry(one.id) for one in entries),
        *(old for one in entries for old in helper.history(one.id)),
        *(old for kind in PRICED for old in helper.entries_of_kind(kind)),
        *(helper.version(one.id, 1) for one in entries),
    ]
    assert len(seen) == 30
    assert [one for one in seen if "4711" in json.dumps(one.body)] == []
    assert set(PRICED) == set(HIDDEN)


def test_what_a_helper_changes_keeps_its_price(
    job: str, record: Record, helper: WithoutPrices
) -> None:
    part = helper.sheet(job).of_kind("part-used")[0]
    made = helper.change(part.id, {**part.body, "name": "Coolant pump"}, by="Ida")
    assert made.entry.body == {"name": "Coolant pump", "price": None}
    assert record.entry(part.id).body == {"name": "Coolant pump", "price": "4711.17"}


def test_two_at_once_keep_the_newer_price(job: str, record: Record, helper: WithoutPrices) -> None:
    part = helper.sheet(job).of_kind("part-used")[0]
    record.change(part.id, {"name": "Pump", "price": "4711.99"}, by="Per", based_on=1)
    helper.change(part.id, {**part.body, "name": "Coolant pump"}, by="Ida", based_on=1)
    now = record.entry(part.id)
    assert now.body == {"name": "Coolant pump", "price": "4711.99"}
    assert now.clashes == ()


def test_a_clash_of_prices_shows_none(job: str, record: Record, helper: WithoutPrices) -> None:
    part = record.sheet(job).of_kind("part-used")[0]
    record.change(part.id, {"name": "Pump", "price": "4711.50"}, by="Per", based_on=1)
    record.change(part.id, {"name": "Pump", "price": "4711.60"}, by="Åsa", based_on=1)
    assert [one.other for one in record.entry(part.id).clashes] == ["4711.50"]
    assert [(one.kept, one.other) for one in helper.entry(part.id).clashes] == [(None, None)]


def test_a_helper_removes_nothing_and_enters_no_price(
    job: str, record: Record, helper: WithoutPrices
) -> None:
    part = helper.sheet(job).of_kind("part-used")[0]
    for forbidden in (
        lambda: helper.remove(part.id, by="Ida"),
        lambda: helper.bring_back(part.id, 1, by="Ida"),
        lambda: helper.add(job, "part-used", {"name": "Belt", "price": "1"}, by="Ida"),
        lambda: helper.change(part.id, {"name": "Pump", "price": "1"}, by="Ida"),
        lambda: helper.add(job, "estimate", {"offer": {}}, by="Ida"),
        lambda: helper.add(None, "setting", {"name": "currency", "value": "X"}, by="Ida"),
        lambda: helper.new_job([("outcome", {"charged": "1"})], by="Ida"),
    ):
        with pytest.raises(HelperError):
            forbidden()
    assert len(record.changes(job)) == len(PRICED)
    assert helper.add(job, "part-used", {"name": "Belt"}, by="Ida").body == {"name": "Belt"}
    assert helper.new_job([("owner", {"name": "B"})], by="Ida").entries[0].kind == "owner"


def test_every_way_of_reading_and_writing_is_thought_of() -> None:
    """A new method of the record gives entries out as they are, unless it stands here."""
    no_entries = {"job", "jobs", "jobs_named", "file_kind", "keep_file", "last_written"}
    settings_only = {"shop_entries"}
    public = {name for name in dir(Record) if not name.startswith("_")}
    thought_of = {name for name in vars(WithoutPrices) if not name.startswith("_")} - {"of"}
    assert public - thought_of - no_entries - settings_only == {"database"} & public
