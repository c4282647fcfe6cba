"""Pictures that were drawn once, kept by what they were drawn from: asked again, they are there."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Final

MOST_KEPT: Final = 64
_KEPT: Final[OrderedDict[Hashable, str]] = OrderedDict()
_LOCK: Final = threading.Lock()


def drawn_once(key: Hashable, draw: Callable[[], str]) -> str:
    """The picture of this key, drawn now when it is not kept.

    `key` names all the picture depends on.
    """
    with _LOCK:
        if key in _KEPT:
            _KEPT.move_to_end(key)
            return _KEPT[key]
    made = draw()
    with _LOCK:
        _KEPT[key] = made
        while len(_KEPT) > MOST_KEPT:
            _KEPT.popitem(last=False)
    return made
