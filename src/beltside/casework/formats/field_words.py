"""What is wrong with one field of an entry, in plain words: what was given, and what is allowed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from beltside.base.errors import InputError, nearest

_PATTERNS: Final = {
    r"^-?\d{1,12}(\.\d{1,4})?$": "an amount such as 84.50",
    "^[0-9a-f]{64}$": "the name of a stored file, 64 digits and letters a to f",
}
_TYPES: Final = {
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list",
    "object": "a group of keys",
    "string": "text",
}


def field_problem(keys: type[BaseModel], found: Mapping[str, Any]) -> tuple[str, str]:
    """The field's name and what is wrong with it, from one of pydantic's findings.

    >>> from beltside.casework.formats.entries import ComplaintKeys, FindingEntryKeys
    >>> error = {"type": "literal_error", "loc": ("engine",), "input": "colt", "msg": ""}
    >>> field_problem(ComplaintKeys, error)
    ('engine', '"colt". Allowed: "cold", "hot", "both", or nothing. Try: "cold".')
    >>> error = {"type": "greater_than_equal", "loc": ("minutes",), "input": -3.0, "msg": ""}
    >>> field_problem(FindingEntryKeys, error)
    ('minutes', '-3. Allowed: a number, 0 to 10000 (how long it took, minutes).')
    """
    name = ".".join(str(step) for step in found["loc"])
    field = str(found["loc"][0]) if found["loc"] else ""
    if found["type"] == "extra_forbidden":
        close = nearest(name, keys.model_fields)
        known = ", ".join(keys.model_fields)
        there = f"the nearest is {close}" if close else f"there are {known}"
        return name, f"there is no such field; {there}"
    info = keys.model_fields.get(field)
    about = (info.description or "") if info else ""
    if found["type"] == "missing":
        return name, f"is missing: {about}" if about else "is missing"
    schema = keys.model_json_schema().get("properties", {}).get(field, {})
    words = [one for part in _parts(schema) for one in part.get("enum", [part.get("const")]) if one]
    allowed = _allowed(schema, words)
    if info is not None:
        allowed = _limited(allowed, info)
    close = nearest(str(found["input"]), words) if words else None
    reason = found["msg"].partition("Value error, ")[2]
    told = InputError(
        _shown(found["input"]) + (f": {reason}" if reason else ""),
        allowed=f"{allowed} ({about})" if about and not words else allowed,
        instead=f'"{close}"' if close else "",
    )
    return name, str(told)


def _parts(schema: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """A field's schema, or each of those it may be."""
    several = schema.get("anyOf")
    if several is None:
        yield schema
        return
    for one in several:
        yield from _parts(one)


def _allowed(schema: Mapping[str, Any], words: list[str]) -> str:
    parts = [one for one in _parts(schema) if one.get("type") != "null"]
    empty = len(parts) < len(list(_parts(schema))) or "" in schema.get("enum", [])
    if words:
        said = ", ".join(f'"{word}"' for word in words)
    else:
        said = " or ".join(dict.fromkeys(_one(part) for part in parts)) or "something else"
    return f"{said}, or nothing" if empty and words else said


def _one(part: Mapping[str, Any]) -> str:
    kind = _TYPES.get(str(part.get("type")), "something else")
    if part.get("type") == "array":
        return f"a list, each {_one(part.get('items', {}))}"
    if part.get("pattern") in _PATTERNS:
        return _PATTERNS[part["pattern"]]
    if "maxLength" in part:
        return f"{kind}, up to {part['maxLength']} characters"
    return kind


def _limited(kind: str, info: FieldInfo) -> str:
    """A number with its limits, which pydantic's schema leaves out behind a validator."""
    limits = {type(one).__name__: one for one in _metadata(info.annotation, info.metadata)}
    low, above, high = (
        getattr(limits.get(name), name.lower(), None) for name in ("Ge", "Gt", "Le")
    )
    if low is not None and high is not None:
        return f"{kind}, {_plain(low)} to {_plain(high)}"
    if above is not None and high is not None:
        return f"{kind} above {_plain(above)}, up to {_plain(high)}"
    if above is not None:
        return f"{kind} above {_plain(above)}"
    return f"{kind}, {_plain(low)} or more" if low is not None else kind


def _metadata(annotation: Any, beside: Sequence[Any]) -> Iterator[Any]:
    for one in beside:
        # `Field(ge=0)` inside a union holds its limits once more.
        yield from one.metadata if isinstance(one, FieldInfo) else [one]
    yield from (
        found
        for inner in get_args(annotation)
        for found in _metadata(inner, getattr(inner, "__metadata__", ()))
    )


def _plain(number: float) -> str:
    return str(int(number)) if float(number).is_integer() else f"{number:g}"


def _shown(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value[:60]}{"..." if len(value) > 60 else ""}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "nothing was given"
    if isinstance(value, int | float):
        return f"{value:.10g}"
    return f"a list of {len(value)}" if isinstance(value, list) else "a group of keys"
