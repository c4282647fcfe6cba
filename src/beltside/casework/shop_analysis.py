"""Work that takes seconds, done once and kept: in the background by workers, or at once.

A method is a function of the shop and plain settings that gives plain values. Its result is kept
under method, version, subject and settings; a new version of a method works it out anew, the old
result stays.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any, Final

from beltside.casework.results import Progress
from beltside.casework.shop import Shop

Work = Callable[[Shop, Mapping[str, Any], Progress], dict[str, Any]]

METHODS: Final = {
    "listen": ("beltside.casework.shop_listen", "listen_to_one"),
    "case-sound": ("beltside.casework.shop_find", "listen_together"),
    "compare": ("beltside.casework.shop_measure", "compare_two"),
}
"""Where each method's function is; imported when there is work."""

_KEPT: Final[dict[str, dict[str, Any]]] = {}


@dataclass(frozen=True)
class WorkState:
    """How a piece of work stands.

    Attributes
    ----------
    state
        "not asked", "waiting", "working", "done", "failed" or "cancelled".
    share, doing
        The share done, 0 to 1, and what is being done.
    problem
        Why it failed.
    result
        Plain values once done.
    id
        Its name on the workers' list.
    """

    state: str
    share: float = 0.0
    doing: str = ""
    problem: str = ""
    result: dict[str, Any] | None = None
    id: str = ""


def state_of(
    shop: Shop, name: str, version: int, subject: str, settings: Mapping[str, Any]
) -> WorkState:
    """How a piece of work stands."""
    kept = kept_result(shop, name, version, subject, settings)
    return WorkState("not asked") if kept is None else WorkState("done", 1.0, result=kept)


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
        _KEPT[key] = _work(name)(shop, settings, progress or (lambda _what, _share: None))
    return _KEPT[key]


def _key(shop: Shop, name: str, version: int, subject: str, settings: Mapping[str, Any]) -> str:
    return json.dumps([str(shop.folder), name, version, subject, settings], sort_keys=True)


def _work(name: str) -> Work:
    module, function = METHODS[name]
    work: Work = getattr(import_module(module), function)
    return work
