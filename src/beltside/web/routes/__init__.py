"""One module for each group of pages; each has a `router`."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from beltside.web.routes import (
    bolts,
    compare,
    complaint,
    coolant,
    drive,
    files,
    find,
    history,
    hold,
    job,
    jobs,
    listen,
    programs,
    proof,
    take,
)

ROUTERS: Final[tuple[APIRouter, ...]] = (
    jobs.router,
    job.router,
    complaint.router,
    take.router,
    find.router,
    listen.router,
    compare.router,
    drive.router,
    coolant.router,
    hold.router,
    bolts.router,
    proof.router,
    history.router,
    files.router,
    programs.router,
)
