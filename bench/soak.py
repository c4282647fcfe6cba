"""A day of a busy shop in ten minutes: memory and open files of the server must stay flat.

`python bench/soak.py` starts `beltside serve` with one worker on this computer, on an empty folder,
and does what twelve cars a day bring: pages, jobs opened, takes and photos sent, searches,
wrong forms, hourly backups. Memory (resident) and open files of the server and of its worker are
read every second from the kernel's account (Linux). A line is fitted to each after the
first quarter, with its standard error. `--minutes` for another length.
"""

from __future__ import annotations

import argparse
import io
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
import wave
from collections import Counter
from pathlib import Path

import httpx2
import numpy as np
from PIL import Image
from scipy import stats

SERVER = "http://127.0.0.1:{port}"
WARM_SHARE = 0.25
PAGES = ("", "/take", "/find", "/drive", "/coolant", "/proof", "/history", "/complaint")


def sound(chance: random.Random) -> bytes:
    """Three seconds of hum and noise."""
    rng = np.random.default_rng(chance.randrange(1 << 30))
    t = np.arange(3 * 16000) / 16000
    made = 0.2 * np.sin(2 * np.pi * 25 * t) + 0.1 * rng.standard_normal(len(t))
    data = io.BytesIO()
    with wave.open(data, "wb") as file:
        file.setparams((1, 2, 16000, 0, "NONE", ""))
        file.writeframes((made.clip(-1, 1) * 32767).astype(np.int16).tobytes())
    return data.getvalue()


def picture(chance: random.Random) -> bytes:
    """A small photo."""
    rng = np.random.default_rng(chance.randrange(1 << 30))
    out = io.BytesIO()
    Image.fromarray(rng.integers(0, 255, (300, 400, 3), dtype=np.uint8)).save(out, "JPEG")
    return out.getvalue()


class Visitor(threading.Thread):
    """One browser that goes on until told to stop."""

    def __init__(self, address: str, seed: int, stop: threading.Event, done: Counter[str]) -> None:
        super().__init__(daemon=True)
        self._client = httpx2.Client(base_url=address, timeout=60.0)
        self._chance = random.Random(seed)
        self._stop_it = stop
        self._done = done

    def run(self) -> None:
        while not self._stop_it.is_set():
            try:
                self._one()
            except Exception as error:  # noqa: BLE001 - counted and shown
                self._done[f"FAILED {type(error).__name__}"] += 1
            time.sleep(self._chance.uniform(0.02, 0.2))

    def _one(self) -> None:
        draw, chance = self._chance.random(), self._chance
        jobs = re.findall(r'href="/job/(\d+)"', self._get("/"))
        if draw < 0.03 or not jobs:
            self._send("/", "/jobs", {"words": f"howls when cold {chance.randrange(1000)}"}, "job")
            return
        job = f"/job/{chance.choice(jobs)}"
        if draw < 0.07:
            files = {"file": ("take.wav", sound(chance), "audio/wav")}
            page = f"{job}/take"
            self._send(page, page, {"belt": "on", "place": "front of engine"}, "take", files)
        elif draw < 0.10:
            files = {"file": ("take.wav", picture(chance), "audio/wav")}
            self._send(f"{job}/take", f"{job}/take", {"belt": "on"}, "wrong file", files)
        elif draw < 0.25:
            self._get(f"/?q={chance.choice(('howls', 'cold', 'howsl', str(chance.random())))}")
        elif draw < 0.30:
            answer = self._client.get(f"{job}/nothing-there")
            self._done[f"{answer.status_code} asked for nothing"] += 1
        else:
            self._get(job + chance.choice(PAGES))

    def _get(self, address: str) -> str:
        answer = self._client.get(address)
        self._done[f"{answer.status_code} page"] += 1
        return answer.text

    def _send(
        self,
        page: str,
        action: str,
        fields: dict[str, str],
        what: str,
        files: dict[str, tuple[str, bytes, str]] | None = None,
    ) -> None:
        token = re.search(r'name="_token" value="([^"]+)"', self._get(page))
        if token is None:
            self._done["FAILED no form"] += 1
            return
        sent = {"_token": token[1], **fields}
        answer = self._client.post(action, data=sent, files=files, follow_redirects=False)
        self._done[f"{answer.status_code} {what}"] += 1


def account(pid: int) -> tuple[float, int]:
    """Resident memory [MB] and open files of a process; zeros when it has ended."""
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
        files = len(os.listdir(f"/proc/{pid}/fd"))
    except OSError:
        return 0.0, 0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6, files


def children(pid: int) -> list[int]:
    """Those of a process, oldest first."""
    found = "".join(
        one.read_text(encoding="ascii") for one in Path(f"/proc/{pid}/task").glob("*/children")
    )
    return sorted(map(int, found.split()))


def slope(hours: list[float], values: list[float]) -> tuple[float, float]:
    """Rise a shop hour and its standard error: a line by least squares over means of 15 samples.

    Samples of one moment hang together; means of a quarter minute do much less.
    """
    size = 15
    count = len(values) // size
    x = np.reshape(hours[: count * size], (count, size)).mean(axis=1)
    y = np.reshape(values[: count * size], (count, size)).mean(axis=1)
    fitted = stats.linregress(x, y)
    return float(fitted.slope), float(fitted.stderr)


def main() -> None:
    """Run the day and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--port", type=int, default=8471)
    asked = parser.parse_args()
    length_s = asked.minutes * 60.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        server = subprocess.Popen(
            [
                *(sys.executable, "-m", "beltside", "serve"),
                *("--folder", str(folder / "shop"), "--port", str(asked.port)),
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            _day(server.pid, SERVER.format(port=asked.port), folder, length_s)
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(30)


def _day(pid: int, address: str, folder: Path, length_s: float) -> None:
    for _ in range(120):
        try:
            if httpx2.get(address, timeout=5.0).status_code == 200:
                break
        except httpx2.HTTPError:
            time.sleep(0.5)
    stop, done = threading.Event(), Counter[str]()
    visitors = [Visitor(address, seed, stop, done) for seed in range(3)]
    for visitor in visitors:
        visitor.start()
    start = time.monotonic()
    hours: list[float] = []
    series: dict[str, list[float]] = {
        one: [] for one in ("server MB", "server files", "worker MB", "worker files")
    }
    backups = 0
    backing_up: subprocess.Popen[bytes] | None = None
    while (passed := time.monotonic() - start) < length_s:
        hour = 24.0 * passed / length_s
        if hour >= backups + 1:
            backups += 1
            call = ["beltside", "backup", str(folder / "backups"), "--folder", str(folder / "shop")]
            if backing_up is None or backing_up.poll() is not None:
                if backing_up is not None:
                    done[f"backup, exit code {backing_up.returncode}"] += 1
                backing_up = subprocess.Popen(
                    [sys.executable, "-m", *call],
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
            else:
                done["backup left out: the last one still went on"] += 1
        hours.append(hour)
        memory, files = account(pid)
        workers = [account(child) for child in children(pid)]
        series["server MB"].append(memory)
        series["server files"].append(files)
        series["worker MB"].append(max((one[0] for one in workers), default=0.0))
        series["worker files"].append(max((one[1] for one in workers), default=0))
        time.sleep(1.0)
    stop.set()
    for visitor in visitors:
        visitor.join(60)
    if backing_up is not None:
        backing_up.wait(120)
    warm = int(len(hours) * WARM_SHARE)
    print(f"24 h in {length_s / 60:.1f} minutes; the first {24 * WARM_SHARE:.1f} h left out")
    print(f"{'':14} {'at first':>9} {'at last':>9} {'rise a shop hour':>24}")
    for what, values in series.items():
        rise, error = slope(hours[warm:], values[warm:])
        flat = "flat" if abs(rise) < 2 * error or abs(rise) * 24 < 0.02 * values[-1] else "RISING"
        print(
            f"{what:14} {np.mean(values[warm : warm + 15]):9.1f} {np.mean(values[-15:]):9.1f} "
            f"{rise:+12.3f} +- {error:.3f}  {flat}"
        )
    for what, count in sorted(done.items()):
        print(f"{count:7} {what}")


if __name__ == "__main__":
    main()
