"""What changed between two versions of an entry, in words: fields with their unit, values readable.

The record keeps code words, such as `crank_rpm`; no page shows them.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from typing import Any, Final

from beltside.web.texts.figures import is_figure

Say = Callable[[str], str]
"""Gives words in the language of the page."""

LONGEST: Final = 200
_UNITS: Final = {
    "c": "°C",
    "db": "dB",
    "deg": "°",
    "hz": "Hz",
    "km": "km",
    "kpa": "kPa",
    "l": "L",
    "min": "min",
    "ml": "mL",
    "mm": "mm",
    "n": "N",
    "nm": "N m",
    "rpm": "1/min",
}
# Names of files and entries, which say nothing to a reader.
_INNER_NAME: Final = re.compile(r"[0-9a-f]{24}|[0-9a-f]{64}")
_CODE: Final = re.compile(r"[a-z]+(?:[-_][a-z0-9]+)+")
_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d.*")
_HEADS: Final = ("headline", "says")
"""Where a result says itself in a sentence."""
_SHEETS: Final = ("text", "toml")
"""Fields that hold a whole TOML file."""
_SUSPECTS: Final = ("cause", "replaced")


def field_words(field: str, say: Say) -> str:
    """A field's name in words, with its unit; German names have theirs already.

    >>> field_words("pressure_kpa", str), field_words("outcome", str)
    ('pressure [kPa]', 'outcome')
    """
    words = say(field.replace("_", " "))
    name, _, last = words.rpartition(" ")
    return f"{name} [{_UNITS[last]}]" if name and last in _UNITS else words


def changed_fields(
    was: Mapping[str, Any], now: Mapping[str, Any], say: Say
) -> list[tuple[str, str, str]]:
    """Each field that is not as it was: its name, its value before and its value now, in words.

    A field that only came up empty is left out, so are names of stored files; of a sheet only
    what differs is told.
    """
    found = []
    for name, value in now.items():
        before = was.get(name)
        if before == value or (name not in was and value in ("", None, [], {}, False)):
            continue
        if _is_inner_name(value):
            continue
        if name in _SHEETS:
            before, value = _apart(_sheet(before), _sheet(value))
        found.append((field_words(name, say), _shown(before, say, name), _shown(value, say, name)))
    return found


def _is_inner_name(value: Any) -> bool:
    """Whether it is the name of a file or entry, or nothing but such names."""
    if isinstance(value, list):
        return bool(value) and all(map(_is_inner_name, value))
    return isinstance(value, str) and _INNER_NAME.fullmatch(value) is not None


def _sheet(value: Any) -> Any:
    """What a TOML file holds; as it is when it is none."""
    if not isinstance(value, str):
        return value
    try:
        return tomllib.loads(value)
    except tomllib.TOMLDecodeError:
        return value


def _apart(was: Any, now: Any) -> tuple[Any, Any]:
    """Of two tables only what differs, as deep as they are tables; all where that is nothing."""
    if not (isinstance(was, Mapping) and isinstance(now, Mapping)) or was == now:
        return was, now
    names = [name for name in {**was, **now} if was.get(name) != now.get(name)]
    pairs = {name: _apart(was.get(name), now.get(name)) for name in names}
    return {name: one for name, (one, _) in pairs.items()}, {
        name: one for name, (_, one) in pairs.items()
    }


def _shown(value: Any, say: Say, field: str = "") -> str:
    """A value in a line; long ones cut."""
    if isinstance(value, Mapping):
        head = next((value[name] for name in _HEADS if value.get(name)), None)
        words = _shown(head, say) if head else "; ".join(_members(value, say))
    elif isinstance(value, list):
        words = "; ".join(_inside(one, say, field) for one in value if one not in ("", None))
    else:
        return _plain(value, say, field)
    return words if len(words) <= LONGEST else words[:LONGEST] + "..."


def _members(value: Mapping[str, Any], say: Say) -> list[str]:
    """Each field of a table that holds something, with its value."""
    told = []
    for name, one in value.items():
        words = _inside(one, say, name)
        if words and isinstance(one, Mapping):
            told.append(f"{field_words(name, say)} {words}")
        elif words:
            told.append(f"{field_words(name, say)}: {words}")
    return told


def _inside(value: Any, say: Say, field: str) -> str:
    """A value that stands in another one; a table between brackets."""
    words = _shown(value, say, field)
    return f"({words})" if words and isinstance(value, Mapping) else words


def _plain(value: Any, say: Say, field: str) -> str:
    if value in (None, ""):
        return ""
    if isinstance(value, bool):
        return say("yes" if value else "no")
    words = str(value)
    if len(words) > LONGEST:
        return words[:LONGEST] + "..."
    if "," in words and is_figure(words):
        return words  # typed with a comma for decimals
    if _DATE.fullmatch(words):
        return f"{words[:16].replace('T', ' ')} UTC" if words.endswith("+00:00") else words
    known = say(words)
    if known != words or not isinstance(value, str):
        return known
    if field in _SUSPECTS:
        return say(words.replace(".", " ").replace("-", " "))
    if not _CODE.fullmatch(words):
        return words
    spaced = re.sub("[-_]", " ", words)
    known = say(spaced)
    return known if "_" in words or known != spaced else words
