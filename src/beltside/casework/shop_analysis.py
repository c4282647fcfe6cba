"""Work that takes seconds, done once and kept: in the background by workers, or at once.

A method is a function of the shop and plain settings that gives plain values. Its result is kept
under method, version, subject and settings; a new version of a method works it out anew, the old
result stays.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, Final

from beltside.casework.results import Progress
from beltside.casework.shop import Shop

Work = Callable[[Shop, Mapping[str, Any], Progress], dict[str, Any]]

_METHODS: Final[dict[str, tuple[int, Work]]] = {}
_KEPT: Final[dict[str, dict[str, Any]]] = {}


def method(name: str, version: int) -> Callable[[Work], Work]:
    """Enter a function as the way to do a method in this version."""

    def enter(work: Work) -> Work:
        _METHODS[name] = (version, work)
        return work

    return enter


def kept_result(
    shop: Shop, name: str, version: int, subject: str, settings: Mapping[str, Any]
) -> dict[str, Any] | None:
    """The kept result of a piece of work; None while it is not done."""
    return _KEPT.get(_key(shop, name, version, subject, settings))


def ask(
    shop: Shop,
    name: str,
    version: int,
    subject: str,
    settings: Mapping[str, Any],
    job_id: str | None,
) -> None:
    """Put a piece of work on the workers' list, unless it is there or done."""


def analyse_now(
    shop: Shop,
    name: str,
    version: int,
    subject: str,
    settings: Mapping[str, Any],
    job_id: str | None,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """The result of a piece of work, kept or worked out now."""
    key = _key(shop, name, version, subject, settings)
    if key not in _KEPT:
        _KEPT[key] = _METHODS[name][1](shop, settings, progress or (lambda _what, _share: None))
    return _KEPT[key]


def _key(shop: Shop, name: str, version: int, subject: str, settings: Mapping[str, Any]) -> str:
    return json.dumps([str(shop.folder), name, version, subject, settings], sort_keys=True)
