"""A second way to the check digit, and made-up numbers, for the tests of this room.

What a character counts is the low half of its code in EBCDIC (code page 037, in Python's standard
library): A is C1, J is D1, S is E2, 5 is F5. Weights are those of 49 CFR 565.15(c). The remainder
is taken with fractions, as the regulation tells it.
"""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

WEIGHTS = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2]
LETTERS_AND_DIGITS = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
YEAR_CODES = "123456789ABCDEFGHJKLMNPRSTVWXY"


def counts(character: str) -> int:
    return character.encode("cp037")[0] & 0x0F


def second_check_digit(vin: str) -> str:
    total = sum(counts(one) * weight for one, weight in zip(vin, WEIGHTS, strict=True))
    quotient = Fraction(total, 11)
    elevenths = (quotient - quotient.numerator // quotient.denominator) * 11
    return "X" if elevenths == 10 else str(elevenths)


def fits(vin: str) -> bool:
    return vin[8] == second_check_digit(vin)


def with_check(vin: str) -> str:
    return f"{vin[:8]}{second_check_digit(vin)}{vin[9:]}"


any_vin = st.text(LETTERS_AND_DIGITS, min_size=17, max_size=17).map(with_check)


@st.composite
def american_vins(draw: st.DrawFn) -> str:
    """Numbers as 49 CFR 565 has them: made-up maker, year code at 10, digits at the end."""
    return with_check(
        draw(st.sampled_from("12345"))
        + draw(st.text("ABCDEFGH", min_size=1, max_size=1))
        + draw(st.text("ABCDEFGH12345678", min_size=1, max_size=1))
        + draw(st.text(LETTERS_AND_DIGITS, min_size=5, max_size=5))
        + "0"
        + draw(st.sampled_from(YEAR_CODES))
        + draw(st.text(LETTERS_AND_DIGITS, min_size=1, max_size=1))
        + draw(st.text("0123456789", min_size=6, max_size=6))
    )
