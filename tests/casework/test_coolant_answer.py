"""How figures become text and JSON."""

from __future__ import annotations

import json

import pytest

from beltside.base.provenance import Provenance
from beltside.casework.coolant_answer import CoolantAnswer, Row, Words
from beltside.casework.coolant_hold import hold_answer, hold_setup
from beltside.coolant.hold_readings import Reading


def test_metric_and_us_say_the_same() -> None:
    """Conversions by hand: 100 °C is 212 °F, 6.894757 kPa 1 psi, 0.946353 L 1 qt (NIST SP 811)."""
    metric, us = Words(), Words(us=True)
    assert (metric.temperature(100.0), us.temperature(100.0)) == ("100 °C", "212 °F")
    assert us.temperatures(-40.0, 0.0) == "-40 to 32 °F"
    assert us.kelvins(10.0) == "18 °F"
    assert us.pressure(110.316) == "16.0 psi"
    assert us.litres(0.946352946) == "1.00 qt"
    assert us.density(1000.0).endswith("(62.43 lb/ft³)")
    assert "fl oz" in us.flow(29.57)


def test_no_minus_nothing() -> None:
    assert Words().temperature(-0.2) == "0 °C"


def test_json_is_plain_and_finite() -> None:
    answer = CoolantAnswer(
        "cap",
        "So.",
        (Row("a", "b"),),
        {"x": float("nan"), "y": 1.23456789, "z": {"a": (1.0, 2.0)}},
        Provenance("m", 1, {"v": float("inf")}),
    )
    plain = answer.to_json()
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert plain["x"] is None
    assert plain["y"] == pytest.approx(1.2346)
    assert plain["z"] == {"a": [1.0, 2.0]}


def test_a_bare_reading_that_is_plainly_psi_or_bar_is_asked_about() -> None:
    """15 on a 16 psi cap is no 15 kPa; 16 psi = 110 kPa (NIST SP 811: 1 psi = 6.894757 kPa)."""

    def said(cap: str, kpa: float) -> str:
        readings = [Reading(minutes, kpa) for minutes in (0.0, 1.0, 2.0)]
        return " ".join(hold_answer(readings, hold_setup(cap=cap)).warnings)

    assert "if the gauge shows psi" in said("16 psi", 15.0)
    assert "15psi" in said("16 psi", 15.0)
    assert "if the gauge shows bar" in said("1.1 bar", 1.05)
    assert "if the gauge shows" not in said("16 psi", 105.0)
    assert "if the gauge shows" not in said("16 psi", 40.0)
