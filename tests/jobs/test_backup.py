"""Backups: written while others write, incremental, read back; put back row by row, byte by byte.

Truth is the record itself, read by plain SQL of each database, and the files' own bytes.
"""

from __future__ import annotations

import base64
import gzip
import json
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
from alembic.script import ScriptDirectory

from beltside.base.errors import BeltsideError, InputError
from beltside.jobs.backup import BackedUp, OwnFile, back_up
from beltside.jobs.backup_key import MOST_N, PassphraseError, new_key, seal, unseal
from beltside.jobs.backup_target import BackupError, Target, open_target
from beltside.jobs.check import verify
from beltside.jobs.database import (
    MIGRATIONS,
    Database,
    RecordError,
    connect,
    migrate,
    open_database,
)
from beltside.jobs.queue import Queue
from beltside.jobs.record import Record
from beltside.jobs.restoring import Restored, restore
from beltside.jobs.search import Search
from beltside.jobs.store import FolderStore

NAMES = ("shop.db", "files")
REVISIONS = [step.revision for step in ScriptDirectory(str(MIGRATIONS)).walk_revisions()]


@pytest.fixture
def store(tmp_path: Path) -> FolderStore:
    return FolderStore(tmp_path / "shop-files")


@pytest.fixture
def target(tmp_path: Path) -> Target:
    return open_target(tmp_path / "backups", make=True)


def fill(database: Database, store: FolderStore, jobs: int = 3) -> list[str]:
    """Something in every table, a file for each job, names that no ASCII holds."""
    record = Record(database)
    names = []
    for number in range(jobs):
        stored = store.put([f"sound {number}".encode() * 5000], most_bytes=100_000)
        record.keep_file(stored, "audio/mp4")
        owner = {"name": f"Åsa Lind {number} \ud83d", "note": "na\u0000ught"}
        job = record.new_job([("owner", owner)], by="Ida", job_id=f"j{number}").job
        record.add(job.id, "take", {"file": stored.sha256}, by="Ida", entry_id=f"t{number}")
        note = record.add(job.id, "note", {"words": "hums"}, by="Ida")
        record.change(note.id, {"words": "howls"}, by="Per")
        record.change(note.id, {"words": "growls"}, by="Jo", based_on=1)
        Queue(database).ask("listen", 1, stored.sha256, {"drive": number}, job_id=job.id)
        names.append(stored.sha256)
    record.add(None, "setting", {"name": "language", "value": "de"}, by="Ida")
    return names


def rows(database: Database) -> dict[str, list[Any]]:
    """Every row of every table as plain SQL gives it."""
    with database.engine.connect() as connection:
        found = {}
        for name in sa.inspect(connection).get_table_names():
            query = sa.text(f"SELECT * FROM {name}")
            lines = [
                [bytes(one) if isinstance(one, memoryview) else one for one in row]
                for row in connection.execute(query)
            ]
            # One of the databases has whole numbers for yes and no.
            found[name] = sorted(
                repr([int(v) if isinstance(v, bool) else v for v in line]) for line in lines
            )
        return found


def back(target: Target, done: BackedUp, folder: Path, database: str | None = None) -> Restored:
    return restore(target, done.catalogue, folder, database=database, names=NAMES)


def test_row_by_row_and_byte_by_byte(
    database: Database, store: FolderStore, target: Target, tmp_path: Path
) -> None:
    names = fill(database, store)
    own = tmp_path / "costs.toml"
    own.write_text("[money]\n")
    done = back_up(database, store, target, own=[OwnFile("costs.toml", own)])
    assert (done.jobs, done.entries, done.files, done.new_files) == (3, 10, 3, 4)
    restored = back(target, done, tmp_path / "again")
    assert (restored.jobs, restored.entries, restored.files, restored.missing) == (3, 10, 3, ())
    assert (tmp_path / "again" / "costs.toml").read_bytes() == own.read_bytes()
    files = FolderStore(tmp_path / "again" / "files")
    assert list(files.names()) == sorted(names)
    for name in names:
        assert files.path(name).read_bytes() == store.path(name).read_bytes()
    with open_database(tmp_path / "again" / "shop.db") as there:
        assert rows(there) == rows(database)
        assert verify(there, files).problems == ()
        assert Search(there).find("growls")[0].job_id
        assert Record(there).new_job(by="Ida").job.number == 4
    assert not [one for one in tmp_path.iterdir() if "restoring" in one.name]
    assert list((target.folder / "arriving").iterdir()) == []


@pytest.mark.parametrize("to_server", [True, False])
def test_onto_the_other_kind_of_database(
    server: Any, store: FolderStore, target: Target, tmp_path: Path, to_server: bool
) -> None:
    url = server.give()
    with open_database(tmp_path / "a.db" if to_server else url) as database:
        fill(database, store)
        done = back_up(database, store, target)
        other = server.give() if to_server else None
        back(target, done, tmp_path / "again", other)
        with open_database(other or tmp_path / "again" / "shop.db") as there:
            assert rows(there) == rows(database)
            assert verify(there, FolderStore(tmp_path / "again" / "files")).problems == ()
        if to_server:
            assert not (tmp_path / "again" / "shop.db").exists()
            # Into a database that holds a shop nothing is put.
            with pytest.raises(InputError, match="holds something"):
                back(target, done, tmp_path / "third", other)
            assert not (tmp_path / "third").exists()
            server.take_back(other)
    server.take_back(url)


def test_the_second_copies_new_files_only(
    database: Database, store: FolderStore, target: Target, tmp_path: Path
) -> None:
    fill(database, store)
    first = back_up(database, store, target)
    stored = store.put([b"one more"], most_bytes=100)
    record = Record(database)
    record.keep_file(stored, "audio/mp4")
    record.add("j1", "take", {"file": stored.sha256}, by="Ida", entry_id="t9")
    before = rows(database)
    second = back_up(database, store, target)
    assert (second.new_files, second.new_bytes, second.files) == (1, 8, 4)
    record.add("j1", "note", {"words": "later"}, by="Ida")
    # Either of them can be put back, each as it was.
    back(target, first, tmp_path / "one")
    back(target, second, tmp_path / "two")
    with open_database(tmp_path / "two" / "shop.db") as there:
        assert rows(there) == before
    with open_database(tmp_path / "one" / "shop.db") as there:
        assert "t9" not in {entry.id for entry in Record(there).sheet("j1").entries}


def test_others_write_meanwhile(
    database: Database, store: FolderStore, target: Target, tmp_path: Path
) -> None:
    """A job is written whole in one transaction: a backup holds it whole or not at all."""
    fill(database, store)
    stop = threading.Event()
    acknowledged: list[str] = []

    def write() -> None:
        record = Record(database)
        while not stop.is_set():
            notes = [("note", {"words": f"hum {n}"}) for n in range(5)]
            acknowledged.append(record.new_job(notes, by="Per").job.id)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        while len(acknowledged) < 3:
            pass
        before = list(acknowledged)
        done = back_up(database, store, target)
        between = len(acknowledged)
        while len(acknowledged) < between + 2:
            pass
    finally:
        stop.set()
        writer.join()
    back(target, done, tmp_path / "again")
    with open_database(tmp_path / "again" / "shop.db") as there:
        jobs = {job.id for job in Record(there).jobs(limit=10_000)}
        assert set(before) <= jobs
        for name in jobs - {"j0", "j1", "j2"}:
            assert len(Record(there).sheet(name).entries) == 5
        assert verify(there, FolderStore(tmp_path / "again" / "files")).whole


def test_a_folder_that_is_not_empty(
    database: Database, store: FolderStore, target: Target, tmp_path: Path
) -> None:
    fill(database, store)
    done = back_up(database, store, target)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter").write_text("mine")
    with pytest.raises(InputError, match="not empty"):
        back(target, done, tmp_path / "mine")
    assert [one.name for one in (tmp_path / "mine").iterdir()] == ["letter"]
    with pytest.raises(InputError, match="no folder"):
        back(target, done, tmp_path / "mine" / "letter")
    with pytest.raises(InputError, match="other things"):
        open_target(tmp_path / "mine", make=True)
    (tmp_path / "empty").mkdir()
    assert back(target, done, tmp_path / "empty").jobs == 3


def test_an_older_record_is_carried_over(
    store: FolderStore, target: Target, tmp_path: Path
) -> None:
    """A backup made by every earlier version of the tables."""
    for revision in REVISIONS:
        with connect(tmp_path / f"{revision}.db") as old:
            migrate(old, "head")
            Record(old).new_job([("owner", {"name": "Berg"})], by="Ida", job_id="j1")
            migrate(old, revision)
            done = back_up(old, store, target)
            assert _lines(done.catalogue)[0]["revision"] == revision
        back(target, done, tmp_path / f"from-{revision}")
        with open_database(tmp_path / f"from-{revision}" / "shop.db") as there:
            (entry,) = Record(there).sheet("j1").entries
            assert entry.body == {"name": "Berg"}


def _lines(path: Path) -> list[Any]:
    return [json.loads(line) for line in gzip.decompress(path.read_bytes()).splitlines()]


def test_a_newer_record_is_refused(
    database: Database, store: FolderStore, target: Target, tmp_path: Path
) -> None:
    fill(database, store)
    done = back_up(database, store, target)
    change(done.catalogue, lambda text: text.replace(b'"revision":"', b'"revision":"9', 1))
    with pytest.raises((RecordError, BackupError), match="newer Beltside"):
        back(target, done, tmp_path / "again")
    change(done.catalogue, lambda text: text.replace(b'"version":1', b'"version":2', 1))
    with pytest.raises(BackupError, match="newer Beltside"):
        back(target, done, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def change(path: Path, how: Callable[[bytes], bytes]) -> None:
    text = how(gzip.decompress(path.read_bytes()))
    path.write_bytes(gzip.compress(text))


def test_damage_is_told_and_nothing_left(
    database: Database, store: FolderStore, target: Target, tmp_path: Path
) -> None:
    names = fill(database, store)
    done = back_up(database, store, target)
    whole = done.catalogue.read_bytes()
    hurts: list[Callable[[bytes], bytes]] = [
        lambda data: data[: len(data) // 2],
        lambda data: data[:-1],
        lambda data: b"",
        lambda data: b"something else",
        lambda data: gzip.compress(gzip.decompress(data).replace(b"howls", b"purrs")),
        lambda data: data + gzip.compress(b"[1]\n"),
        lambda data: gzip.compress(b"[" * 100_000 + b"\n"),
    ]
    for hurt in hurts:
        done.catalogue.write_bytes(hurt(whole))
        with pytest.raises(BackupError, match="damaged"):
            back(target, done, tmp_path / "again")
        assert not (tmp_path / "again").exists()
    done.catalogue.write_bytes(whole)
    # A file that is damaged or gone costs itself only.
    target.place(names[0]).write_bytes(b"noise")
    target.place(names[1]).unlink()
    restored = back(target, done, tmp_path / "again")
    assert set(restored.missing) == set(names[:2])
    assert restored.files == 1
    # The next backup copies what is not there again.
    assert back_up(database, store, target).new_files == 2


def test_any_flipped_bit_of_the_rows_is_told(target: Target, tmp_path: Path) -> None:
    """Wherever it is: what it makes of a table's name, a row or the version is not believed."""
    with open_database(tmp_path / "shop.db") as database:
        fill(database, FolderStore(tmp_path / "store"))
        done = back_up(database, FolderStore(tmp_path / "store"), target)
    whole = done.catalogue.read_bytes()
    rows = whole.index(b"\x1f\x8b", 10)  # where the next member begins (RFC 1952, section 2.3.1)
    for place in np.random.default_rng(1).integers(10, rows, 60):
        done.catalogue.write_bytes(whole[:place] + bytes([whole[place] ^ 4]) + whole[place + 1 :])
        with pytest.raises(BackupError, match="damaged"):
            back(target, done, tmp_path / "again")
        assert not (tmp_path / "again").exists()


def test_damaged_files_of_the_shop(
    database: Database, store: FolderStore, target: Target, tmp_path: Path
) -> None:
    gone, hurt, _ = fill(database, store)
    store.path(gone).unlink()
    size = store.path(hurt).stat().st_size
    store.path(hurt).write_bytes(b"n" * size)
    done = back_up(database, store, target)
    assert (done.missing, done.damaged, done.files) == ((gone,), (hurt,), 1)
    restored = back(target, done, tmp_path / "again")
    assert set(restored.missing) == {gone, hurt}


def test_damaged_rows_are_backed_up_and_told(
    database: Database, store: FolderStore, target: Target, tmp_path: Path
) -> None:
    """What is damaged in the record stands in the backup as it is, and is said both times."""
    fill(database, store)
    assert back_up(database, store, target).damaged_rows == ()
    with database.writing() as connection:
        connection.exec_driver_sql("UPDATE entry SET by = 'Idb' WHERE kind = 'owner'")
        if database.is_sqlite:
            # A letter that is none: a byte C3 that nothing of UTF-8 follows.
            connection.exec_driver_sql(
                "UPDATE entry_version SET by = CAST(x'49c361' AS TEXT) WHERE version = 2"
            )
    done = back_up(database, store, target)
    entries = [says for says in done.damaged_rows if says.startswith("The owner")]
    assert len(entries) == done.jobs
    assert "is damaged: its checksum is another; it is the owner ?sa Lind 0" in entries[0]
    assert done.to_json()["damaged_rows"] == list(done.damaged_rows)
    again = restore(target, done.catalogue, tmp_path / "again", database=None, names=NAMES)
    assert len(again.damaged) == len(done.damaged_rows)
    assert len(done.damaged_rows) > len(entries) or not database.is_sqlite


def test_two_at_once_and_what_a_killed_one_left(
    database: Database, store: FolderStore, target: Target
) -> None:
    fill(database, store)
    (target.folder / "arriving").mkdir(exist_ok=True)
    half = target.folder / "arriving" / "half"
    half.write_bytes(b"ha")
    with target.alone(), pytest.raises(BackupError, match="Another backup"):
        back_up(database, store, target)
    assert back_up(database, store, target).files == 3
    # It may be another's that is still going on; a day later it is not.
    assert half.exists()
    import os

    os.utime(half, (0, 0))
    back_up(database, store, target)
    assert not half.exists()


# Encrypted ----------------------------------------------------------------------------------------


def test_encrypted(database: Database, store: FolderStore, tmp_path: Path) -> None:
    names = fill(database, store)
    folder = tmp_path / "sealed"
    asked: list[bool] = []

    def passphrase(new: bool) -> str:
        asked.append(new)
        return "grüne Riemen laufen leise"

    target = open_target(folder, passphrase=passphrase, make=True, encrypt=True)
    done = back_up(database, store, target)
    again = open_target(folder, passphrase=passphrase, make=True)
    second = back_up(database, store, again)
    assert (done.new_files, second.new_files, asked) == (3, 0, [True, False])
    # Nothing of what is in it can be read, not even the hashes of files.
    held = b"".join(one.read_bytes() for one in sorted(folder.rglob("*")) if one.is_file())
    held += " ".join(str(one) for one in folder.rglob("*")).encode()
    for text in (b"Lind", b"howls", b"sound 1", b"stored_file", *(name.encode() for name in names)):
        assert text not in held
    restored = back(again, second, tmp_path / "again")
    assert restored.missing == ()
    with open_database(tmp_path / "again" / "shop.db") as there:
        assert rows(there) == rows(database)
    # One letter of a file or a catalogue is another.
    hurt = bytearray(again.place(names[0]).read_bytes())
    hurt[len(hurt) // 2] ^= 1
    again.place(names[0]).write_bytes(hurt)
    assert back(again, second, tmp_path / "third").missing == (names[0],)
    hurt = bytearray(second.catalogue.read_bytes())
    hurt[len(hurt) // 2] ^= 1
    second.catalogue.write_bytes(hurt)
    with pytest.raises(BeltsideError, match="damaged"):
        back(again, second, tmp_path / "fourth")
    assert not (tmp_path / "fourth").exists()


def test_a_wrong_passphrase(tmp_path: Path) -> None:
    folder = tmp_path / "sealed"
    open_target(folder, passphrase=lambda new: "quiet belts run true", make=True, encrypt=True)
    with pytest.raises(PassphraseError, match="does not open"):
        open_target(folder, passphrase=lambda new: "Quiet belts run true", make=False)
    with pytest.raises(InputError, match="passphrase"):
        open_target(folder, make=False)
    (folder / "key.json").unlink()
    with pytest.raises(BackupError, match="Without it nothing opens"):
        open_target(folder, passphrase=lambda new: "quiet belts run true", make=False)
    with pytest.raises(InputError, match="7 characters"):
        open_target(tmp_path / "b", passphrase=lambda new: "short12", make=True, encrypt=True)
    open_target(tmp_path / "plain", make=True)
    with pytest.raises(InputError, match="not encrypted"):
        open_target(tmp_path / "plain", passphrase=lambda new: "x" * 9, make=True, encrypt=True)


def test_the_key_is_sealed_by_standard_parts() -> None:
    """scrypt by the standard library (OpenSSL), RFC 7914, opens what the package sealed."""
    import hashlib

    from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

    key = new_key()
    sealed = json.loads(seal(key, "quiet belts"))
    ways = sealed["scrypt"]
    derived = hashlib.scrypt(
        b"quiet belts",
        salt=base64.b64decode(ways["salt"]),
        n=ways["n"],
        r=ways["r"],
        p=ways["p"],
        maxmem=1 << 28,
        dklen=32,
    )
    plain = ChaCha20Poly1305(derived).decrypt(
        base64.b64decode(sealed["nonce"]),
        base64.b64decode(sealed["sealed"]),
        b"beltside-backup-key",
    )
    assert json.loads(plain)["identity"] == key.identity


@pytest.mark.parametrize(
    "hurt",
    [
        lambda content: {**content, "scrypt": {**content["scrypt"], "n": MOST_N * 2}},
        lambda content: {**content, "scrypt": {**content["scrypt"], "n": 1000}},
        lambda content: {**content, "scrypt": {**content["scrypt"], "r": 10**6}},
        lambda content: {**content, "version": 2},
        lambda content: {**content, "nonce": "AAAA"},
        lambda content: {"format": "x"},
        lambda content: [],
    ],
)
def test_a_key_file_that_asks_for_too_much(hurt: Callable[[Any], Any]) -> None:
    content = json.loads(seal(new_key(), "quiet belts"))
    with pytest.raises(InputError, match="damaged"):
        unseal(json.dumps(hurt(content)).encode(), "quiet belts")


# Disk full, read only -----------------------------------------------------------------------------


def test_the_disk_is_full(small_disk: Path | None, store: FolderStore, tmp_path: Path) -> None:
    """A file system of 2 MB, where this user may make one; else one that says it has no room."""
    with open_database(tmp_path / "shop.db") as database:
        fill(database, store)
        large = store.put([bytes(4_000_000)], most_bytes=10_000_000)
        Record(database).keep_file(large, "audio/wav")
        folder = (small_disk or tmp_path) / "backups"
        target = open_target(folder, make=True)
        if small_disk:
            with pytest.raises(BackupError, match="MB left; nothing was written"):
                back_up(database, store, target)
            assert target.catalogues() == []
            # It fills up while it is written: nothing half is left.
            with (
                pytest.raises(OSError, match="No space"),
                store.path(large.sha256).open("rb") as file,
            ):
                target.keep(large.sha256, file)
            assert list(target.held()) == []
            assert list((folder / "arriving").iterdir()) == []
            whole = open_target(tmp_path / "else", make=True)
            done = back_up(database, store, whole)
            with pytest.raises(BackupError, match="can't be put back"):
                back(whole, done, small_disk / "again")
            assert not [one for one in small_disk.iterdir() if "again" in one.name]
        else:
            assert back_up(database, store, target).files == 4


def test_a_mounted_folder_is_said_so(
    small_disk: Path | None, database: Database, store: FolderStore, target: Target
) -> None:
    """The top of a disk can't be exchanged in one step."""
    if small_disk is None:
        return
    fill(database, store)
    done = back_up(database, store, target)
    with pytest.raises(BackupError, match="not the top of a disk"):
        back(target, done, small_disk)
    assert list(small_disk.iterdir()) == []
