"""Our own words as pages show them; templates translate them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from beltside.web.texts import text_

STAGE_WORDS: Final[Mapping[str, str]] = {
    "complaint": text_("Complaint"),
    "listen": text_("Listen"),
    "find": text_("Find"),
    "measure": text_("Measure"),
    "agree": text_("Agree"),
    "work": text_("Work"),
    "prove": text_("Prove"),
    "record": text_("Record"),
    "closed": text_("Closed"),
}
"""The stages of a job."""

PART_WORDS: Final[Mapping[str, str]] = {
    "crank": text_("crank"),
    "coolant-pump": text_("coolant pump"),
    "alternator": text_("alternator"),
    "idler": text_("idler"),
    "tensioner": text_("tensioner"),
    "ac-compressor": text_("air conditioning compressor"),
    "steering-pump": text_("steering pump"),
    "fan": text_("fan"),
    "belt": text_("belt"),
    "timing-chain": text_("timing chain"),
    "valve-train": text_("valve train"),
    "vacuum-leak": text_("vacuum leak"),
    "exhaust-leak": text_("exhaust leak"),
    "engine": text_("engine"),
    "none": text_("nothing"),
}
"""Parts of an engine."""


def part_words(name: str) -> str:
    """A part's words; "idler-2" keeps its number, what is no part stays as it is.

    >>> part_words("coolant-pump"), part_words("idler-2"), part_words("under the car")
    ('coolant pump', 'idler 2', 'under the car')
    """
    kind, _, count = name.rpartition("-")
    if count.isdecimal() and kind in PART_WORDS:
        return f"{PART_WORDS[kind]} {count}"
    return PART_WORDS.get(name, name)


RATE_WORDS: Final = (
    ("currency", text_("Currency")),
    ("labour_per_hour", text_("An hour of labour, without tax")),
    ("tax_percent", text_("Tax, per cent; 0 where none is due")),
    ("parts_margin_percent", text_("Added to buying prices, per cent")),
    ("consumables", text_("Small material, flat, without tax")),
    ("travel", text_("The way, flat, without tax")),
    ("deposit_percent", text_("Deposit on parts, per cent")),
    ("offer_days", text_("Days for which the offer holds")),
)
"""Rates of an estimate: the setting's name and its words, the currency with them."""
