"""What 20 phones ask of the pages, for the load generator locust; started by `pages.py`.

Each phone asks for a page, looks at it for one to three seconds, and asks for the next: a mix as a
shop uses them, mostly on the jobs at hand, sometimes on any of the record.
"""

from __future__ import annotations

import os
import random
from urllib.parse import urlsplit

from locust import HttpUser, between, task

from pages_mix import PAGES

AT_HAND = os.environ["BELTSIDE_BENCH_JOBS"].split(",")
TAKE = os.environ["BELTSIDE_BENCH_TAKE"]
ALL_JOBS = int(os.environ["BELTSIDE_BENCH_ALL"])
WORDS = ("sings when cold", "lundmar", "alternator", "growls", "ostenberg", "XZB", "rattels")


class Phone(HttpUser):
    """One phone in the shop."""

    wait_time = between(1.0, 3.0)

    def on_start(self) -> None:
        """Refuse to ask anybody but this computer."""
        if urlsplit(self.host or "").hostname != "127.0.0.1":
            raise SystemExit("the phones ask 127.0.0.1 only")

    @task(8)
    def jobs(self) -> None:
        """The list."""
        self.client.get("/", name="/")

    @task(3)
    def search(self) -> None:
        """A search, words common and rare, one mistyped."""
        self.client.get("/", params={"words": random.choice(WORDS)}, name="/?words=...")

    @task(30)
    def job_at_hand(self) -> None:
        """A page of a job at hand."""
        (path,) = random.choices([one for one, _ in PAGES], [often for _, often in PAGES])
        self.client.get(path.format(job=random.choice(AT_HAND)), name=path)

    @task(4)
    def any_job(self) -> None:
        """Any job of the record."""
        number = random.randrange(1, ALL_JOBS + 1)
        self.client.get(f"/job/{number}", name="/job/{any of the record}")

    @task(4)
    def take(self) -> None:
        """What was heard in a take, and one of its pictures."""
        self.client.get(TAKE, name="/job/{job}/take/{take}")

    @task(3)
    def progress(self) -> None:
        """A page that asks whether work is done."""
        self.client.get(f"{TAKE}/progress", name="/job/{job}/take/{take}/progress")

    @task(1)
    def reminders(self) -> None:
        """What is to be looked at again."""
        self.client.get("/reminders", name="/reminders")
