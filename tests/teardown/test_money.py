"""Money to the last cent, worked out by hand."""

import decimal

import pytest

from beltside.base.errors import InputError
from beltside.teardown.estimate import Option, estimate
from beltside.teardown.model import Fluid, Repair, Supply, Trouble
from beltside.teardown.money import Disposal, PartPrice, Prices, line, summed
from beltside.teardown.times import Minutes
from jobs import job, thing

D = decimal.Decimal
PRICES = Prices(
    "EUR",
    D("72.00"),
    parts_margin_percent=D(25),
    tax_percent=D(19),
    deposit_percent=D(50),
    parts={"pump": PartPrice(D("64.80")), "coolant": PartPrice(D("5.60"))},
    disposals=(Disposal("old coolant", D("4.00"), "coolant"),),
)


def pump_job(chance=0.0, parts=()):
    snaps = Trouble("a bolt snaps", chance, Minutes(60.0, 60.0, 60.0), parts=parts)
    made = job(
        thing("coolant", minutes=10.0, fluid=Fluid("coolant", 6.0, "measured", reusable=True)),
        thing("goal", "coolant", minutes=50.0, troubles=(snaps,) if chance else ()),
    )
    repair = Repair("it", "pump", ("goal",), (Supply("pump"),))
    return type(made)(made.title, made.things, (repair,), ("it",))


def test_an_estimate_by_hand():
    # 60 min at 72.00; 64.80 + 25 % = 81.00; 6 l at 5.60 + 25 % = 7.00; 4.00; 19 % of 199.00 is
    # 37.81; deposit half of (81 + 42) x 1.19 = 146.37.
    found = estimate(pump_job(), PRICES, Option("pump", ("it",)))
    assert [one.amount for one in found.lines] == [D("72.00"), D("81.00"), D("42.00"), D("4.00")]
    assert (found.sum.net, found.sum.tax, found.sum.total) == (D("199.00"), D("37.81"), D("236.81"))
    assert found.sum.deposit == D("73.19")  # half of 146.37, half a cent up
    assert found.total.low == found.total.high == D("236.81")


def test_coolant_used_again_is_neither_bought_nor_disposed_of():
    found = estimate(pump_job(), PRICES, Option("pump", ("it",), ("coolant",)))
    assert [one.text for one in found.lines] == ["labour", "pump"]
    assert found.unpriced == ("coolant",)


def test_a_snapped_bolt_is_told_before():
    insert = Supply("insert")
    prices = type(PRICES)(
        **{**vars(PRICES), "parts": {**PRICES.parts, "insert": PartPrice(D("12.40"))}}
    )
    found = estimate(pump_job(0.3, (insert,)), prices, Option("pump", ("it",)))
    (snap,) = found.troubles
    # 60 min at 72.00 and 12.40 + 25 % = 15.50, both with 19 %: 87.50 x 1.19 = 104.125.
    assert snap.extra_likely == D("104.13")
    # In 7 of 10 cases nothing snaps; 8 of 10 have to cover it.
    assert found.total.likely == D("236.81")
    assert found.total.sure == pytest.approx(D("236.81") + D("104.13"), abs=D("1.50"))


def test_parts_without_a_price_are_named_not_invented():
    prices = type(PRICES)(**{**vars(PRICES), "parts": {}})
    found = estimate(pump_job(), prices, Option("pump", ("it",)))
    assert set(found.unpriced) == {"pump", "coolant"}
    assert found.sum.net == D("76.00")


def test_tax_once_or_on_each_line():
    lines = [line(PRICES, "parts", "a", D(1), "", D("0.13")) for _ in range(3)]
    # 19 % of 0.39 is 0.0741; of 0.13 it is 0.0247, three times 0.02.
    assert summed(PRICES, lines).tax == D("0.07")
    by_line = type(PRICES)(**{**vars(PRICES), "tax_by": "line"})
    assert summed(by_line, lines).tax == D("0.06")


@pytest.mark.parametrize(
    ("rounding", "expected"),
    [("half-up", "0.13"), ("half-even", "0.12"), ("up", "0.13"), ("down", "0.12")],
)
def test_rounding_as_set(rounding, expected):
    prices = Prices("EUR", D(1), rounding=rounding)
    assert prices.rounded(D("0.125")) == D(expected)


def test_a_currency_without_decimals():
    assert Prices("JPY", D(6000), decimals=0).labour(94.6) == D(9500)


def test_settings_out_of_place_are_refused():
    with pytest.raises(InputError, match="half-up"):
        Prices("EUR", D(1), rounding="nearest")
    with pytest.raises(InputError, match="fluid"):
        estimate(pump_job(), PRICES, Option("pump", ("it",), ("oil",)))
