"""What a technician calls the things that are switched on, and the word each counts as."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

from beltside.casework.formats.fields import as_word

LOADS: Final = ("lights", "ac", "steering")
"""What makes a part work harder: electric consumers the alternator, air conditioning its
compressor (with alternator and fan), the steering its pump. Common practice, no source."""

_OTHER_WORDS: Final = {
    "lights": (
        "light",
        "lamps",
        "lamp",
        "headlights",
        "headlight",
        "head-lights",
        "headlamps",
        "headlamp",
        "head-lamps",
        "full-beam",
        "high-beam",
        "main-beam",
        "low-beam",
        "dipped-beam",
        "fog-lights",
        "fog-lamps",
        "electrics",
        "electric",
        "electrical",
        "electrical-load",
        "electric-load",
        "all-electrics",
        "consumers",
        "electrical-consumers",
        "electric-consumers",
        "rear-window",
        "rear-window-heater",
        "rear-window-heating",
        "rear-heater",
        "rear-screen",
        "rear-screen-heater",
        "rear-heated-window",
        "rear-defogger",
        "rear-defroster",
        "rear-demister",
        "defogger",
        "defroster",
        "demister",
        "heated-rear-window",
        "heated-rear-screen",
        "heated-window",
        "heated-windows",
        "heated-windscreen",
        "heated-windshield",
        "heated-screen",
        "heated-seat",
        "heated-seats",
        "seat-heater",
        "seat-heaters",
        "seat-heating",
        "window-heater",
        "blower",
        "blower-fan",
        "blower-motor",
        "heater-blower",
        "heater-fan",
        "heater",
        "cabin-fan",
        "interior-fan",
    ),
    "ac": (
        "a/c",
        "a-c",
        "a.c.",
        "air-con",
        "aircon",
        "air-conditioning",
        "airconditioning",
        "air-conditioner",
        "air-condition",
        "aircondition",
        "ac-compressor",
        "a/c-compressor",
        "air-con-compressor",
        "climate",
        "climate-control",
    ),
    "steering": (
        "power-steering",
        "power-assisted-steering",
        "pas",
        "steer",
        "steering-pump",
        "power-steering-pump",
        "steering-turned",
        "steering-at-stop",
        "steering-at-the-stop",
        "steering-at-full-lock",
        "steering-full-lock",
        "steering-on-lock",
        "steering-lock",
        "steering-wheel",
        "steering-wheel-turned",
        "wheel-turned",
        "wheels-turned",
        "full-lock",
        "on-full-lock",
        "at-full-lock",
        "lock",
        "on-lock",
        "lock-to-lock",
    ),
}
_WORD_OF: Final = {word: load for load, words in _OTHER_WORDS.items() for word in (load, *words)}
_NOTHING: Final = frozenset({"", "none", "nothing", "no", "no-load", "off", "all-off"})
_BETWEEN: Final = re.compile(r"\s*[,;+&]\s*|\s+and\s+", re.IGNORECASE)


def as_load(text: str) -> str | None:
    """The load that a word or two of the trade mean; None when they mean none that counts.

    >>> as_load("Rear_window heater"), as_load("A/C on"), as_load("steering at the stop")
    ('lights', 'ac', 'steering')
    >>> as_load("radio") is None
    True
    """
    word = re.sub(r"^the-", "", as_word(text))
    return _WORD_OF.get(word) or _WORD_OF.get(word.removesuffix("-on"))


def as_loads(texts: Iterable[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What is switched on, each once in our words, and what of it counts for no part.

    One text may name several ("lights and a/c"). A word that means none of `LOADS` stays as
    typed, in both answers; "none" and empty texts are no load.

    >>> as_loads(["Headlights + blower", "air con", "radio"])
    (('lights', 'ac', 'radio'), ('radio',))
    """
    loads: dict[str, None] = {}
    unknown: dict[str, None] = {}
    for text in texts:
        pieces = [text] if as_load(text) else _BETWEEN.split(text.strip())
        if all(as_load(piece) is None and as_word(piece) not in _NOTHING for piece in pieces):
            pieces = [text.strip()]
        for piece in pieces:
            load = as_load(piece)
            if load is None and as_word(piece) in _NOTHING:
                continue
            loads.setdefault(load or piece)
            if load is None:
                unknown.setdefault(piece)
    return tuple(loads), tuple(unknown)


def unknown_loads_said(take: str, unknown: Iterable[str]) -> list[str]:
    """What to say of words that count for no part; nothing when there are none.

    >>> unknown_loads_said("idle.m4a", ["radio"])[0][:45]
    'idle.m4a: load "radio" counts for no part; th'
    """
    named = ", ".join(f'"{word[:60]}"' for word in unknown)
    if not named:
        return []
    return [
        f"{take}: load {named} counts for no part; "
        "these do: lights (also other electrics), ac, steering"
    ]
