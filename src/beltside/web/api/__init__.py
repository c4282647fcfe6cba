"""The use cases as JSON for other programs: one module for each group, each has a `router`."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from beltside.web.api import agree, close, find, jobs, measure, prove, shop, takes

API_ROUTERS: Final[tuple[APIRouter, ...]] = (
    jobs.router,
    takes.router,
    find.router,
    measure.router,
    agree.router,
    prove.router,
    close.router,
    shop.router,
)
