"""Own minutes and prices over the shipped tables: rows and texts, nothing broken is written."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from beltside.base.errors import InputError
from beltside.casework.own import tables
from beltside.casework.own_values import own_values, save_own_text, save_own_values
from beltside.casework.shop import FieldProblemsError

MONEY = "repair.coolant-pump.money"
MINUTES = "check.spin-by-hand.minutes"


def value(folder: Path, name: str) -> float:
    return next(one.now for one in own_values(folder).values if one.field == name)


def test_a_value_holds_until_it_is_emptied(tmp_path: Path) -> None:
    shipped = own_values(tmp_path)
    assert not any(one.own for one in shipped.values)
    save_own_values(tmp_path, {MONEY: "95,50", MINUTES: "3"})
    found = tables(folder=tmp_path, with_learned=False)
    assert next(one for one in found.costs.repairs if one.id == "coolant-pump").money == 95.5
    assert found.catalogue.check("spin-by-hand").minutes == 3
    save_own_values(tmp_path, {MONEY: ""})
    assert value(tmp_path, MONEY) == next(
        one.shipped for one in shipped.values if one.field == MONEY
    )
    assert tomllib.loads((tmp_path / "costs.toml").read_text()) == {}
    assert value(tmp_path, MINUTES) == 3


def test_what_else_stands_in_the_text_stays(tmp_path: Path) -> None:
    text = "# prices of spring\nhand_over = 500\n[repair.idler]\nmoney = 25 # the cheap one\n"
    save_own_text(tmp_path, "costs.toml", text)
    save_own_values(tmp_path, {MONEY: "120"})
    now = (tmp_path / "costs.toml").read_text()
    assert "# prices of spring" in now
    assert "money = 25 # the cheap one" in now
    assert value(tmp_path, MONEY) == 120
    # What stood there is kept beside it.
    assert (tmp_path / "costs-before-1.toml").read_text() == text


@pytest.mark.parametrize("typed", ["dear", "-1", "1e9", "inf", "nan", "1 2"])
def test_what_is_no_value_is_refused_and_nothing_written(tmp_path: Path, typed: str) -> None:
    with pytest.raises(FieldProblemsError) as caught:
        save_own_values(tmp_path, {MONEY: typed, MINUTES: "3"})
    assert set(caught.value.by_field) == {MONEY}
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("costs.toml", "money = [", "no TOML"),
        ("costs.toml", "wages = 4", "wages"),
        ("catalogue.toml", '[suspect."belt.slip"]\nweight = -4', "weight"),
        ("other.toml", "", "no own file"),
    ],
)
def test_a_text_that_gives_no_tables_is_refused(
    tmp_path: Path, name: str, text: str, said: str
) -> None:
    with pytest.raises(InputError, match=said):
        save_own_text(tmp_path, name, text)
    assert list(tmp_path.iterdir()) == []


def test_a_broken_file_is_told_and_what_ships_holds(tmp_path: Path) -> None:
    (tmp_path / "costs.toml").write_text("wages = 4")
    found = own_values(tmp_path)
    assert "wages" in found.problem
    assert found.values
    assert found.texts["costs.toml"] == "wages = 4"
