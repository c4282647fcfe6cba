"""Every error that a page can come to show is said in the language of the pages."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest
from pydantic import BaseModel
from pydantic.fields import FieldInfo

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

from beltside.base.errors import BeltsideError
from beltside.casework.shop import ENTRY_KINDS
from beltside.casework.vehicle import vehicle
from beltside.web.texts import LANGUAGES, said_or_none
from untranslated import english_in

from .errors_made import Told, told

OTHERS = [name for name in LANGUAGES if name != "en"]
BETWEEN_ROOMS: Final = "what one function hands to another; no person types it"
SHIPPED: Final = "what ships with Beltside, or was fitted for it, is not whole"
AT_THE_START: Final = "told where Beltside is started, before there is a page"
STAYS_ENGLISH: Final = {
    **dict.fromkeys(
        (
            "beltside.sound.angle",
            "beltside.sound.background",
            "beltside.sound.bands",
            "beltside.sound.crank_feed",
            "beltside.sound.direction",
            "beltside.sound.events",
            "beltside.sound.families",
            "beltside.sound.fingerprint",
            "beltside.sound.gate",
            "beltside.sound.hearing",
            "beltside.sound.level",
            "beltside.sound.level_match",
            "beltside.sound.loudness",
            "beltside.sound.orders",
            "beltside.sound.sharpness",
            "beltside.sound.strum",
            "beltside.sound.third_octave",
            "beltside.media.writing",
            "beltside.jobs.sound_copy",
            "beltside.jobs.sounds",
            "beltside.casework.kept_pictures",
        ),
        BETWEEN_ROOMS,
    ),
    "beltside.suspects.sound_model": SHIPPED,
    "beltside.suspects.complaints": SHIPPED,
    "beltside.jobs.workers": AT_THE_START,
    "beltside.web.authority": AT_THE_START,
}
"""Modules whose errors need no other language, and why. What is known of them is said all the
same: "a take of 0.20 s", "nothing but silence"."""
# Misread in the ways numbers are: a sign too few or too many, letters that never occur, a digit
# that does not fit, a number of no sense.
LINE: Final = re.compile("`[^`]*`")
"""A line or command to be typed as it is."""
QUOTED: Final = re.compile('"[^"]*"|[A-Z0-9.]{10,}')
NUMBERS = (
    "1M8GDM9AXKP04278",
    "1M8GDM9AXKP0427888",
    "1M8GDM9AXKPO42788",
    "IM8GDM9AXKP042788",
    "1M8GDM9QXKP042788",
    "1M8GDM9_XKP042788",
    "1M8GDM9A4KP042788",
    "WAUZZZ8K9BA12345",
    "WAUZZZ8K99BA123456",
    "1234567",
    "123456789012345678901",
    "OABCV02.0XYZ",
    "IABCV02.0XYZ",
    "NABCVO2.0XYZ",
    "NABCV2.0.XYZ",
    "NABCV02.0XY_",
    "NABCV020XYZ",
)


def in_english(text: str, language: str) -> bool:
    """Whether a text, with figures in its gaps, reads English in another language."""
    if not english_in(text, language):
        return False  # a unit, an option, a figure
    found = said_or_none(text.replace("{}", "7"), language)
    return found is None or english_in(LINE.sub(" ", found), language) != ""


def shown() -> Iterator[Told]:
    for one in told():
        if one.place.rpartition(":")[0] not in STAYS_ENGLISH:
            yield one


@pytest.mark.parametrize("language", OTHERS)
def test_every_error_of_a_page_is_said_in_it(language: str) -> None:
    assert [f"{one.place} {one.text}" for one in shown() if in_english(one.text, language)] == []


def test_errors_are_found_where_pages_lead() -> None:
    texts = {one.text for one in told()}
    assert len(texts) > 900
    # Of a form, of a file from a phone, of the disk; none that only a command raises.
    assert {
        "say what the owner says, who he is, or which car",
        "{} is a video without sound",
    } <= texts
    assert "neither a photo nor taps" not in texts


def test_what_stays_english_says_why_and_is_there() -> None:
    places = {one.place.rpartition(":")[0] for one in told()}
    assert set(STAYS_ENGLISH) <= places
    assert all(why for why in STAYS_ENGLISH.values())


@pytest.mark.parametrize("language", OTHERS)
def test_every_field_of_the_record_is_named_in_it(language: str) -> None:
    """An error names the field it is about: "text, up to 300 characters (postal address)"."""
    about = {one.description or "" for keys in ENTRY_KINDS.values() for one in fields_of(keys)}
    assert [text for text in sorted(about) if in_english(text, language)] == []


def fields_of(keys: type[BaseModel]) -> Iterator[FieldInfo]:
    for one in keys.model_fields.values():
        yield one
        if isinstance(one.annotation, type) and issubclass(one.annotation, BaseModel):
            yield from fields_of(one.annotation)


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("number", NUMBERS)
def test_a_misread_vehicle_number_is_said_in_it(number: str, language: str) -> None:
    try:
        found = vehicle(number, today_year=2027)
        texts = [found.year_says, *found.warnings]
    except BeltsideError as error:
        texts = [error.given, error.allowed, error.instead]
    for text in texts:
        found_text = said_or_none(text, language) or text
        assert english_in(QUOTED.sub(" ", found_text), language) == ""
