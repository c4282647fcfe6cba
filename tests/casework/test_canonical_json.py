"""The one form of JSON, against RFC 8785 (2020)."""

from __future__ import annotations

import json
import math
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.casework.canonical_json import canonical, digest_of, number

# RFC 8785, appendix B: IEEE 754 bits and the number as ECMAScript writes it (from memory).
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555555": "333333333.3333333",
    "becbf647612f3696": "-0.0000033333333333333333",
}


@pytest.mark.parametrize(("bits", "written"), NUMBERS.items())
def test_numbers_as_the_rfc_writes_them(bits: str, written: str) -> None:
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    assert number(value) == written


def test_names_sort_by_their_utf_16_units() -> None:
    """RFC 8785, section 3.2.3: the example's order of names (from memory)."""
    plain = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    order = [json.loads(f'"{one}"') for one in ("\\r", "1", "\\u0080", "\\u00f6", "\\u20ac")]
    order += ["\U0001f600", "\ufb33"]
    assert list(json.loads(canonical(plain))) == order


def test_text_is_escaped_as_little_as_allowed() -> None:
    """RFC 8785, section 3.2.2.2: short escapes, lower-case hexadecimal, all else as it is."""
    assert canonical('\u20ac$\u000f\nA\'B"\\\\"/') == (
        '"\u20ac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"'.encode()
    )


@settings(max_examples=200)
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_reads_back_as_itself(value: float) -> None:
    assert float(number(value)) == value
    assert json.loads(canonical(value), parse_int=float) == value


PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(-1e15, 1e15)
    | st.text(st.characters(exclude_categories=("Cs",)), max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(exclude_categories=("Cs",))), inner, max_size=4)
    ),
    max_leaves=12,
)


@settings(max_examples=100)
@given(PLAIN)
def test_the_form_is_one_and_reads_back(plain: object) -> None:
    once = canonical(plain)
    again = json.loads(once)
    assert again == plain
    assert canonical(again) == once
    assert digest_of(again) == digest_of(plain)


@pytest.mark.parametrize("value", [math.nan, math.inf, 2**53 + 1, object(), b"x"])
def test_what_has_no_form_is_refused(value: object) -> None:
    with pytest.raises(ValueError, match=r"form|beyond"):
        canonical({"a": value})
