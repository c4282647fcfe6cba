"""Draining against Torricelli by itself, and against integrating it with scipy."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad

from beltside.base.errors import OutOfRangeError
from beltside.coolant.drain import (
    CONTRACTION,
    drain,
    friction_factor,
    jet_speed_m_s,
    torricelli_s,
)

HOLE = math.pi * 0.01**2 / 4


def test_a_bare_hole_is_torricelli_with_its_contraction() -> None:
    """Torricelli 1644 over the contraction of a sharp edge (0.61)."""
    alone = torricelli_s(0.006 / 0.5, HOLE, 0.5, CONTRACTION)
    assert drain(6.0, 0.5, 10.0).time_s == pytest.approx(alone, rel=0.003)


def test_a_hose_against_integrating_its_flow() -> None:
    """Time is the integral of area over flow, by scipy's adaptive quadrature."""

    def seconds_per_metre(height_m: float) -> float:
        return 0.006 / 0.5 / (HOLE * jet_speed_m_s(height_m + 0.3, 0.01, 1.0, 3.5e-6))

    whole, _ = quad(seconds_per_metre, 0.0, 0.5)
    found = drain(6.0, 0.5, 10.0, hose_m=1.0, hose_drop_m=0.3)
    assert found.time_s == pytest.approx(whole, rel=0.002)


def test_speed_in_a_hose_meets_its_own_energy_balance() -> None:
    """g h = v²/2 (1 + 0.8 + f L/d), put back in."""
    for head in (0.05, 0.5, 2.0):
        v = jet_speed_m_s(head, 0.01, 1.0, 3.5e-6)
        loss = 1.8 + friction_factor(v * 0.01 / 3.5e-6) * 100.0
        assert 9.80665 * head == pytest.approx(0.5 * v**2 * loss, rel=1e-3)


def test_friction_factor_of_the_textbook() -> None:
    """Hagen-Poiseuille 64/Re; Blasius 1913, 0.3164 Re^-0.25: 0.0178 at Re 1e5 (Moody 1944)."""
    assert friction_factor(1000.0) == pytest.approx(0.064)
    assert friction_factor(1e5) == pytest.approx(0.0178, abs=1e-4)


def test_wider_is_quicker_and_a_hanging_hose_pulls() -> None:
    times = [drain(6.0, 0.5, bore).time_s for bore in (6.0, 8.0, 12.0)]
    assert times == sorted(times, reverse=True)
    hung = drain(6.0, 0.5, 10.0, hose_m=1.0, hose_drop_m=0.4).time_s
    assert hung < drain(6.0, 0.5, 10.0, hose_m=1.0).time_s


def test_with_the_cap_on_a_vacuum_holds_the_rest() -> None:
    """Boyle 1662: 0.3 L of air stretched until its vacuum carries what is left above the nipple."""
    found = drain(6.0, 0.5, 10.0, cap_off=False, vacuum_valve_kpa=None, air_l=0.3)
    assert found.stops
    vacuum = 101.325 * (1 - 0.3 / (0.3 + found.drained_l))
    left_m = 0.5 * (1 - found.drained_l / 6.0)
    assert vacuum == pytest.approx(1065.0 * 9.80665 * left_m / 1000.0, rel=1e-3)
    valve = drain(6.0, 0.5, 10.0, cap_off=False)
    assert valve.stops
    assert valve.drained_l > found.drained_l


def test_a_tall_system_runs_past_the_vacuum_valve() -> None:
    found = drain(6.0, 0.8, 10.0, cap_off=False, hose_m=1.0, hose_drop_m=0.6)
    assert not found.stops
    assert found.time_s > drain(6.0, 0.8, 10.0, hose_m=1.0, hose_drop_m=0.6).time_s


@pytest.mark.parametrize("bad", [(0.0, 0.5, 10.0), (6.0, -0.5, 10.0), (6.0, 0.5, 0.0)])
def test_figures_outside_are_refused(bad: tuple[float, float, float]) -> None:
    with pytest.raises(OutOfRangeError):
        drain(*bad)
