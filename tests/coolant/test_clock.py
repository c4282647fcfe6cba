"""The belt-off clock: the trade's three to eight minutes, and never longer by a reading."""

from __future__ import annotations

import pytest
from scipy.integrate import solve_ivp

from beltside.base.errors import OutOfRangeError
from beltside.coolant import clock
from beltside.coolant.clock import belt_off_clock, heat_up

# Ordinary engines: displacement [L], coolant [L], idle [rpm]; invented.
ENGINES = ((1.0, 4.5, 900), (1.4, 5.5, 800), (1.6, 6.0, 760), (2.0, 7.0, 750), (2.5, 8.0, 700))


@pytest.mark.parametrize(("displacement", "coolant", "idle"), ENGINES)
@pytest.mark.parametrize("start_c", [0.0, 10.0, 20.0, 30.0])
def test_ordinary_engines_from_cold(
    displacement: float, coolant: float, idle: float, start_c: float
) -> None:
    """Three to eight minutes from cold: common practice, no source."""
    found = belt_off_clock(
        displacement, coolant_l=coolant, start_c=start_c, idle_rpm=idle, air_c=start_c
    )
    assert 180.0 <= found.limit_s <= 480.0
    assert found.likely_s >= found.limit_s


def test_heat_balance_against_scipy() -> None:
    """The same two equations by scipy's Runge-Kutta of order 5."""
    n = clock._nodes(1.6, 6.0, 800.0, quick=True)

    def slope(_: float, y: list[float]) -> list[float]:
        over = n.wall * (y[0] - y[1])
        return [(n.heat_w - over - n.air * (y[0] - 20.0)) / n.metal, over / n.coolant]

    solved = solve_ivp(slope, (0.0, 300.0), [20.0, 20.0], rtol=1e-9)
    course = heat_up(1.6, 6.0, 800.0, 20.0, 20.0, 300.0)
    assert course[-1][1] == pytest.approx(solved.y[0, -1], abs=0.02)
    assert course[-1][2] == pytest.approx(solved.y[1, -1], abs=0.02)


def test_energy_is_kept_without_loss_to_the_air() -> None:
    """All heat put in is in metal and coolant; the air stands as warm as the metal here."""
    n = clock._nodes(2.0, 7.0, 800.0, quick=True)
    _, metal_c, still_c = heat_up(2.0, 7.0, 800.0, 20.0, 20.0, 60.0)[-1]
    stored = n.metal * (metal_c - 20.0) + n.coolant * (still_c - 20.0)
    lost_at_most = n.air * (metal_c - 20.0) * 60.0
    assert n.heat_w * 60.0 - lost_at_most <= stored <= n.heat_w * 60.0


def test_hotter_start_faster_idle_less_coolant_shorten_it() -> None:
    plain = belt_off_clock(1.6, coolant_l=6.0, start_c=20.0).limit_s
    assert belt_off_clock(1.6, coolant_l=6.0, start_c=60.0).limit_s < plain
    assert belt_off_clock(1.6, coolant_l=6.0, start_c=20.0, idle_rpm=1200.0).limit_s < plain
    assert belt_off_clock(1.6, coolant_l=4.0, start_c=20.0).limit_s < plain


def test_a_hot_engine_is_not_started() -> None:
    found = belt_off_clock(1.6, coolant_l=6.0, start_c=95.0)
    assert found.stop_now
    assert found.limit_s == 0.0


def test_readings_only_shorten_it() -> None:
    plain = belt_off_clock(1.6, coolant_l=6.0, start_c=20.0)
    cool = belt_off_clock(1.6, coolant_l=6.0, start_c=20.0, readings=[(60.0, 25.0)])
    assert cool.limit_s == plain.limit_s
    warm = belt_off_clock(1.6, coolant_l=6.0, start_c=20.0, readings=[(60.0, 70.0)])
    assert warm.limit_s < plain.limit_s
    # Twice as quick as reckoned so far: what is left is halved too.
    course = {t: metal_c for t, metal_c, _ in plain.course}
    twice = belt_off_clock(1.6, coolant_l=6.0, start_c=20.0, readings=[(60.0, course[120.0])])
    assert twice.limit_s == pytest.approx(60.0 + (plain.limit_s - 120.0) / 2.0, abs=2.0)
    hot = belt_off_clock(1.6, coolant_l=6.0, start_c=20.0, readings=[(60.0, 92.0)])
    assert hot.stop_now
    late = belt_off_clock(1.6, coolant_l=6.0, start_c=20.0, readings=[(400.0, 30.0)])
    assert late.stop_now


@pytest.mark.parametrize(
    "bad",
    [
        {"displacement_l": 0.1},
        {"coolant_l": 0.0},
        {"start_c": 300.0},
        {"idle_rpm": 5000.0},
        {"air_c": -60.0},
        {"readings": [(60.0, 30.0), (30.0, 40.0)]},
        {"readings": [(60.0, 999.0)]},
    ],
)
def test_figures_outside_are_refused(bad: dict[str, object]) -> None:
    given: dict[str, object] = {"displacement_l": 1.6, "coolant_l": 6.0, "start_c": 20.0, **bad}
    with pytest.raises(OutOfRangeError):
        belt_off_clock(**given)  # type: ignore[arg-type]
