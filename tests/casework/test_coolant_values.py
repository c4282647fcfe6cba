"""Values as a technician writes them."""

from __future__ import annotations

import pytest

from beltside.base.errors import InputError
from beltside.casework.coolant_values import (
    read_flow_ml_min,
    read_gauge_kpa,
    read_litres,
    read_metres,
    read_minutes,
    read_temperature_c,
)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("-40F", -40.0), ("-40 C", -40.0), ("212 °F", 100.0), ("−12,5C", -12.5), ("20", 20.0)],
)
def test_temperatures(text: str, celsius: float) -> None:
    assert read_temperature_c(text) == pytest.approx(celsius)


def test_bare_figures_in_us() -> None:
    assert read_temperature_c("32", us=True) == pytest.approx(0.0)
    assert read_litres("4", us=True) == pytest.approx(3.785411784)
    assert read_metres("1000", us=True) == pytest.approx(304.8)
    assert read_gauge_kpa("1", us=True) == pytest.approx(6.894757293)
    assert read_gauge_kpa("1 bar", us=True) == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("text", "ml_min"), [("3", 3.0), ("0.6 ml/min", 0.6), ("60 mL/h", 1.0), ("0.3 l/h", 5.0)]
)
def test_flows(text: str, ml_min: float) -> None:
    assert read_flow_ml_min(text) == pytest.approx(ml_min)


@pytest.mark.parametrize(
    ("text", "minutes"), [("1:30", 1.5), ("90s", 1.5), ("1.5 min", 1.5), ("0:01:30", 1.5), ("2", 2)]
)
def test_moments(text: str, minutes: float) -> None:
    assert read_minutes(text) == pytest.approx(minutes)


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (read_temperature_c, "warm"),
        (read_temperature_c, "20K"),
        (read_litres, "3 buckets"),
        (read_metres, ""),
        (read_minutes, "1:75"),
        (read_gauge_kpa, "1 tonne"),
        (read_flow_ml_min, "1 drop/s"),
        (read_flow_ml_min, "1 l"),
    ],
)
def test_nonsense_is_refused(read, text: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError):
        read(text)
