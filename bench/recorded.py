"""From the stop of a 60 s recording in the browser to what was heard in it.

`beltside serve` in a process of its own, Debian's Chromium as the phone, the rig's demo engine as
what its microphone hears. Counted from the tap on "Stop and keep" until the crank speed stands on
the page: kept, sent, waited for, listened to, shown.

usage: python bench/recorded.py [--seconds 60] [--times 1]
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import tempfile
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import Page, sync_playwright

from beltside.casework.shop import open_shop
from beltside.casework.shop_jobs import new_job
from beltside.casework.shop_measure import save_drive_sheet
from beltside.media import write_recording
from beltside.rig import TakePlan, demo_case
from beltside.rig.writing import drive_toml
from figures import Figure, table
from first_page import free_port, served, wait_for

TARGET_S = 5.0
PATIENCE_MS = 120_000


def measure(seconds: int = 60, times: int = 1) -> list[Figure]:
    """Seconds from stop to findings."""
    with tempfile.TemporaryDirectory() as place:
        folder, cache = Path(place) / "shop", Path(place) / "cache"
        case = demo_case(plans=(TakePlan("belt-on", duration_s=seconds + 10.0),))
        (take,) = case.takes
        microphone = Path(place) / "engine.wav"
        write_recording(microphone, take.samples, take.sample_rate_hz)
        with open_shop(folder) as shop:
            job, _ = new_job(shop, {"words": "howls when cold"})
            save_drive_sheet(shop, job.job.id, drive_toml(case.sheet))
        port = free_port()
        with served(folder, port, cache) as server:
            wait_for(server, f"http://127.0.0.1:{port}/job/1/take")
            took = [_once(f"http://127.0.0.1:{port}", microphone, seconds) for _ in range(times)]
    busy = os.getloadavg()[0] / (os.cpu_count() or 1)
    note = f"median of {times}; {busy:.1f} processes waiting per core"
    name = f"{seconds} s take: findings after stop"
    return [Figure(name, float(np.median(took)), "s", TARGET_S, note=note)]


def _once(address: str, microphone: Path, seconds: int) -> float:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"),
            args=[
                "--no-sandbox",
                "--use-fake-ui-for-media-stream",
                "--use-fake-device-for-media-stream",
                f"--use-file-for-fake-audio-capture={microphone}",
            ],
        )
        try:
            page = browser.new_page(viewport={"width": 390, "height": 844})
            page.set_default_timeout(PATIENCE_MS)
            return _recorded(page, address, seconds)
        finally:
            browser.close()


def _recorded(page: Page, address: str, seconds: int) -> float:
    page.goto(f"{address}/job/1/take")
    page.get_by_role("button", name="Record now").click()
    stop = page.get_by_role("button", name="Stop and keep")
    stop.wait_for()
    page.wait_for_timeout(1000.0 * seconds)
    began = time.perf_counter()
    stop.click()
    page.wait_for_url(re.compile(r"/job/1/take/\w+$"))
    page.locator(".number b").first.wait_for()
    page.get_by_text(re.compile("Crank speed|Lines and whose they are")).first.wait_for()
    return time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--times", type=int, default=1)
    given = parser.parse_args()
    print(table(measure(min(given.seconds, 300), min(given.times, 20))))


if __name__ == "__main__":
    main()
