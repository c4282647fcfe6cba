"""Work is asked for once and done once, whoever dies over it."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from beltside.base.errors import InputError
from beltside.jobs.database import Database, open_database
from beltside.jobs.queue import Queue
from beltside.jobs.reading import MissingError
from beltside.jobs.record import Record
from beltside.jobs.workers import Workers

sys.path.insert(0, str(Path(__file__).parent))

import worker_tasks

FILE = "a" * 64


class Clock:
    def __init__(self) -> None:
        self.now = datetime(2026, 5, 4, 8, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(milliseconds=1)
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def queue(database: Database, clock: Clock) -> Queue:
    return Queue(database, now=clock)


def test_the_same_asked_twice_is_one(queue: Queue) -> None:
    first = queue.ask("listen", 1, FILE, {"rpm": 760, "belt": "on"})
    assert queue.ask("listen", 1, FILE, {"belt": "on", "rpm": 760}) == first
    others = {
        queue.ask("listen", 2, FILE, {"rpm": 760, "belt": "on"}),
        queue.ask("listen", 1, "b" * 64, {"rpm": 760, "belt": "on"}),
        queue.ask("listen", 1, FILE, {"rpm": 760.0, "belt": "on"}),
        queue.ask("envelope", 1, FILE, {"rpm": 760, "belt": "on"}),
    }
    assert len(others | {first}) == 5
    assert queue.open_count() == 5


def test_from_asked_to_done(queue: Queue, database: Database) -> None:
    job = Record(database).new_job(by="Ida").job
    name = queue.ask("listen", 1, FILE, {"rpm": 760}, job.id)
    work = queue.claim("w1")
    assert work is not None
    assert (work.id, work.state, work.attempt, work.settings) == (name, "running", 1, {"rpm": 760})
    assert queue.claim("w2") is None
    assert queue.progress(work, 40.6, "listening")
    now = queue.get(name)
    assert (now.percent, now.doing, now.worker) == (40, "listening", "w1")
    assert queue.finish(work, {"rpm": [1, 2.5]})
    done = queue.get(name)
    assert (done.state, done.percent, done.result) == ("done", 100, {"rpm": [1, 2.5]})
    assert done.started_at is not None
    assert done.ended_at is not None
    assert done.asked_at < done.started_at < done.ended_at
    # A finished one is given back, not begun again.
    assert queue.ask("listen", 1, FILE, {"rpm": 760}) == name
    assert queue.claim("w1") is None
    assert queue.of_job(job.id) == queue.of_subjects([FILE]) == [done]


def test_a_new_version_is_another_and_the_old_result_stays(queue: Queue) -> None:
    assert queue.result("listen", FILE, {}) is None
    for version in (1, 2):
        queue.ask("listen", version, FILE, {})
        work = queue.claim("w")
        assert work is not None
        queue.finish(work, {"version": version})
    queue.ask("listen", 3, FILE, {})
    newest = queue.result("listen", FILE, {})
    assert newest is not None
    assert newest.result == {"version": 2}
    assert [one.result for one in queue.of_subjects([FILE])] == [
        {"version": 1},
        {"version": 2},
        None,
    ]


def test_what_waits_longest_is_next_and_only_known_methods(queue: Queue) -> None:
    names = [queue.ask(method, 1, FILE, {}) for method in ("a", "b", "c")]
    taken = [queue.claim("w", ["c", "b"]), queue.claim("w"), queue.claim("w", ["x"])]
    assert [one and one.id for one in taken] == [names[1], names[0], None]


def test_cancelled_work_is_not_finished(queue: Queue) -> None:
    waiting = queue.ask("listen", 1, FILE, {})
    assert queue.cancel(waiting)
    assert not queue.cancel(waiting)
    assert queue.claim("w") is None
    assert queue.ask("listen", 1, FILE, {}) == waiting  # asked again: begun anew
    work = queue.claim("w")
    assert work is not None
    assert queue.cancel(waiting)
    assert not queue.beat(work)
    assert not queue.progress(work, 50)
    assert not queue.finish(work, {"late": True})
    assert (queue.get(waiting).state, queue.get(waiting).result) == ("cancelled", None)


def test_failed_work_says_why_until_asked_again(queue: Queue) -> None:
    name = queue.ask("listen", 1, FILE, {})
    work = queue.claim("w")
    assert work is not None
    assert queue.fail(work, "There is no sound in it")
    assert (queue.get(name).state, queue.get(name).problem) == ("failed", "There is no sound in it")
    assert queue.claim("w") is None
    queue.ask("listen", 1, FILE, {})
    assert (queue.get(name).state, queue.get(name).problem) == ("waiting", None)


def test_work_of_the_dead_is_given_back_three_times(queue: Queue, clock: Clock) -> None:
    name = queue.ask("listen", 1, FILE, {})
    for attempt in (1, 2, 3):
        work = queue.claim(f"w{attempt}")
        assert work is not None
        assert work.attempt == attempt
        clock.now += timedelta(seconds=59)
        assert queue.release() == 0
        assert queue.beat(work)
        clock.now += timedelta(seconds=61)
        assert queue.release() == 1
        # Taken for dead, but alive: his work is not his any more.
        assert not queue.finish(work, {})
    assert queue.get(name).state == "failed"
    assert "broken off 3 times" in str(queue.get(name).problem)


def test_the_same_worker_in_a_later_attempt_is_another(queue: Queue, clock: Clock) -> None:
    queue.ask("listen", 1, FILE, {})
    early = queue.claim("w")
    assert early is not None
    assert queue.release(worker="w") == 1
    late = queue.claim("w")
    assert late is not None
    assert not queue.finish(early, {"early": True})
    assert queue.give_back(late)
    again = queue.claim("w")
    assert again is not None
    assert again.attempt == late.attempt


def test_bad_input(queue: Queue) -> None:
    queue.ask("listen", 1, FILE, {})
    work = queue.claim("w")
    assert work is not None
    with pytest.raises(InputError, match="0 to 100"):
        queue.progress(work, 101)
    with pytest.raises(MissingError):
        queue.get("nothing")


def test_no_two_get_the_same(database: Database) -> None:
    count, workers = 40, 6
    names = {Queue(database).ask("listen", 1, f"{number}", {}) for number in range(count)}
    gate = threading.Barrier(workers)

    def take(worker: int) -> list[str]:
        own = Queue(database)
        gate.wait(30)
        taken = []
        while (work := own.claim(f"w{worker}")) is not None:
            taken.append(work.id)
            assert own.finish(work, worker)
        return taken

    with ThreadPoolExecutor(workers) as threads:
        each = list(threads.map(take, range(workers)))
    taken = [name for one in each for name in one]
    assert len(taken) == count
    assert set(taken) == names


def test_asked_by_many_at_once_it_is_one(database: Database) -> None:
    gate = threading.Barrier(6)

    def ask(_: int) -> str:
        gate.wait(30)
        return Queue(database).ask("listen", 1, FILE, {"a": 1})

    with ThreadPoolExecutor(6) as threads:
        assert len(set(threads.map(ask, range(6)))) == 1


# Real processes ---------------------------------------------------------------------------------


@pytest.fixture
def opened(address: Path | str) -> Iterator[Queue]:
    with open_database(address) as database:
        yield Queue(database)


def until(true: Callable[[], object], seconds: float = 60.0) -> None:
    ends = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < ends, "waited in vain"
        time.sleep(0.05)


def test_a_worker_is_killed_in_the_middle(
    opened: Queue, address: Path | str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """kill -9 in mid-work: all is done, each piece ended once, and no worker is missing."""
    monkeypatch.syspath_prepend(str(Path(__file__).parent))
    folder = tmp_path / "seen"
    folder.mkdir()
    said = {"folder": str(folder)}
    long = opened.ask("listen", 1, "long", {**said, "steps": 60})
    short = [opened.ask("listen", 1, f"short{n}", said) for n in range(8)]
    troubles = {
        how: opened.ask("listen", 1, how.replace(" ", "-"), {**said, "how": how})
        for how in ("bad", "bug", "deadly", "dies once")
    }
    called_off = opened.ask("listen", 1, "called-off", {**said, "steps": 100_000})

    with Workers(address, worker_tasks.do, 2) as workers:
        until(lambda: opened.get(long).percent > 5)
        first = set(workers.pids())
        victim = next(int(path.name.split()[-1]) for path in folder.glob("long begun 1 *"))
        os.kill(victim, signal.SIGKILL)
        until(lambda: opened.get(called_off).state == "running")
        assert opened.cancel(called_off)
        until(lambda: opened.open_count() == 0)
        until(lambda: len(workers.pids()) == 2)
        assert victim not in workers.pids()
        assert set(workers.pids()) != first
        pids = workers.pids()

    for name, subject in ((long, "long"), *((name, f"short{n}") for n, name in enumerate(short))):
        done = opened.get(name)
        assert (done.state, done.result["subject"]) == ("done", subject)
        assert len(list(folder.glob(f"{subject} ended *"))) == 1
    assert opened.get(long).attempt == 2
    found = {how: opened.get(name) for how, name in troubles.items()}
    assert found["bad"].problem == "There is no sound in it."
    assert "ZeroDivisionError" in str(found["bug"].problem)
    assert "broken off 3 times" in str(found["deadly"].problem)
    assert (found["dies once"].state, found["dies once"].attempt) == ("done", 2)
    assert opened.get(called_off).state == "cancelled"
    for pid in pids:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_stopped_in_the_middle_it_is_done_by_the_next(
    opened: Queue, address: Path | str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(Path(__file__).parent))
    name = opened.ask("listen", 1, "long", {"folder": str(tmp_path), "steps": 100_000})
    with Workers(address, worker_tasks.do, 1):
        until(lambda: opened.get(name).state == "running")
    stopped = opened.get(name)
    assert (stopped.state, stopped.attempt) == ("waiting", 0)


@pytest.mark.parametrize("count", [0, 65])
def test_a_number_of_workers_out_of_range(count: int) -> None:
    with pytest.raises(InputError, match="1 to 64"):
        Workers(Path("x.db"), worker_tasks.do, count)
