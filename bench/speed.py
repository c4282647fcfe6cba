"""Time and memory of the main job, against targets and against librosa and scipy.

- One take of 60 s, stereo, 48 kHz, AAC, through `listen`, and as a case of one take through
  `find`: time of the first call in a fresh process, after the imports; peak memory of the process
  with its decoding child.
- The same sound, already decoded, through `find_in_memory` and through librosa_reference.py, in
  the same process, turn about, both warmed up on a short piece first.
- Memory of a 10-minute take (the 60 s ten times over) beside that of the 60 s one.
- A case of six takes of 20 s, AAC, through `find`.
- `beltside --help`.

usage: python bench/speed.py [--repeats 3] [--seconds 60]
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from figures import Figure, table
from peak_memory import Peak, watch

ROOT = Path(__file__).parents[1]
RATE_HZ = 48_000
SIX_TAKES_S = 20.0
LONG_TIMES = 10
CASE_TOML = 'drive = "drive.toml"\n\n[[take]]\nfile = "{file}"\nbelt = "on"\nplace = "{place}"\n'


@dataclass(frozen=True)
class Files:
    """Where the recordings to measure on are."""

    take: Path
    long_take: Path
    drive: Path
    one_take_case: Path
    six_take_case: Path


def make_files(folder: Path, seconds: float) -> Files:
    """Simulate an engine with a bad coolant pump bearing and write it as phone files."""
    from beltside.media import write_recording
    from beltside.rig import RigCase, TakePlan, write_case
    from beltside.rig.draws import draw_car, run_takes
    from beltside.rig.layout import measured_sheet
    from beltside.rig.writing import drive_toml

    rng = np.random.default_rng(60)
    truth = "coolant-pump.bearing"
    car, _, severity_db = draw_car(rng, truth=truth, severity_db=10.0)
    phone = replace(car.phone, sample_rate_hz=RATE_HZ, channels=2, same_ears=False)
    car = replace(car, phone=phone)
    sheet = measured_sheet(rng, car.drive, car.engine, "benchmark drive", full=True)
    (long_one,) = run_takes(rng, car, (TakePlan("take", duration_s=seconds),), (6.0, 6.0))
    single = folder / "single"
    single.mkdir()
    files = Files(
        single / "take.m4a",
        single / "long.m4a",
        single / "drive.toml",
        single / "case.toml",
        folder / "six" / "case.toml",
    )
    write_recording(files.take, long_one.samples, RATE_HZ)
    write_recording(files.long_take, np.tile(long_one.samples, LONG_TIMES), RATE_HZ)
    files.drive.write_text(drive_toml(sheet), encoding="utf-8")
    files.one_take_case.write_text(
        CASE_TOML.format(file="take.m4a", place="front of engine"), encoding="utf-8"
    )
    parts = [part for part in car.drive.parts if part != "crank"]
    plans = (
        TakePlan("belt-on"),
        TakePlan("belt-off", belt="off"),
        TakePlan("speed-raised", speed="ramp"),
        *(TakePlan(f"probe-{part}", place=part) for part in parts[:2]),
        TakePlan("load-lights", load=("lights",)),
    )
    six = run_takes(rng, car, plans, (SIX_TAKES_S, SIX_TAKES_S))
    write_case(RigCase(sheet, six, truth, severity_db), files.six_take_case.parent)
    return files


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Wall time [s] and result."""
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def core_seconds() -> float:
    """Time that the cores have worked for this process, its threads and ended children [s]."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def work_once(kind: str, arguments: list[str]) -> dict[str, Any]:
    """One job in this process, imports first: what a worker does."""
    if kind == "compare":
        return compare(Path(arguments[0]), Path(arguments[1]), int(arguments[2]))
    from beltside.casework.find import find
    from beltside.casework.listen import listen

    before_s = core_seconds()
    if kind == "listen":
        seconds, heard = timed(lambda: listen(Path(arguments[0]), drive=Path(arguments[1])))
        return {
            "seconds": seconds,
            "core_s": core_seconds() - before_s,
            "rpm": heard.crank.rpm_median if heard.crank else None,
            "lines": len(heard.lines),
        }
    seconds, found = timed(lambda: find(Path(arguments[0])))
    first = found.suspects[0]
    return {
        "seconds": seconds,
        "core_s": core_seconds() - before_s,
        "first": first.id,
        "probability": first.probability,
    }


def compare(take: Path, drive: Path, repeats: int) -> dict[str, Any]:
    """The product and the reference on the same decoded sound, turn about."""
    from beltside.casework.find import find_in_memory
    from beltside.casework.formats.drive_sheet import load_drive_sheet
    from beltside.casework.takes import ArraySource, Conditions
    from beltside.media import read_recording
    from librosa_reference import findings

    samples = read_recording(take)[0]
    sheet = load_drive_sheet(drive)

    def product(piece: Any) -> Any:
        return find_in_memory([ArraySource(piece, RATE_HZ)], [Conditions("take", "on")], sheet)

    def reference(piece: Any) -> Any:
        return findings(piece, RATE_HZ, sheet)

    short = samples[:, : 8 * RATE_HZ]
    product(short)
    reference(short)
    product_s, reference_s = [], []
    found = heard = None
    for _ in range(repeats):
        seconds, found = timed(lambda: product(samples))
        product_s.append(seconds)
        seconds, heard = timed(lambda: reference(samples))
        reference_s.append(seconds)
    assert found is not None
    assert heard is not None
    crank = found.crank["take"]
    return {
        "product_s": statistics.median(product_s),
        "reference_s": statistics.median(reference_s),
        "product_says": f"{crank.rpm_median:.1f} rpm" if crank else "no speed",
        "reference_says": f"{heard.rpm:.1f} rpm, clearest {heard.families[0]}",
        "product_lines": [
            f"{line.part} {line.source}"
            for line in found.listens["take"].lines
            if line.part != "engine"
        ][:1],
    }


def environment() -> dict[str, str]:
    """This process's environment with the sources on the path, and one thread for the matrix
    library in product and reference alike, as the command `beltside` sets it."""
    return os.environ | {"PYTHONPATH": str(ROOT / "src"), "OPENBLAS_NUM_THREADS": "1"}


def worker(kind: str, *arguments: Path | int) -> tuple[dict[str, Any], Peak]:
    """One job in a fresh process, watched."""
    command = [sys.executable, str(Path(__file__)), "--worker", kind, *map(str, arguments)]
    printed, peak = watch(command, environment())
    result: dict[str, Any] = json.loads(printed.splitlines()[-1])
    return result, peak


def fresh_runs(
    repeats: int, kind: str, *arguments: Path | int
) -> tuple[float, dict[str, Any], Peak]:
    """Median time of several fresh processes, the last one's result, the largest peaks."""
    runs = [worker(kind, *arguments) for _ in range(repeats)]
    peaks = [peak for _, peak in runs]
    highest = Peak(
        max(peak.own_mb for peak in peaks),
        max(peak.child_mb for peak in peaks),
        max(peak.together_mb for peak in peaks),
    )
    return statistics.median(result["seconds"] for result, _ in runs), runs[-1][0], highest


def help_seconds(repeats: int) -> float:
    """Median wall time of `beltside --help`, from start to end of its process [s]."""
    command = [sys.executable, "-m", "beltside", "--help"]

    def run() -> object:
        return subprocess.run(command, env=environment(), check=True, capture_output=True)

    return statistics.median(timed(run)[0] for _ in range(repeats))


def measure(repeats: int = 3, seconds: float = 60.0) -> list[Figure]:
    """All figures, on recordings made in a folder that goes away."""
    print(f"speed: load of the machine before {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as folder:
        files = make_files(Path(folder), seconds)
        listen_s, heard, peak = fresh_runs(repeats, "listen", files.take, files.drive)
        one_s, one, one_peak = fresh_runs(repeats, "find", files.one_take_case)
        six_s, six, six_peak = fresh_runs(repeats, "find", files.six_take_case)
        _, _, long_peak = fresh_runs(1, "listen", files.long_take, files.drive)
        both, _ = worker("compare", files.take, files.drive, repeats)
        shortest_help_s = help_seconds(max(repeats, 5))
    print(f"listen: {heard['rpm']} rpm, {heard['lines']} lines; one take: {_first(one)}")
    print(f"six takes: {_first(six)}")
    print(f"product: {both['product_says']}, clearest line {both['product_lines']}")
    print(f"reference: {both['reference_says']}")
    take = f"{seconds:.0f} s take"
    more_mb = long_peak.together_mb - peak.together_mb
    return [
        Figure(f"{take} to lines (listen)", listen_s, "s", 1.5, note=_cores(heard)),
        Figure(f"{take} to odds (find)", one_s, "s", 1.5, note=_cores(one)),
        Figure(f"{take}, peak memory of listen", peak.together_mb, "MB", 400.0, note=_parts(peak)),
        Figure(
            f"{take}, peak memory of find", one_peak.together_mb, "MB", 400.0, note=_parts(one_peak)
        ),
        Figure(f"{take} to odds, in memory", both["product_s"], "s", note="without decoding"),
        Figure("the same by librosa and scipy", both["reference_s"], "s", note="without decoding"),
        Figure(
            "faster than librosa and scipy",
            both["reference_s"] / both["product_s"],
            "times",
            5.0,
            at_least=True,
        ),
        Figure(
            f"{LONG_TIMES} times as long, peak memory",
            long_peak.together_mb,
            "MB",
            400.0,
            note=_parts(long_peak),
        ),
        Figure(
            f"{LONG_TIMES} times as long, more memory",
            more_mb,
            "MB",
            100.0,
            note="flat: own choice",
        ),
        Figure("six takes of 20 s to odds (find)", six_s, "s", 3.0, note=_cores(six)),
        Figure("six takes, peak memory of find", six_peak.together_mb, "MB", note=_parts(six_peak)),
        Figure("beltside --help", shortest_help_s, "s", 0.3, note="whole process"),
    ]


def _first(result: dict[str, Any]) -> str:
    return f"{result['first']} {100 * result['probability']:.0f} %"


def _cores(result: dict[str, Any]) -> str:
    return f"with decoding; the cores worked {result['core_s']:.2f} s"


def _parts(peak: Peak) -> str:
    return f"process {peak.own_mb:.0f} MB, largest child {peak.child_mb:.0f} MB"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--worker", nargs="+", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.worker:
        kind, *rest = arguments.worker
        print(json.dumps(work_once(kind, rest)))
        return
    print(table(measure(arguments.repeats, arguments.seconds)))


if __name__ == "__main__":
    main()
