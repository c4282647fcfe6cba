"""Pages under load: 20 phones at once on a record of 10,000 jobs, and how large each page is.

`beltside serve` runs as a process of its own; locust asks it from another, over 127.0.0.1 and for
a bounded time. Sizes are of the page with all it links to of ours, and with its pictures.

usage: python bench/pages.py [--jobs 10000] [--phones 20] [--seconds 60]
"""

from __future__ import annotations

import argparse
import csv
import gzip
import os
import re
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from unittest.mock import patch
from urllib.parse import urljoin

from beltside.casework import demo_shop
from beltside.casework.demo_shop_jobs import DEMO_JOBS
from beltside.casework.shop import Shop, open_shop
from beltside.casework.shop_analysis import open_work, workers
from beltside.casework.shop_find import find_now
from beltside.casework.shop_listen import ask_for_all
from beltside.jobs.search_words import rebuild
from figures import Figure, table
from first_page import free_port, served, wait_for
from pages_mix import PAGES
from record_shop import fill

TARGET_S = 0.1
PAGE_KB, WITH_PICTURES_KB = 150.0, 600.0
STAGES = ("find", "agree", "prove")
"""Demo jobs at these stages are the jobs at hand."""


def measure(jobs: int = 10_000, phones: int = 20, seconds: int = 60) -> list[Figure]:
    """Times of each page at the 50th and 95th percentile, and sizes."""
    with tempfile.TemporaryDirectory() as place:
        folder, cache = Path(place) / "shop", Path(place) / "cache"
        with open_shop(folder) as shop:
            at_hand, take = _make(shop, jobs)
        port = free_port()
        address = f"http://127.0.0.1:{port}"
        with served(folder, port, cache) as server:
            for path in _paths(at_hand, take):
                wait_for(server, address + path)
            sizes = [_size_of(address, path) for path in _paths(at_hand[-1:], take)]
            rows = _asked(Path(place), address, at_hand, take, jobs, phones, seconds)
    busy = os.getloadavg()[0] / (os.cpu_count() or 1)
    return [*_times(rows, busy), *_sizes(sizes)]


def _make(shop: Shop, jobs: int) -> tuple[list[str], str]:
    """The record, and on top of it the jobs at hand, all takes listened to."""
    fill(shop.record.database, jobs, 10, 9001)
    rebuild(shop.record.database)
    ours = tuple(one for one in DEMO_JOBS if one.stage in STAGES)
    with patch.object(demo_shop, "DEMO_JOBS", ours):
        numbers = [str(one) for one in demo_shop.make_demo_shop(shop).numbers]
    for number in numbers:
        sheet = shop.record.sheet(shop.record.job(int(number)).id)
        ask_for_all(shop, sheet)
        find_now(shop, sheet)
    with workers(shop, 1):
        while open_work(shop):
            time.sleep(0.2)
    first = shop.record.sheet(shop.record.job(int(numbers[0])).id).of_kind("take")[0]
    return numbers, f"/job/{numbers[0]}/take/{first.id}"


def _paths(at_hand: list[str], take: str) -> list[str]:
    of_jobs = [path.format(job=job) for job in at_hand for path, _ in PAGES]
    return ["/", "/?words=alternator", *of_jobs, take, "/reminders"]


# Asking ------------------------------------------------------------------------------------------


def _asked(
    place: Path, address: str, at_hand: list[str], take: str, jobs: int, phones: int, seconds: int
) -> list[dict[str, str]]:
    """What locust measured: a row for each page and one for all together."""
    environment = {
        **os.environ,
        "BELTSIDE_BENCH_JOBS": ",".join(at_hand),
        "BELTSIDE_BENCH_TAKE": take,
        "BELTSIDE_BENCH_ALL": str(jobs),
        "PYTHONPATH": str(Path(__file__).parent),
    }
    phones_file = Path(__file__).with_name("pages_phones.py")
    command = [
        *(sys.executable, "-m", "locust", "-f", str(phones_file), "--headless"),
        *("--users", str(phones), "--spawn-rate", str(phones), "--run-time", f"{seconds}s"),
        *("--host", address, "--csv", str(place / "asked"), "--only-summary"),
        *("--loglevel", "WARNING"),
    ]
    ran = subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=seconds + 120, check=False
    )
    results = place / "asked_stats.csv"
    if not results.exists():
        raise RuntimeError(f"locust did not run: {ran.stderr[-2000:]}")
    with results.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _times(rows: list[dict[str, str]], busy: float) -> list[Figure]:
    """Locust's percentiles are rounded: to two digits above 100 ms."""
    figures = []
    for row in sorted(rows, key=lambda one: one["Name"] != "Aggregated"):
        name = "all pages" if row["Name"] == "Aggregated" else row["Name"]
        count, failed = int(row["Request Count"]), int(row["Failure Count"])
        if not count:
            continue
        note = f"median {row['50%']} ms, {count} asked"
        if name == "all pages":
            note += f", {failed} failed; {busy:.1f} processes waiting per core"
        elif failed:
            note += f", {failed} failed"
        figures.append(
            Figure(f"{name}, 95th percentile", float(row["95%"]) / 1e3, "s", TARGET_S, note=note)
        )
    return figures


# Sizes -------------------------------------------------------------------------------------------


def _size_of(address: str, path: str) -> tuple[str, float, float, float]:
    """A page: its path, its HTML [kB], all it needs gzipped without pictures, and with [kB]."""
    html = _got(address + path)
    text = html.decode()
    ours = set(re.findall(r'(?:src|href)="(/static/[^"]+)"', text))
    for one in list(ours):
        if ".js" in one:
            script = _got(urljoin(address, one)).decode()
            ours |= {f"/static/{name}" for name in re.findall(r'from "\./([^"]+)"', script)}
    pictures = set(re.findall(r'<img[^>]* src="(/job/[^"]+)"', text))
    bare = len(gzip.compress(html)) + sum(_gzipped(urljoin(address, one)) for one in ours)
    whole = bare + sum(_gzipped(urljoin(address, one)) for one in pictures)
    return path, len(html) / 1e3, bare / 1e3, whole / 1e3


def _got(address: str) -> bytes:
    with urllib.request.urlopen(address, timeout=120) as answer:
        data: bytes = answer.read()
        return data


def _gzipped(address: str) -> int:
    """As it travels: what is packed already is not packed again."""
    data = _got(address)
    return min(len(data), len(gzip.compress(data)))


def _sizes(sizes: list[tuple[str, float, float, float]]) -> list[Figure]:
    largest = max(sizes, key=lambda one: one[1])
    heavy = max(sizes, key=lambda one: one[2])
    whole = max(sizes, key=lambda one: one[3])
    return [
        Figure("largest page, its HTML alone", largest[1], "kB", note=largest[0]),
        Figure("page with scripts and styles, gzipped", heavy[2], "kB", PAGE_KB, note=heavy[0]),
        Figure("the same with its pictures", whole[3], "kB", WITH_PICTURES_KB, note=whole[0]),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=10_000)
    parser.add_argument("--phones", type=int, default=20)
    parser.add_argument("--seconds", type=int, default=60)
    given = parser.parse_args()
    print(table(measure(given.jobs, min(given.phones, 100), min(given.seconds, 600))))


if __name__ == "__main__":
    main()
