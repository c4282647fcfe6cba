"""Offers and agreements, from price file to the owner's OK."""

import json
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from beltside.base.errors import InputError
from beltside.casework.teardown_estimate import (
    agree,
    estimate_job,
    load_offer,
    offer_age,
    save_agreement,
    save_offer,
)

PRICES = """
currency = "EUR"
labour_per_hour = "72.00"
parts_margin_percent = "25"
tax_percent = "19"
deposit_percent = "50"
offer_days = 10
priced_on = 2026-03-01
[[price]]
name = "coolant pump"
price = "64.80"
[[price]]
name = "pump gasket"
price = "7.20"
[[price]]
name = "belt"
price = "21.35"
[[option]]
name = "pump only"
repairs = ["coolant-pump"]
reuse = ["coolant"]
[[option]]
name = "pump and belt"
repairs = ["coolant-pump", "belt"]
"""
TODAY = date(2026, 3, 5)
NOON = datetime(2026, 3, 6, 12, 0, tzinfo=UTC)


def priced(tmp_path, text=PRICES, today=TODAY):
    path = tmp_path / "prices.toml"
    path.write_text(text, encoding="utf-8")
    return estimate_job("coolant-pump", path, today=today)


def offered(tmp_path):
    path = tmp_path / "offer.json"
    save_offer(priced(tmp_path), path)
    return path


def test_a_tax_nobody_set_is_said(tmp_path):
    """Counted as 0 %, but never in silence."""
    untaxed = priced(tmp_path, PRICES.replace('tax_percent = "19"', ""))
    assert any("no tax set" in one for one in untaxed.warnings)
    assert untaxed.to_json()["tax_set"] is False
    free = priced(tmp_path, PRICES.replace('tax_percent = "19"', 'tax_percent = "0"'))
    assert not any("tax" in one for one in free.warnings)
    assert [one.sum.tax for one in free.options] == [one.sum.tax for one in untaxed.options]


def test_options_stand_side_by_side(tmp_path):
    found = priced(tmp_path)
    pump, both = found.options
    assert pump.total.low < pump.total.likely < pump.total.sure < pump.total.high
    # The belt: 21.35 + 25 % = 26.69, and the minutes to look at it, with 19 %.
    more = both.total.likely - pump.total.likely
    assert (
        Decimal("31.76")
        < more
        < Decimal("31.76") + Decimal("8") * Decimal("1.20") * Decimal("1.19")
    )
    assert "coolant" in pump.unpriced
    assert any("no price" in warning for warning in found.warnings)


def test_amounts_survive_json_to_the_cent(tmp_path):
    path = offered(tmp_path)
    for one in load_offer(path)["options"]:
        net = sum(Decimal(line["amount"]) for line in one["lines"])
        assert net == Decimal(one["net"])
        assert Decimal(one["net"]) + Decimal(one["tax"]) == Decimal(one["total"])


def test_an_offer_ages(tmp_path):
    offer = load_offer(offered(tmp_path))
    assert offer["valid_until"] == "2026-03-15"
    assert offer_age(offer, date(2026, 3, 15)).holds
    late = offer_age(offer, date(2026, 3, 16))
    assert not late.holds
    assert "ran out 1 day ago" in late.words()


def test_old_part_prices_are_named(tmp_path):
    assert not any("days old" in one for one in priced(tmp_path).warnings)
    assert any("days old" in one for one in priced(tmp_path, today=date(2026, 5, 1)).warnings)


def test_the_owners_ok_holds_who_when_and_what(tmp_path):
    agreement = agree(offered(tmp_path), "2", " A. Owner ", NOON)
    path = tmp_path / "agreed.json"
    save_agreement(agreement, path)
    told = json.loads(path.read_text(encoding="utf-8"))
    assert told["agreed_by"] == "A. Owner"
    assert told["agreed_at"] == "2026-03-06T12:00:00+00:00"
    assert told["option"]["name"] == "pump and belt"
    assert told["option"]["if_it_happens"]
    assert len(told["offer_sha256"]) == 64


@pytest.mark.parametrize(
    ("option", "name", "at", "told"),
    [
        ("pump", "A", NOON, "pump only"),
        ("3", "A", NOON, "no option"),
        ("1", "  ", NOON, "name"),
        ("1", "A", datetime(2026, 3, 20, tzinfo=UTC), "ran out 5 days ago"),
        ("1", "A", datetime(2026, 3, 1, tzinfo=UTC), "clock"),
    ],
)
def test_no_ok_to_what_was_not_offered(tmp_path, option, name, at, told):
    with pytest.raises(InputError, match=told):
        agree(offered(tmp_path), option, name, at)


def test_what_is_saved_is_never_written_over(tmp_path):
    path = offered(tmp_path)
    with pytest.raises(InputError, match="there already"):
        save_offer(priced(tmp_path), path)


@pytest.mark.parametrize("text", ["", "[]", '{"format": "other"}'])
def test_no_offer_is_no_offer(tmp_path, text):
    path = tmp_path / "offer.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="no offer"):
        load_offer(path)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('labour_per_hour = "72.00"', "labour_per_hour = 72.5", "quotes"),
        ('price = "21.35"', 'price = "cheap"', "no amount"),
        ('repairs = ["coolant-pump"]', 'repairs = ["coolant-pumps"]', '"coolant-pump"'),
        ('reuse = ["coolant"]', 'reuse = ["oil"]', "no fluid"),
        ('deposit_percent = "50"', 'deposit_percent = "150"', "0 to 100"),
        ('name = "belt"', 'name = "pump gasket"', "second time"),
        ('currency = "EUR"', "", "currency"),
    ],
)
def test_prices_written_wrong_are_named(tmp_path, old, new, told):
    assert old in PRICES
    with pytest.raises(InputError, match=told):
        priced(tmp_path, PRICES.replace(old, new, 1))


def test_an_option_nobody_named_has_the_repairs_words(tmp_path):
    """The owner reads it: no internal name."""
    text = PRICES.partition("[[option]]")[0]
    (only,) = priced(tmp_path, text).options
    assert only.option.name == "renew the coolant pump"
