"""The record keeps all that was ever written, and joins what two people write at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from beltside.jobs.database import Database, RecordError, migrate, open_database
from beltside.jobs.reading import MissingError
from beltside.jobs.record import Record


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


def test_a_record_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    with open_database(path) as database, database.writing() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(RecordError, match="newer Beltside"):
        open_database(path)


def test_tables_go_down_and_up_again(database: Database) -> None:
    migrate(database, "base")
    migrate(database, "head")
    assert Record(database).new_job(by="Ida").job.number == 1


def test_a_file_that_is_no_record_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    path.write_bytes(b"no database at all, but long enough to look at" * 100)
    with pytest.raises(RecordError, match="no record"):
        open_database(path)
