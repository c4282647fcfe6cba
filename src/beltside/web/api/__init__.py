"""The use cases as JSON for other programs: one module for each group, each has a `router`."""

from __future__ import annotations

from importlib import import_module
from typing import Final

from fastapi import APIRouter

NAMES: Final = ("jobs", "takes", "find", "measure", "agree", "prove", "close", "shop")


def api_routers() -> list[APIRouter]:
    """All routers, loaded now."""
    return [import_module(f"{__name__}.{name}").router for name in NAMES]
