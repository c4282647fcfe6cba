"""How long after `beltside serve` the first page is there: the command is started anew each time.

The compiled modules are kept in a folder of its own, filled by a start that does not count. Beside
the time on the clock stands the processor time the server had used by then, which another
program's work on the machine changes little.

usage: python bench/first_page.py [--starts 5]
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from beltside.casework.shop import open_shop
from beltside.casework.shop_jobs import new_job
from figures import Figure, table

if TYPE_CHECKING:
    from collections.abc import Iterator

TARGET_S = 1.5
PATIENCE_S = 120.0


@contextmanager
def served(folder: Path, port: int, cache: Path, *more: str) -> Iterator[subprocess.Popen[bytes]]:
    """`beltside serve` as a process of its own, ended with the block."""
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(cache)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    command = [sys.executable, "-m", "beltside", "serve", "--folder", str(folder)]
    server = subprocess.Popen(
        [*command, "--port", str(port), *more],
        env=environment,
        stdout=subprocess.DEVNULL,
        # Ended in the middle of a picture it says so, which is nothing new.
        stderr=subprocess.DEVNULL,
    )
    try:
        yield server
    finally:
        server.terminate()
        server.wait(30)


def free_port() -> int:
    """A port nobody listens on."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        port: int = door.getsockname()[1]
        return port


def wait_for(server: subprocess.Popen[bytes], address: str) -> bytes:
    """The page at an address, asked for until it is there."""
    ends = time.monotonic() + PATIENCE_S
    while time.monotonic() < ends and server.poll() is None:
        try:
            with urllib.request.urlopen(address, timeout=PATIENCE_S) as answer:
                page: bytes = answer.read()
                return page
        except urllib.error.URLError:
            time.sleep(0.005)
    raise RuntimeError(f"{address} did not answer")


def measure(starts: int = 5) -> list[Figure]:
    """Time on the clock and processor time until the first page."""
    clock, processor, second = [], [], []
    with tempfile.TemporaryDirectory() as place:
        folder, cache = Path(place) / "shop", Path(place) / "cache"
        with open_shop(folder) as shop:
            new_job(shop, {"words": "howls when cold"})
        for start in range(starts + 1):
            port = free_port()
            began = time.perf_counter()
            with served(folder, port, cache) as server:
                page = wait_for(server, f"http://127.0.0.1:{port}/")
                took, used = time.perf_counter() - began, _processor_s(server.pid)
                assert b"howls when cold" in page
                wait_for(server, f"http://127.0.0.1:{port}/job/1")
                then = time.perf_counter() - began
                # What is compiled on the first start is everything, also what comes later.
                time.sleep(5.0 if start == 0 else 0.0)
            if start:
                clock.append(took)
                processor.append(used)
                second.append(then)
    busy = os.getloadavg()[0] / (os.cpu_count() or 1)
    note = f"median of {starts}; {busy:.1f} processes waiting per core"
    return [
        Figure("first page after `serve`", float(np.median(clock)), "s", TARGET_S, note=note),
        Figure("processor time until then", float(np.median(processor)), "s"),
        Figure("the job's sheet, asked for at once after it", float(np.median(second)), "s"),
    ]


def _processor_s(pid: int) -> float:
    """Processor time of a process and its threads [s], from Linux's /proc/PID/stat (proc(5))."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--starts", type=int, default=5)
    print(table(measure(parser.parse_args().starts)))


if __name__ == "__main__":
    main()
