"""Threads and processes writing to one job at the same time: nothing lost, no error."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from beltside.jobs.database import Database, open_database
from beltside.jobs.record import Record
from beltside.jobs.store import FolderStore, StoredFile

WRITERS = 6
EACH = 8


def at_once(work: Callable[[int], object]) -> list[object]:
    gate = threading.Barrier(WRITERS)

    def start(number: int) -> object:
        gate.wait(60)
        return work(number)

    with ThreadPoolExecutor(WRITERS) as threads:
        return list(threads.map(start, range(WRITERS)))


def test_many_add_to_one_job(database: Database) -> None:
    record = Record(database)
    job = record.new_job(by="Ida").job

    def write(number: int) -> None:
        own = Record(database)
        for count in range(EACH):
            own.add(job.id, "note", {"words": f"{number} {count}"}, by=f"writer {number}")

    at_once(write)
    sheet = record.sheet(job.id)
    words = [entry.body["words"] for entry in sheet.entries]
    assert sorted(words) == sorted(f"{n} {c}" for n in range(WRITERS) for c in range(EACH))
    assert sheet.job.change == 1 + WRITERS * EACH


def test_many_change_one_entry(database: Database) -> None:
    """Each fills a field of his own, from the version he last saw: at the end all are filled."""
    record = Record(database)
    job = record.new_job(by="Ida").job
    made = record.add(job.id, "car", {"all": 0}, by="Ida")

    def write(number: int) -> None:
        own = Record(database)
        seen = made
        for count in range(EACH):
            body = {**seen.body, f"field {number}": count, "all": number * 100 + count}
            seen = own.change(made.id, body, by=f"writer {number}", based_on=seen.version).entry

    at_once(write)
    body = record.entry(made.id).body
    assert {name: body[name] for name in body if name != "all"} == {
        f"field {number}": EACH - 1 for number in range(WRITERS)
    }
    # What stood in the field all of them wrote is in the history, whoever came last.
    history = record.history(made.id)
    assert {one.body["all"] for one in history} >= {
        number * 100 + count for number in range(WRITERS) for count in range(EACH)
    }
    assert [one.version for one in history] == list(range(1, len(history) + 1))


def test_the_same_form_sent_by_many(database: Database) -> None:
    def send(_: int) -> tuple[int, str]:
        own = Record(database)
        job = own.new_job([("note", {"words": "a"})], by="Ida", job_id="j1").job
        own.add("j1", "finding", {"check": "wiggle"}, by="Ida", entry_id="f1")
        own.add(None, "setting", {"name": "language"}, by="Ida", entry_id="s1")
        own.keep_file(StoredFile("a" * 64, 3), "audio/mp4")
        return job.number, own.new_job(by="Ida").job.id

    answers = at_once(send)
    assert {number for number, _ in answers} == {1}  # type: ignore[misc]
    record = Record(database)
    assert [entry.kind for entry in record.sheet("j1").entries] == ["note", "finding"]
    assert sorted(job.number for job in record.jobs()) == list(range(1, WRITERS + 2))
    assert len(record.shop_entries("setting")) == 1


def test_the_same_file_stored_by_many(tmp_path: Path) -> None:
    store = FolderStore(tmp_path)
    stored = at_once(lambda number: store.put([b"sound" * 1000] * 20, most_bytes=10**6).sha256)
    assert list(store.names()) == [stored[0]]
    assert set(stored) == {store.digest(str(stored[0]))}
    assert not list((tmp_path / "arriving").iterdir())


PROCESS = """
import json, sys
from pathlib import Path
from beltside.jobs.database import open_database
from beltside.jobs.record import Record

address, job_id, number, count = json.loads(sys.argv[1])
address = address if address.startswith("postgresql") else Path(address)
with open_database(address) as database:
    record = Record(database)
    print("ready", flush=True)
    input()
    for step in range(count):
        made = record.add(job_id, "note", {"words": f"{number} {step}"}, by=f"process {number}")
        print(made.id, flush=True)
"""


def test_processes_one_of_them_killed(address: Path | str) -> None:
    """What was acknowledged before a process was killed is there, whole; the others go on."""
    with open_database(address) as database:
        job = Record(database).new_job(by="Ida").job
    children = [
        subprocess.Popen(
            [sys.executable, "-c", PROCESS, json.dumps([str(address), job.id, number, count])],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for number, count in enumerate((15, 15, 100_000))
    ]
    for child in children:
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
    for child in children:
        assert child.stdin is not None
        child.stdin.write("\n")
        child.stdin.flush()
    doomed = children[-1]
    assert doomed.stdout is not None
    acknowledged = [doomed.stdout.readline().strip() for _ in range(5)]
    doomed.kill()
    acknowledged += doomed.communicate()[0].split()
    for child in children[:-1]:
        said, _ = child.communicate(timeout=120)
        assert child.returncode == 0
        acknowledged += said.split()
    with open_database(address) as database:
        record = Record(database)
        there = {entry.id: entry for entry in record.sheet(job.id).entries}
        assert {name for name in acknowledged if len(name) == 24} <= set(there)
        by = [entry.by for entry in there.values()]
        assert (by.count("process 0"), by.count("process 1")) == (15, 15)
        assert record.job(job.id).change == 1 + len(there)
        assert len(record.changes(job.id)) == len(there)
