"""A job bent to the car in rows: what the form does not show stays, what it says is planned."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from typing import Any

import pytest

from beltside.base.errors import InputError, LimitError
from beltside.casework.plan_form import PlanForm, PlanRow, plan_form, plan_toml, try_plan
from beltside.casework.teardown_templates import template_names, template_text
from beltside.casework.toml_form import MOST_LETTERS

TEXT = template_text("coolant-pump")


def thing(toml: str, name: str) -> dict[str, Any]:
    return next(one for one in tomllib.loads(toml)["thing"] if one["name"] == name)


def changed(name: str, **fields: Any) -> str:
    form = plan_form(TEXT)
    rows = [replace(row, **fields) if row.name == name else row for row in form.rows]
    return plan_toml(PlanForm(form.title, rows), TEXT)


@pytest.mark.parametrize("name", template_names())
def test_a_form_sent_back_untouched_changes_nothing(name: str) -> None:
    text = template_text(name)
    assert plan_toml(plan_form(text), text) == text


def test_needs_stand_in_plain_words() -> None:
    row = next(one for one in plan_form(TEXT).rows if one.name == "pump-bolts")
    assert row.needs[2].words == (
        "alternator out / work round the alternator with short tools, here and on refitting / "
        "engine mount off on the belt side + wheel liner off on the belt side"
    )


def test_a_field_is_written_and_the_rest_stays() -> None:
    toml = changed(
        "pump-bolts", off=("4", "7,5", "15"), torque_nm="9", torque_source="the maker's data"
    )
    now = thing(toml, "pump-bolts")
    assert now["off"] == [4, 7.5, 15]
    assert (now["fastener"]["torque_nm"], now["fastener"]["count"]) == (9, 5)
    assert now["trouble"] == thing(TEXT, "pump-bolts")["trouble"]
    assert toml.count("#") == TEXT.count("#")


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [(("5", "", ""), 5), (("", "", ""), None), (("2", "", "9"), [2, 2, 9]), (("x", "", ""), "x")],
)
def test_minutes_half_typed(typed: tuple[str, ...], wanted: Any) -> None:
    assert thing(changed("undertray", off=typed), "undertray").get("off") == wanted


def test_what_is_not_on_this_car_is_no_longer_in_the_way() -> None:
    toml = plan_toml(plan_form(TEXT), TEXT, out=["undertray"])
    assert all("undertray" not in str(one) for one in tomllib.loads(toml)["thing"])
    before, after = try_plan(TEXT).result, try_plan(toml).result
    assert before is not None
    assert after is not None
    # Its own minutes, 5.5 off and 6.5 on by the three-point rule, are all that goes.
    assert before.way.expected_min - after.way.expected_min == pytest.approx(12.0)


def test_a_way_taken_out_leaves_the_others() -> None:
    toml = plan_toml(plan_form(TEXT), TEXT, out=["work-round-alternator"])
    result = try_plan(toml).result
    assert result is not None
    assert "alternator" in result.way.things


def test_a_new_step_stands_in_the_way_of_another() -> None:
    form = plan_form(TEXT)
    new = PlanRow(title="Lüfter ab und zur Seite", off=("5", "", ""), blocks="pump-pulley")
    toml = plan_toml(PlanForm(form.title, [*form.rows, new]), TEXT)
    assert "lufter-ab-zur-seite" in " ".join(thing(toml, "pump-pulley")["reach"]) or (
        "lufter-ab-und-zur-seite" in thing(toml, "pump-pulley")["reach"]
    )
    result = try_plan(toml).result
    assert result is not None
    assert "Lüfter ab und zur Seite" in [step.title for step in result.steps]


def test_problems_stand_beside_their_row() -> None:
    rows = plan_form(TEXT).rows
    at = next(place for place, row in enumerate(rows) if row.name == "pump-bolts")
    tried = try_plan(changed("pump-bolts", torque_nm="9"))
    assert "source" in tried.by_field[f"{at}.torque_source"]
    tried = try_plan(changed("pump-bolts", off=("9", "5", "2")))
    assert "rising" in tried.by_field[f"{at}.off"]
    assert tried.result is None


def test_a_thing_that_stays_makes_another_way_or_none() -> None:
    assert try_plan(changed("work-round-alternator", stays=True)).result is not None
    tried = try_plan(changed("belt", stays=True))
    assert tried.result is None
    assert "no order of work is possible" in tried.other[0]


def test_text_that_is_no_toml_is_told() -> None:
    with pytest.raises(InputError, match="no TOML"):
        plan_form("title = [")
    assert try_plan("title = [").other


def test_a_text_that_would_keep_a_parser_busy_is_refused() -> None:
    """The bounds of every TOML text: docs/trust-files.md."""
    key = "a" + ".a" * 40 + " = 1\n"
    for text in (f"# {'x' * MOST_LETTERS}\n", key):
        with pytest.raises(LimitError):
            plan_form(text)
        with pytest.raises(LimitError):
            plan_toml(PlanForm("Pump", []), text)
