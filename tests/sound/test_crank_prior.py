"""What is expected of a speed before the sound is judged."""

import numpy as np
import pytest
from scipy import integrate, stats

from beltside.sound.crank_path import RPM_HIGH, RPM_LOW, speed_grid
from beltside.sound.crank_prior import (
    AT_IDLE,
    IDLE_RPM,
    IdleBelief,
    SpeedPrior,
    StatedSpeed,
    calm_share,
    idle_belief,
    log_density_beside,
    sheet_belief,
)
from beltside.sound.track import CrankTrack


def known_idle(rpm: float) -> IdleBelief:
    """Idle known to within 1 %."""
    return idle_belief(-0.5 * (np.log(IDLE_RPM / rpm) / 0.005) ** 2, heard=True)


@pytest.mark.parametrize("prior", [sheet_belief(None), sheet_belief(760.0), StatedSpeed(2000.0)])
def test_the_density_adds_up_to_one(prior: SpeedPrior) -> None:
    """Over the logarithm of all speeds an engine may turn at."""
    at = np.linspace(np.log(0.5 * RPM_LOW), np.log(RPM_HIGH), 4000)
    total = integrate.trapezoid(np.exp(prior.log_density(np.exp(at))), at)
    assert total == pytest.approx(1.0, abs=0.05)


def test_a_take_at_idle_is_as_likely_as_the_normal_law_says() -> None:
    """scipy's normal density of the logarithm, weighed by how many takes idle steadily; what else
    may be adds little there."""
    share, centre, spread = AT_IDLE
    place = int(np.argmin(np.abs(IDLE_RPM - 760.0)))
    density = float(np.exp(log_density_beside(IDLE_RPM[place : place + 1]))[0, place])
    normal = share * stats.norm(centre, spread).pdf(0.0)
    assert normal < density < 1.1 * normal


def test_idle_is_likelier_than_anywhere_else_and_no_engine_runs_below_it() -> None:
    at_idle, double, half = known_idle(760.0).log_density(np.array([760.0, 1520.0, 380.0]))
    assert at_idle > double + 3.0
    assert double > half + 3.0


def test_an_engine_is_held_at_two_or_three_times_idle_rather_than_at_six() -> None:
    twice, six = known_idle(760.0).log_density(np.array([1700.0, 4600.0]))
    assert twice > six + 1.5


def test_the_sheet_narrows_the_idle_speed() -> None:
    usual, written = sheet_belief(None), sheet_belief(900.0)
    assert written.likeliest_rpm == pytest.approx(900.0, rel=0.01)
    assert written.near(900.0, 0.1) > usual.near(usual.likeliest_rpm, 0.1)
    assert written.share.sum() == pytest.approx(1.0)
    assert known_idle(700.0).near(700.0, 0.03) == pytest.approx(1.0, abs=1e-3)


def test_an_engine_does_not_idle_at_twice_what_is_written_for_it() -> None:
    """Six even cylinders show as much at twice their speed; several takes in doubt must not talk
    the sheet's idle speed down (common practice, no source: a written one is seldom far off)."""
    written, usual = sheet_belief(730.0), sheet_belief(None)
    assert written.near(1460.0, 0.02) < 1e-3 < usual.near(1460.0, 0.02)
    assert written.near(730.0, 0.02) / written.near(1460.0, 0.02) > 400.0


def test_a_path_is_led_to_idle_and_kept_above_stalling() -> None:
    grid = speed_grid()
    bonus = known_idle(760.0).path_bonus()
    assert grid[int(np.argmax(bonus))] == pytest.approx(760.0, rel=0.02)
    assert bonus[grid < 600.0].max() < -20.0
    assert np.all(np.diff(bonus[grid > 900.0]) < 0.0)
    # A speed read off says nothing of what lies far above it.
    assert StatedSpeed(2000.0).path_bonus()[grid > 4000.0] == pytest.approx(0.0, abs=1e-9)


def test_calm_share_is_that_of_the_slow_part() -> None:
    assert calm_share(CrankTrack.constant(800.0)) == pytest.approx(1.0)
    rpm = np.array([800.0, 800.0, 2400.0, 2400.0])
    ramp = CrankTrack(np.array([0.0, 3.0, 4.0, 10.0]), rpm, rpm, rpm)
    assert calm_share(ramp) == pytest.approx(800.0 / 2400.0, rel=0.01)
