"""One module for each group of pages; each has a `router`."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from beltside.web.routes import complaint, drive, files, find, history, job, jobs, take

ROUTERS: Final[tuple[APIRouter, ...]] = (
    jobs.router,
    job.router,
    complaint.router,
    take.router,
    find.router,
    drive.router,
    history.router,
    files.router,
)
