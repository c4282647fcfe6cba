"""The demo shop as a visitor finds it: nothing on its sheets is impossible."""

from __future__ import annotations

import re
import urllib.request


def test_every_drive_sheet_gives_a_drive(demo_address: str) -> None:
    def page(place: str) -> str:
        with urllib.request.urlopen(demo_address + place) as answer:
            return str(answer.read().decode())

    jobs = set(re.findall(r'href="(/job/\d+)"', page("/?which=all")))
    assert len(jobs) >= 12
    drives = {job: page(f"{job}/drive") for job in jobs}
    assert [job for job, text in drives.items() if 'role="alert"' in text] == []
    # The job that is at measuring has its belt drawn.
    assert 'src="data:image/svg+xml' in drives["/job/5"]
