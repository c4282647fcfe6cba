"""The record is read through: damage is named with its job, and what is whole is copied."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest
from proof_jobs import full_job

from beltside.base.errors import InputError
from beltside.casework.shop import Shop, open_shop, sheet_of
from beltside.casework.shop_care import look_through, rescue_into
from beltside.casework.shop_search import search_jobs
from beltside.jobs.database import RecordError


def where(shop: Shop) -> dict[str, str]:
    """How to name the shop's database: its URL, or nothing for the file in its folder."""
    database = shop.record.database
    if database.is_sqlite:
        return {}
    return {"database": database.engine.url.render_as_string(hide_password=False)}


def test_a_whole_record(any_shop: Shop) -> None:
    full_job(any_shop)
    seen: list[float] = []
    found = look_through(
        any_shop.folder, **where(any_shop), progress=lambda _what, share: seen.append(share)
    )
    assert found.checked.problems == ()
    assert found.checked.files == 3
    assert seen == sorted(seen)
    assert found.to_json()["whole"] is True


def test_damage_is_named_with_what_it_is_on_the_job(any_shop: Shop) -> None:
    """One bit turned over in a recording: another SHA-256 (FIPS 180-4, by hashlib)."""
    job = full_job(any_shop)
    take = sheet_of(any_shop, job).of_kind("take")[0]
    path = any_shop.files.path(take.body["file"])
    data = bytearray(path.read_bytes())
    data[17] ^= 1
    path.write_bytes(data)
    assert hashlib.sha256(data).hexdigest() != take.body["file"]
    (problem,) = look_through(any_shop.folder, **where(any_shop)).checked.problems
    assert problem.is_loss
    assert problem.needed_by == ("take before.m4a of job 1",)
    assert take.body["file"][:12] in problem.says
    path.unlink()
    (problem,) = look_through(any_shop.folder, **where(any_shop)).checked.problems
    assert "missing" in problem.says
    assert problem.needed_by == ("take before.m4a of job 1",)


def test_an_entry_changed_behind_the_records_back(any_shop: Shop) -> None:
    job = full_job(any_shop)
    note = any_shop.record.add(job, "note", {"words": "hums"}, by="Ida")
    with any_shop.record.database.writing() as connection:
        connection.exec_driver_sql(
            f"UPDATE entry SET body = '{{\"words\":\"x\"}}' WHERE id = '{note.id}'"
        )
    found = look_through(any_shop.folder, **where(any_shop))
    losses = [one for one in found.checked.problems if one.is_loss]
    assert [one.needed_by for one in losses] == [("note of job 1",)]
    # Put right only what is untidy: the loss stays told.
    again = look_through(any_shop.folder, **where(any_shop), put_right=True)
    assert [one.about for one in again.checked.problems] == ["entry"]


def test_untidy_things_are_put_right(any_shop: Shop) -> None:
    full_job(any_shop)
    with any_shop.record.database.writing() as connection:
        connection.exec_driver_sql("UPDATE term SET jobs = jobs + 3")
        connection.exec_driver_sql("DELETE FROM term_use")
    young, old = (any_shop.files.folder / "arriving" / name for name in ("young", "old"))
    for path in (young, old):
        path.write_bytes(b"half")
    os.utime(old, (1.0, 1.0))
    assert search_jobs(any_shop, "Anneke") == []
    found = look_through(any_shop.folder, **where(any_shop))
    assert found.checked.whole
    assert {one.about for one in found.checked.problems} == {"search", "half-arrived file"}
    found = look_through(any_shop.folder, **where(any_shop), put_right=True)
    assert len(found.put_right) == 2
    assert [(one.about, one.name) for one in found.checked.problems] == [
        ("half-arrived file", "young")
    ]
    assert [line.number for line in search_jobs(any_shop, "Anneke")] == [1]


def test_what_is_whole_is_copied(any_shop: Shop, tmp_path: Path) -> None:
    job = full_job(any_shop)
    hurt = sheet_of(any_shop, job).of_kind("take")[0].body["file"]
    any_shop.files.path(hurt).write_bytes(b"noise")
    saved = rescue_into(tmp_path / "saved", any_shop.folder, **where(any_shop))
    assert (saved.rescued.jobs, saved.rescued.files) == (1, 2)
    assert any(hurt[:12] in says for says in saved.rescued.lost)
    with open_shop(tmp_path / "saved") as new:
        assert sheet_of(new, "1") == sheet_of(any_shop, "1")
    with pytest.raises(InputError, match="not empty"):
        rescue_into(tmp_path / "saved", any_shop.folder, **where(any_shop))


def test_no_record_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no record in"):
        look_through(tmp_path / "nowhere")
    assert not (tmp_path / "nowhere").exists()


def test_a_record_of_another_version_is_left_alone(any_shop: Shop) -> None:
    full_job(any_shop)
    with any_shop.record.database.writing() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
        connection.exec_driver_sql("ALTER TABLE job ADD COLUMN later TEXT")
    with pytest.raises(RecordError, match="newer Beltside"):
        look_through(any_shop.folder, **where(any_shop), put_right=True)
    with any_shop.record.database.writing() as connection:
        connection.exec_driver_sql("DELETE FROM alembic_version")
        connection.exec_driver_sql("DROP TABLE access")
    with pytest.raises(RecordError, match="no record in this database"):
        look_through(any_shop.folder, **where(any_shop))
