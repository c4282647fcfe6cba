"""Takes kept and listened to: how many a second, with one worker on one core, with one worker on
all cores, and with as many workers as there are cores (two at least).

Each take goes the whole way: stored with its hash, written on a job, put on the queue, decoded in
its own process, its crank speed, lines, pictures and fingerprint worked out by a worker process,
the result kept. Takes are invented, short, and no two alike; workers have done one take each before
the clock starts. The target is that of two cores: 1.8 times one core. On a machine that others use
as well the figures say little: the load before stands beside them.

usage: python bench/ingest.py [--takes 40] [--seconds 4] [--seed 9001]
A thousand takes, as in the target, last half an hour on two cores: --takes 1000
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from beltside.casework.shop import Shop, open_shop, write
from beltside.casework.shop_analysis import open_work, workers
from beltside.casework.shop_takes import add_take
from beltside.jobs.workers import Workers
from beltside.media import write_recording
from beltside.rig import TakePlan, draw_case
from beltside.rig.writing import drive_toml
from figures import Figure, table

TARGET = 1.8
TAKES_A_JOB = 10
ENGINES = 5
CAUSES = ("coolant-pump.bearing", "alternator.bearing", "belt.slip", "idler.bearing", "none")
TICK = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Ingested:
    """One run: takes a second, cores kept busy, processor time a take [s], takes that failed."""

    per_second: float
    cores: float
    busy_s: float
    failed: int


def measure(takes: int = 40, seconds: float = 4.0, seed: int = 9001) -> list[Figure]:
    """All figures."""
    cores = os.cpu_count() or 1
    many = max(cores, 2)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sheet, files = _recordings(folder / "phone", takes + many, seconds, seed)
        with _on_one_core():
            one_core = _run(folder / "one-core", sheet, files, 1)
        alone = _run(folder / "alone", sheet, files, 1)
        both = _run(folder / "both", sheet, files, many)
    note = f"{takes} takes of {seconds:g} s each"
    ratio = both.per_second / one_core.per_second
    return [
        Figure("one worker on one core", one_core.per_second, "takes/s", note=note),
        Figure("one worker on one core: processor time a take", one_core.busy_s, "s"),
        Figure("one worker, all cores", alone.per_second, "takes/s"),
        Figure("one worker, all cores: cores kept busy", alone.cores, "cores"),
        Figure(f"{many} workers", both.per_second, "takes/s"),
        Figure(f"{many} workers: cores kept busy", both.cores, "cores", note=f"of {cores}"),
        Figure(f"{many} workers: processor time a take", both.busy_s, "s"),
        Figure(
            f"{many} workers against one core",
            ratio,
            "times",
            TARGET,
            at_least=True,
            note=f"load before: {os.getloadavg()[2]:.1f} over 15 min",
        ),
        Figure("takes that failed", one_core.failed + alone.failed + both.failed, ""),
    ]


def _recordings(folder: Path, count: int, seconds: float, seed: int) -> tuple[str, Sequence[Path]]:
    """A drive sheet, and phone files, no two alike."""
    folder.mkdir()
    rng = np.random.default_rng(seed)
    plan = TakePlan("idle", duration_s=seconds)
    cases = [draw_case(rng, truth=cause, takes=(plan,)) for cause in CAUSES[:ENGINES]]
    files = []
    for number in range(count):
        take = cases[number % len(cases)].takes[0]
        noise = 1e-4 * rng.standard_normal(take.samples.shape)
        path = folder / f"{number}.m4a"
        write_recording(path, (take.samples + noise).astype(np.float32), take.sample_rate_hz)
        files.append(path)
    return drive_toml(cases[0].sheet), files


def _run(folder: Path, sheet: str, files: Sequence[Path], count: int) -> Ingested:
    with open_shop(folder) as shop, workers(shop, count) as running:
        first, rest = files[:count], files[count:]
        job = shop.record.new_job(by="bench").job.id
        write(shop, job, "drive-sheet", {"toml": sheet})
        for path in first:
            add_take(shop, job, [path.read_bytes()], {"belt": "on"})
        _until_done(shop)
        busy, began = _busy_s(running), time.perf_counter()
        for number, path in enumerate(rest):
            if number % TAKES_A_JOB == 0:
                job = shop.record.new_job(by="bench").job.id
                write(shop, job, "drive-sheet", {"toml": sheet})
            add_take(shop, job, [path.read_bytes()], {"belt": "on"})
        _until_done(shop)
        lasted = time.perf_counter() - began
        busy = _busy_s(running) - busy
        with shop.record.database.reading() as connection:
            failed = connection.exec_driver_sql(
                "SELECT count(*) FROM analysis WHERE state <> 'done'"
            ).scalar_one()
    return Ingested(len(rest) / lasted, busy / lasted, busy / len(rest), int(failed))


def _until_done(shop: Shop) -> None:
    while open_work(shop):
        time.sleep(0.05)


def _busy_s(running: Workers) -> float:
    """Processor time of this program, its workers and their ended children [s] (proc(5))."""
    return sum(_of_process(pid) for pid in [os.getpid(), *running.pids()])


def _of_process(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    # utime and stime, and cutime and cstime of children that were waited for: fields 14 to 17.
    own = fields[11:13] if pid == os.getpid() else fields[11:15]
    return sum(map(int, own)) / TICK


@contextmanager
def _on_one_core() -> Iterator[None]:
    """This process and all it starts meanwhile share one core."""
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {min(before)})
    try:
        yield
    finally:
        os.sched_setaffinity(0, before)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, default=40)
    parser.add_argument("--seconds", type=float, default=4.0)
    parser.add_argument("--seed", type=int, default=9001)
    given = parser.parse_args()
    print(table(measure(given.takes, given.seconds, given.seed)))


if __name__ == "__main__":
    main()
