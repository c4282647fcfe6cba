"""One module for each group of pages; each has a `router`.

The first one is loaded at once, the others after the first page, see `web.later`.
"""

from __future__ import annotations

from importlib import import_module
from typing import Final

from fastapi import APIRouter

NAMES: Final = (
    "jobs",
    "job",
    "complaint",
    "take",
    "photo",
    "find",
    "listen",
    "compare",
    "drive",
    "coolant",
    "hold",
    "match",
    "bolts",
    "plan",
    "bend",
    "hands_busy",
    "agree",
    "strum",
    "close",
    "settings",
    "backup",
    "forget",
    "pulleys",
    "proof",
    "history",
    "files",
    "programs",
    "phones",
    "owner",
)


def router_of(name: str) -> APIRouter:
    """The router of a group of pages, loaded now."""
    router: APIRouter = import_module(f"{__name__}.{name}").router
    return router


def routers() -> list[APIRouter]:
    """All routers, loaded now."""
    return [router_of(name) for name in NAMES]
