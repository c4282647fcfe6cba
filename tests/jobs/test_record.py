"""The record keeps all that was ever written, and joins what two people write at once."""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa

from beltside.base.errors import InputError
from beltside.jobs.reading import MissingError
from beltside.jobs.record import Record
from beltside.jobs.schema import FILE_USE
from beltside.jobs.store import StoredFile


def test_a_job_holds_what_was_written(record: Record) -> None:
    sheet = record.new_job(
        [("owner", {"name": "Åsa Lind"}), ("complaint", {"words": "sings when cold"})], by="Ida"
    )
    record.add(sheet.job.id, "take", {"place": "front of engine"}, by="Ida")
    again = record.sheet(sheet.job.id)
    assert [entry.kind for entry in again.entries] == ["owner", "complaint", "take"]
    assert again.job.number == 1
    assert again.job.card.owner == "Åsa Lind"
    assert again.job.card.stage == "listen"
    assert again.job.card.take_count == 1


def test_earlier_values_stay_and_can_be_brought_back(record: Record) -> None:
    job = record.new_job(by="Ida").job
    made = record.add(job.id, "note", {"words": "hums"}, by="Ida")
    record.change(made.id, {"words": "howls"}, by="Per")
    record.remove(made.id, by="Per")
    assert record.sheet(job.id).entries == ()
    back = record.bring_back(made.id, 1, by="Ida")
    assert back.body == {"words": "hums"}
    assert [(e.how, e.by, e.body["words"]) for e in record.history(made.id)] == [
        ("made", "Ida", "hums"),
        ("changed", "Per", "howls"),
        ("removed", "Per", "howls"),
        ("brought back", "Ida", "hums"),
    ]


def test_two_writers_neither_loses(record: Record) -> None:
    job = record.new_job(by="Ida").job
    made = record.add(job.id, "car", {"plate": "", "name": "van", "note": "a"}, by="Ida")
    record.change(made.id, {"plate": "K 12", "name": "van", "note": "b"}, by="Per", based_on=1)
    change = record.change(
        made.id, {"plate": "", "name": "blue van", "note": "c"}, by="Ida", based_on=1
    )
    assert change.entry.body == {"plate": "K 12", "name": "blue van", "note": "c"}
    assert change.joined == ("plate",)
    (clash,) = change.clashes
    assert (clash.field, clash.kept, clash.other, clash.other_by) == ("note", "c", "b", "Per")
    assert record.entry(made.id).clashes == (clash,)


def test_the_same_thing_sent_twice_is_kept_once(record: Record) -> None:
    job = record.new_job(by="Ida", job_id="j1").job
    assert record.new_job(by="Ida", job_id="j1").job == job
    first = record.add(job.id, "finding", {"check": "wiggle"}, by="Ida", entry_id="f1")
    assert record.add(job.id, "finding", {"check": "wiggle"}, by="Ida", entry_id="f1") == first
    assert len(record.sheet(job.id).entries) == 1


def test_what_is_not_there_is_said(record: Record) -> None:
    with pytest.raises(MissingError, match="no job"):
        record.add("nothing", "note", {}, by="Ida")
    with pytest.raises(MissingError, match="no entry"):
        record.change("nothing", {}, by="Ida")


ANY_TEXT = "Åsa \U0001f697 \0 \ud83d ＡＢ\u0301\n"
"""With the character of code zero and half a surrogate pair, as broken phones send them."""


def test_any_text_is_kept_as_typed(record: Record) -> None:
    job = record.new_job(by="Åsa Lind").job
    made = record.add(job.id, "note", {"words": ANY_TEXT, ANY_TEXT: [1, True, None, 1.5]}, by="Ida")
    assert record.entry(made.id).body == {"words": ANY_TEXT, ANY_TEXT: [1, True, None, 1.5]}


@pytest.mark.parametrize("name", ["", "x" * 201, "a\0b", "\ud83d"])
def test_names_that_no_database_keeps_are_refused(record: Record, name: str) -> None:
    job = record.new_job(by="Ida").job
    if name:
        with pytest.raises(InputError, match="whole characters"):
            record.add(job.id, "note", {}, by=name)
        with pytest.raises(InputError, match="whole characters"):
            record.add(job.id, "note", {}, by="Ida", entry_id=name)
    with pytest.raises(InputError):
        record.sheet(name)
    with pytest.raises(InputError):
        record.job(10**30)
    assert record.sheet(job.id).entries == ()


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({"x": float("nan")}, "cannot be kept"),
        ({"x": object()}, "cannot be kept"),
        ({"x": "y" * 2_000_001}, "million characters"),
        ([1], "no table"),
    ],
)
def test_what_cannot_be_kept_is_refused(record: Record, body: Any, says: str) -> None:
    job = record.new_job(by="Ida").job
    with pytest.raises(InputError, match=says):
        record.add(job.id, "note", body, by="Ida")
    made = record.add(job.id, "note", {"words": "a"}, by="Ida")
    with pytest.raises(InputError, match=says):
        record.change(made.id, body, by="Ida")
    assert record.entry(made.id) == made


def test_a_body_nested_without_end_is_refused(record: Record) -> None:
    body: dict[str, Any] = {}
    for _ in range(20_000):
        body = {"x": body}
    with pytest.raises(InputError, match="cannot be kept"):
        record.add(None, "setting", body, by="Ida")


def test_a_clash_stays_until_somebody_settles_it(record: Record) -> None:
    job = record.new_job(by="Ida").job
    made = record.add(job.id, "car", {"name": "van", "plate": ""}, by="Ida")
    record.change(made.id, {"name": "red van", "plate": ""}, by="Per", based_on=1)
    record.change(made.id, {"name": "blue van", "plate": ""}, by="Ida", based_on=1)
    # A third, who has not seen it, writes something else: the clash is still to be settled.
    third = record.change(made.id, {"name": "van", "plate": "K 12"}, by="Ola", based_on=1)
    assert third.entry.body == {"name": "blue van", "plate": "K 12"}
    assert [clash.other for clash in record.entry(made.id).clashes] == ["red van"]
    # Saying that it is right as it is settles it.
    done = record.change(made.id, third.entry.body, by="Per", based_on=third.entry.version)
    assert done.entry.clashes == ()
    assert done.entry.version == third.entry.version + 1
    assert record.change(made.id, third.entry.body, by="Per").entry == done.entry


def test_values_of_other_kinds_are_other_values(record: Record) -> None:
    job = record.new_job(by="Ida").job
    made = record.add(job.id, "note", {"a": [1], "b": 1}, by="Ida")
    record.change(made.id, {"a": [1], "b": 1.0}, by="Per", based_on=1)
    change = record.change(made.id, {"a": [True], "b": 1}, by="Ida", based_on=1)
    assert repr(change.entry.body) == "{'a': [True], 'b': 1.0}"


def test_a_name_belongs_to_one_thing(record: Record) -> None:
    one, other = record.new_job(by="Ida").job, record.new_job(by="Ida").job
    record.add(one.id, "note", {"words": "a"}, by="Ida", entry_id="n1")
    for job_id, kind in ((other.id, "note"), (one.id, "photo"), (None, "note")):
        with pytest.raises(InputError, match="belongs to something else"):
            record.add(job_id, kind, {}, by="Ida", entry_id="n1")


def test_a_removed_entry_that_somebody_writes_on_is_there_again(record: Record) -> None:
    job = record.new_job(by="Ida").job
    made = record.add(job.id, "note", {"words": "hums"}, by="Ida")
    record.remove(made.id, by="Per")
    change = record.change(made.id, {"words": "hums when cold"}, by="Ida", based_on=1)
    assert not change.entry.removed
    assert record.sheet(job.id).entries[0].body == {"words": "hums when cold"}


def test_files_named_in_a_body_are_held_on_to(record: Record) -> None:
    job = record.new_job(by="Ida").job
    first, second = (StoredFile(digit * 64, 3) for digit in "ab")
    for stored in (first, second, first):
        record.keep_file(stored, "audio/mp4")
    made = record.add(job.id, "take", {"file": first.sha256}, by="Ida")
    record.change(made.id, {"file": second.sha256}, by="Ida")
    with record.database.reading() as connection:
        used = connection.execute(sa.select(FILE_USE.c.sha256).order_by(FILE_USE.c.sha256))
        assert list(used.scalars()) == [first.sha256, second.sha256]
    with pytest.raises(MissingError, match="no stored file cccc"):
        record.add(job.id, "note", {}, by="Ida", files=["c" * 64])


def test_the_card_is_of_the_newest_that_is_not_removed(record: Record) -> None:
    job = record.new_job([("car", {"name": "van", "plate": "K 12"})], by="Ida").job
    take = record.add(job.id, "take", {}, by="Ida")
    record.add(job.id, "outcome", {"cause": "belt.slip", "cured": True, "closed": True}, by="Ida")
    card = record.job(job.id).card
    assert (card.stage, card.plate, card.cause, card.cured) == ("closed", "K 12", "belt.slip", True)
    assert card.take_count == 1
    closed_at = record.job(job.number).closed_at
    assert closed_at is not None
    record.remove(take.id, by="Ida")
    assert record.job(job.id).card.take_count == 0
    assert record.job(job.id).closed_at == closed_at
    assert [j.id for j in record.jobs(closed=True)] == [job.id]
    assert record.jobs(stages=["listen"]) == []


def test_the_mark_of_what_was_written_last_moves_with_every_write(record: Record) -> None:
    marks = [record.last_written()]
    job = record.new_job([("note", {"words": "a"})], by="Ida").job.id
    marks.append(record.last_written())
    note = record.add(job, "note", {"words": "b"}, by="Ida")
    marks.append(record.last_written())
    record.change(note.id, {"words": "c"}, by="Ida")
    marks.append(record.last_written())
    record.remove(note.id, by="Ida")
    marks.append(record.last_written())
    assert len(set(marks)) == len(marks)
    assert record.last_written() == marks[-1]
