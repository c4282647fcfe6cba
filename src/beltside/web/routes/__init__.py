"""One module for each group of pages; each has a `router`."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from beltside.web.routes import (
    bend,
    bolts,
    compare,
    complaint,
    coolant,
    drive,
    files,
    find,
    hands_busy,
    history,
    hold,
    job,
    jobs,
    listen,
    plan,
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
    plan.router,
    bend.router,
    hands_busy.router,
    proof.router,
    history.router,
    files.router,
    programs.router,
)
