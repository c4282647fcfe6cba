"""One module for each group of pages; each has a `router`."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from beltside.web.routes import files, jobs

ROUTERS: Final[tuple[APIRouter, ...]] = (jobs.router, files.router)
