"""JSON in one form only, so that a digest of it means something: RFC 8785 (JSON Canonicalization).

Keys sorted by their UTF-16 code units, no spaces, numbers as ECMAScript writes them.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

MOST_EXACT: Final = 2**53
"""Integers beyond this are not told apart by readers of I-JSON (RFC 7493): refused."""


def canonical(value: Any) -> bytes:
    """The value in its one form, UTF-8.

    Parameters
    ----------
    value
        Text without half surrogate pairs, finite numbers, yes or no, None, lists, tables.

    Raises
    ------
    ValueError
        For anything else.

    >>> canonical({"b": 2.50, "a": [1e21, True, None, "é"]})
    b'{"a":[1e+21,true,null,"\\xc3\\xa9"],"b":2.5}'
    """
    return _text(value).encode("utf-8")


def digest_of(value: Any) -> str:
    """SHA-256 (FIPS 180-4) of the canonical form, 64 hexadecimal digits."""
    return hashlib.sha256(canonical(value)).hexdigest()


def _text(value: Any) -> str:
    if value is None or isinstance(value, bool):
        return json.dumps(value)
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int):
        if abs(value) > MOST_EXACT:
            raise ValueError(f"{value} is beyond 2^53")
        return str(value)
    if isinstance(value, float):
        return number(value)
    if isinstance(value, Mapping):
        names = sorted(value, key=lambda name: name.encode("utf-16-be"))
        return "{" + ",".join(f"{_string(name)}:{_text(value[name])}" for name in names) + "}"
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray):
        return "[" + ",".join(_text(one) for one in value) + "]"
    raise ValueError(f"{type(value).__name__} has no form in JSON")


def _string(text: str) -> str:
    # The module json escapes as the RFC asks, short forms and lower-case hexadecimal included.
    return json.dumps(text, ensure_ascii=False)


def number(value: float) -> str:
    """A number as ECMAScript's Number::toString writes it (ECMA-262, section 6.1.6.1.20).

    Raises
    ------
    ValueError
        When it is not finite.

    >>> number(0.000001), number(1e-7), number(333333333.33333329), number(-0.0)
    ('0.000001', '1e-7', '333333333.3333333', '0')
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} has no form in JSON")
    if value == 0.0:
        return "0"
    # repr gives the shortest digits that read back as the same number, as ECMAScript does.
    mantissa, _, power = repr(abs(value)).partition("e")
    whole, _, part = mantissa.partition(".")
    digits = (whole + part).lstrip("0")
    point = len(whole) + int(power or 0) - (len(whole + part) - len(digits))
    digits = digits.rstrip("0")
    sign = "-" if value < 0 else ""
    count = len(digits)
    if count <= point <= 21:
        return sign + digits + "0" * (point - count)
    if 0 < point <= 21:
        return f"{sign}{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    rest = f".{digits[1:]}" if count > 1 else ""
    return f"{sign}{digits[0]}{rest}e{point - 1:+d}"
