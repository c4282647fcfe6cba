"""2,000 hostile files through the entry points that pages and commands use.

`python bench/hostile.py` prints for each kind how many were read and how many refused in our words,
the longest time and the largest memory, and every file that did otherwise with its seed.
`--seed N --count 1` does one again.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from beltside.base.errors import BeltsideError
from beltside.casework.coolant_readings import load_hold_readings
from beltside.casework.drive import drive
from beltside.casework.shop import Shop, open_shop
from beltside.casework.shop_notes import add_photo
from beltside.casework.shop_transfer import import_jobs
from beltside.media import read_recording
from hostile_files import KINDS, SOUNDS, broken, valid
from peak_memory import status_mb

MOST_S = 10.0


@dataclass(frozen=True)
class Outcome:
    """What became of one file: "read", "refused", or what went wrong."""

    seed: int
    kind: str
    ways: str
    became: str
    said: str
    seconds: float


def try_one(shop: Shop, kind: str, data: bytes) -> tuple[str, str]:
    """Hand a file in as a page or a command does."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / f"file.{kind}"
        path.write_bytes(data)
        try:
            if kind == "wav" or kind in SOUNDS:
                read_recording(path)
            elif kind in ("jpeg", "png", "webp"):
                add_photo(shop, "1", [data], {})
            elif kind == "csv":
                load_hold_readings(path)
            elif kind == "toml":
                drive(path)
            else:
                import_jobs(shop, path)
        except BeltsideError as error:
            return "refused", str(error)
        except Exception as error:  # noqa: BLE001 - a crash of ours is what is looked for
            return "CRASH", f"{type(error).__name__}: {error}"
    return "read", ""


def outcomes(first: int, count: int) -> Iterator[Outcome]:
    """Try so many files, each with a seed of its own."""
    files = {kind: valid(kind) for kind in KINDS}
    with tempfile.TemporaryDirectory() as name, open_shop(Path(name) / "shop") as shop:
        shop.record.new_job([("note", {"words": "here"})], by="x")
        for seed in range(first, first + count):
            chance = random.Random(seed)
            kind = KINDS[seed % len(KINDS)]
            data, ways = broken(chance, files, kind)
            start = time.monotonic()
            became, said = try_one(shop, kind, data)
            seconds = time.monotonic() - start
            if became != "CRASH" and seconds > MOST_S:
                became = "HANG"
            yield Outcome(seed, kind, ways, became, said, seconds)


class Peak:
    """Largest resident size of this program and of any child meanwhile [MB], every 20 ms."""

    def __init__(self) -> None:
        self.own_mb = 0.0
        self.child_mb = 0.0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> Peak:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()

    def _watch(self) -> None:
        own = Path("/proc/self")
        while not self._stop.wait(0.02):
            with contextlib.suppress(OSError):
                self.own_mb = max(self.own_mb, status_mb((own / "status").read_text(), "VmRSS"))
                # A child just forked still has its parent's size and name.
                mine = (own / "cmdline").read_bytes()
                text = "".join(one.read_text() for one in own.glob("task/*/children"))
                for child in text.split():
                    there = Path("/proc") / child
                    if (there / "cmdline").read_bytes() != mine:
                        size = status_mb((there / "status").read_text(), "VmHWM")
                        self.child_mb = max(self.child_mb, size)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    became: dict[str, Counter[str]] = {kind: Counter() for kind in KINDS}
    longest = dict.fromkeys(KINDS, 0.0)
    wrong = []
    start = time.monotonic()
    peak = Peak()
    with peak:
        for one in outcomes(asked.seed, asked.count):
            became[one.kind][one.became] += 1
            longest[one.kind] = max(longest[one.kind], one.seconds)
            if one.became not in ("read", "refused"):
                wrong.append(one)
    print(f"{'kind':6} {'read':>6} {'refused':>8} {'crash':>6} {'hang':>5} {'longest':>9}")
    for kind in KINDS:
        counts = became[kind]
        print(
            f"{kind:6} {counts['read']:6} {counts['refused']:8} {counts['CRASH']:6} "
            f"{counts['HANG']:5} {longest[kind]:7.2f} s"
        )
    print(
        f"{asked.count} files from seed {asked.seed} in {time.monotonic() - start:.0f} s; "
        f"{len(wrong)} crashes or hangs beyond {MOST_S:g} s; "
        f"largest memory: program {peak.own_mb:.0f} MB, a child of it {peak.child_mb:.0f} MB"
    )
    for one in wrong:
        print(f"seed {one.seed} {one.kind} {one.ways}: {one.became} {one.seconds:.1f} s {one.said}")


if __name__ == "__main__":
    main()
