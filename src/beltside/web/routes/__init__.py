"""One module for each group of pages; each has a `router`."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from beltside.web.routes import files, jobs, take

ROUTERS: Final[tuple[APIRouter, ...]] = (jobs.router, take.router, files.router)
