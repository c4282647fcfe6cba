"""The demo shop's richest open job, alone in a fresh shop, behind the application in memory."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

from fastapi import FastAPI

from beltside.casework import demo_shop
from beltside.casework.shop import Shop, open_shop
from beltside.web.app import create_app
from beltside.web.settings import WebSettings

HEADERS = {"X-Beltside-By": "a program"}


@contextmanager
def shop_with_a_job(folder: Path) -> Iterator[Shop]:
    """Job 1 has takes, findings, drive sheet, plan, estimate, OK, ticks, bolts, hold test."""
    one = tuple(job for job in demo_shop.DEMO_JOBS if job.stage == "prove")
    with open_shop(folder) as shop, patch.object(demo_shop, "DEMO_JOBS", one):
        demo_shop.make_demo_shop(shop)
        yield shop


def api_over(shop: Shop) -> FastAPI:
    """The application over an open record, without workers."""
    return create_app(WebSettings(hosts=("testserver", "localhost"), workers=0), shop=shop)
