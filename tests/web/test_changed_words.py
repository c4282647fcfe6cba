"""What changed in an entry, in words: no code word of the record, units written out."""

from __future__ import annotations

from typing import Any

import pytest

from beltside.web.changed_words import changed_fields
from beltside.web.texts import said

SHEET = 'name = "front drive"\n[engine]\ncylinders = 4\nidle_rpm = 760\n[belt]\nribs = 6\n'


def german(words: str) -> str:
    return said(words, "de")


def told(was: dict[str, Any], now: dict[str, Any]) -> list[tuple[str, str, str]]:
    return changed_fields(was, now, str)


def test_a_field_is_named_in_words_with_its_unit() -> None:
    # Units by the SI brochure, 9th edition 2019; litre as L.
    body = {"crank_rpm": 760, "tension_n": 310.5, "displacement_l": 1.4}
    assert told({}, body) == [
        ("crank [1/min]", "", "760"),
        ("tension [N]", "", "310.5"),
        ("displacement [L]", "", "1.4"),
    ]
    assert changed_fields({}, body, german) == [
        ("Drehzahl [1/min]", "", "760"),
        ("Spannung [N]", "", "310,5"),
        ("Hubraum [l]", "", "1,4"),
    ]


def test_what_is_inside_of_a_value_is_named_so_too() -> None:
    given = {"given": {"cap": "108 kPa", "gauge_step_kpa": 1.0, "strokes": None}}
    assert told({}, given) == [("given", "", "cap: 108 kPa; gauge step [kPa]: 1.0")]
    assert changed_fields({}, given, german)[0][2] == (
        "cap: 108 kPa; Teilung des Manometers [kPa]: 1,0"
    )


def test_of_a_sheet_only_what_differs_is_told() -> None:
    now = SHEET.replace("760", "820")
    assert told({"text": SHEET}, {"text": now}) == [
        ("text", "engine (idle [1/min]: 760)", "engine (idle [1/min]: 820)")
    ]


def test_what_is_no_sheet_is_shown_as_it_was_typed() -> None:
    assert told({"text": SHEET}, {"text": "idle rpm: 760"})[0][2] == "idle rpm: 760"


def test_typed_words_stay_as_they_are() -> None:
    typed = {"name": "Tarn 1.4", "words": "check-up, 7.5 V at idle", "due": "2026-11-30"}
    assert [now for _, _, now in changed_fields({}, typed, german)] == list(typed.values())


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("cause", "alternator.bearing", "Lager der Lichtmaschine"),
        ("closed", True, "ja"),
        ("agreed_at", "2026-11-30T12:37:36+00:00", "2026-11-30 12:37 UTC"),
        ("price", "7.90", "7,90"),
    ],
)
def test_a_value_is_readable(field: str, value: Any, words: str) -> None:
    assert changed_fields({}, {field: value}, german)[0][2] == words


def test_names_of_files_and_what_came_up_empty_are_left_out() -> None:
    assert told({}, {"file": "a" * 64, "files": ["b" * 64, "c" * 24], "load": [], "note": ""}) == []


def test_a_long_value_is_cut() -> None:
    assert told({}, {"words": "x" * 300})[0][2] == "x" * 200 + "..."
