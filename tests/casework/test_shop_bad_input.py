"""What can go wrong around a job: wrong kinds of file, the same file twice, a full disk, a folder
that may only be read, a record of a newer version. Each is told clearly, and nothing is lost.

A full disk is what the system says (ENOSPC, POSIX.1-2017) when bytes are written out, at the lowest
layer that Beltside reaches; tests/jobs/test_database.py fills a real small disk. Root may write
everywhere, so read-only folders are tried there by a child process that gives its rights up; here
the system's answer (EROFS) is put in its place.
"""

from __future__ import annotations

import errno
import json
import os
import zipfile
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from proof_jobs import PNG, full_job

from beltside.base.errors import BeltsideError, RecordingError
from beltside.casework.shop import Shop, keep, open_shop, sheet_of, write
from beltside.casework.shop_care import look_through
from beltside.casework.shop_jobs import close_job, new_job
from beltside.casework.shop_notes import add_note, add_photo
from beltside.casework.shop_takes import add_take
from beltside.casework.shop_transfer import export_jobs, import_jobs
from beltside.jobs.check import verify
from beltside.jobs.database import RecordError
from beltside.jobs.store import StoreError

SOUND = b"\0\0\0\x18ftypM4A \0\0\0\0" + bytes(range(256)) * 40
"""Begins as an MP4 file does (ISO/IEC 14496-12, section 4.3); nobody listens to it here."""


def whole(shop: Shop) -> bool:
    """Nothing is lost, damaged, half arrived or out of step."""
    return verify(shop.record.database, shop.files).problems == ()


# Wrong kinds of file ------------------------------------------------------------------------------

WRONG_KINDS = [
    (b"", "an empty file"),
    (b"Only words. " * 30, "text"),
    (PNG, "picture"),
    (b"%PDF-1.7\n" + b"\0" * 300, "PDF"),
    (b"PK\x03\x04" + b"\0" * 300, "archive"),
]


@pytest.mark.parametrize(("data", "says"), WRONG_KINDS, ids=[says for _, says in WRONG_KINDS])
def test_what_is_no_recording_is_refused_by_what_it_is(
    any_shop: Shop, data: bytes, says: str
) -> None:
    job = full_job(any_shop)
    before = any_shop.record.changes(job)
    files = list(any_shop.files.names())
    with pytest.raises(RecordingError, match=f"(?i){says}.*no recording"):
        add_take(any_shop, job, [data], {"belt": "on"})
    assert any_shop.record.changes(job) == before
    assert list(any_shop.files.names()) == files
    assert whole(any_shop)


def test_what_is_no_picture_is_refused(any_shop: Shop) -> None:
    job = full_job(any_shop)
    files = list(any_shop.files.names())
    with pytest.raises(BeltsideError, match=r"pump\.jpg is no picture"):
        add_photo(any_shop, job, [SOUND], {"name": "pump.jpg"})
    assert list(any_shop.files.names()) == files
    assert whole(any_shop)


# The same file twice ------------------------------------------------------------------------------


def test_the_same_recording_again_is_told_and_stored_once(any_shop: Shop) -> None:
    job = new_job(any_shop, {"words": "hums"})[0].job.id
    first = add_take(any_shop, job, [SOUND], {"name": "a.m4a"})
    again = add_take(any_shop, job, [SOUND[:100], SOUND[100:]], {"name": "b.m4a"})
    assert (first.same_as, again.same_as) == ("", "a.m4a")
    assert list(any_shop.files.names()) == [first.entry.body["file"]]
    # The same form sent again, after a lost link, is one take.
    sent = [add_take(any_shop, job, [SOUND], {}, entry_id="phone-7") for _ in range(2)]
    assert sent[0].entry.id == sent[1].entry.id == "phone-7"
    assert len(sheet_of(any_shop, job).of_kind("take")) == 3
    # One of them taken off: the recording stays for the others.
    any_shop.record.remove(first.entry.id, by="Ida")
    assert any_shop.files.path(again.entry.body["file"]).read_bytes() == SOUND
    assert whole(any_shop)


# A full disk, and one that may only be read -------------------------------------------------------


def answered(number: int) -> Any:
    def fail(*_: Any, **__: Any) -> None:
        raise OSError(number, os.strerror(number))

    return fail


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EDQUOT, errno.EIO])
def test_no_room_for_a_file(any_shop: Shop, monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    """The take is not kept, the job is as it was; with room again the same succeeds."""
    job = full_job(any_shop)
    before = any_shop.record.changes(job)
    files = list(any_shop.files.names())
    with monkeypatch.context() as full:
        full.setattr(os, "fsync", answered(number))
        with pytest.raises(StoreError, match="cannot be kept") as told:
            add_take(any_shop, job, [SOUND], {"belt": "on"})
        assert os.strerror(number) in str(told.value)
        assert "room on the disk" in str(told.value)
    assert any_shop.record.changes(job) == before
    assert list(any_shop.files.names()) == files
    assert not list((any_shop.files.folder / "arriving").iterdir())
    assert whole(any_shop)
    assert add_take(any_shop, job, [SOUND], {"belt": "on"}).problems == {}
    assert whole(any_shop)


def test_no_room_in_the_database(tmp_path: Path) -> None:
    """SQLite's own limit of pages gives its answer of a full disk (sqlite.org, max_page_count)."""
    with open_shop(tmp_path, by="Ida") as shop:
        job = full_job(shop)
        before = shop.record.changes(job)
        engine = shop.record.database.engine
        with engine.connect() as connection:
            pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()

        def no_more_pages(connection: Any, _record: Any) -> None:
            connection.execute(f"PRAGMA max_page_count = {pages}")

        engine.dispose()
        sa.event.listen(engine, "connect", no_more_pages)
        said = ""
        for _ in range(50):
            before = shop.record.changes(job)
            try:
                add_note(shop, job, "howls " * 2000)
            except RecordError as error:
                said = str(error)
                break
        assert "disk is full; nothing was changed" in said
        sa.event.remove(engine, "connect", no_more_pages)
        engine.dispose()
        assert shop.record.changes(job) == before, "what was acknowledged is there, nothing more"
        assert whole(shop)
        add_note(shop, job, "room again")
        assert whole(shop)


def test_no_room_for_an_export(
    any_shop: Shop, tmp_path: Path, small_disk: Path | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Onto a file system of 2 MB, where this user may make one; else as one would answer."""
    job = full_job(any_shop)
    photo = keep(any_shop, [PNG + os.urandom(3_000_000)], media_type="image/png").sha256
    write(any_shop, job, "photo", {"file": photo}, files=[photo])
    out = small_disk or tmp_path / "out"
    out.mkdir(exist_ok=True)
    with monkeypatch.context() as full:
        if small_disk is None:
            full.setattr(zipfile.ZipFile, "open", answered(errno.ENOSPC))
        with pytest.raises(BeltsideError, match=r"all\.zip can't be written") as told:
            export_jobs(any_shop, out / "all.zip")
    assert os.strerror(errno.ENOSPC) in str(told.value)
    assert "with room on its disk" in str(told.value)
    assert not list(out.iterdir()), "no half zip is left behind"
    assert export_jobs(any_shop, tmp_path / "all.zip").jobs == 1


def test_learning_has_no_room(any_shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """The job is closed all the same; that it was not learned from is told."""
    job = full_job(any_shop)
    with monkeypatch.context() as full:
        full.setattr(os, "fsync", answered(errno.ENOSPC))
        closed = close_job(any_shop, job, {"cause": "coolant-pump.bearing", "cured": True})
    assert closed.not_learned
    outcome = sheet_of(any_shop, job).newest("outcome")
    assert outcome is not None
    assert outcome.body["closed"] is True


# A record of a newer version ----------------------------------------------------------------------


def test_a_newer_record_is_left_alone_by_every_way_in(any_shop: Shop, tmp_path: Path) -> None:
    job = full_job(any_shop)
    export_jobs(any_shop, tmp_path / "all.zip")
    database = any_shop.record.database
    url = None if database.is_sqlite else database.engine.url.render_as_string(hide_password=False)
    before = any_shop.record.changes(job)
    with database.writing() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    for _ in range(2):
        with (
            pytest.raises(RecordError, match=r"newer Beltside.*the newer Beltside"),
            open_shop(any_shop.folder, database=url),
        ):
            pass
    # Its tables are those of this version after all: only the note is off, and check says so.
    looked = look_through(any_shop.folder, database=url)
    assert [one.name for one in looked.checked.problems] == ["alembic_version"]
    with database.writing() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0001'")
    assert any_shop.record.changes(job) == before


def test_an_export_of_a_newer_format_is_refused(any_shop: Shop, tmp_path: Path) -> None:
    full_job(any_shop)
    export_jobs(any_shop, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as zipped:
        parts = {name: zipped.read(name) for name in zipped.namelist()}
    index = json.loads(parts["export.json"])
    parts["export.json"] = json.dumps({**index, "format": "beltside export 9"}).encode()
    with zipfile.ZipFile(tmp_path / "newer.zip", "w") as out:
        for name, data in parts.items():
            out.writestr(name, data)
    before = len(any_shop.record.jobs())
    with pytest.raises(BeltsideError, match="format"):
        import_jobs(any_shop, tmp_path / "newer.zip")
    assert len(any_shop.record.jobs()) == before


def test_one_wrong_field_among_many_keeps_the_rest(any_shop: Shop) -> None:
    job = new_job(any_shop, {"words": "hums"})[0].job.id
    typed = {"belt": "sideways", "crank_rpm": 20, "place": "alternator", "load": ["lights"]}
    added = add_take(any_shop, job, [SOUND], typed)
    assert set(added.problems) == {"belt", "crank_rpm"}
    assert '"sideways". Allowed: "on", "off", "unknown"' in added.problems["belt"]
    assert "300 to 8000" in added.problems["crank_rpm"]
    assert added.entry.body["place"] == "alternator"
    assert added.entry.body["load"] == ["lights"]
    with pytest.raises(BeltsideError, match="words"):
        write(any_shop, job, "note", {"words": " "})
