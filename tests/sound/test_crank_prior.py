"""What is expected of a speed before the sound is judged."""

import numpy as np
import pytest
from scipy import integrate

from beltside.sound.crank_path import RPM_HIGH, RPM_LOW, speed_grid
from beltside.sound.crank_prior import (
    SpeedPrior,
    calm_share,
    heard_prior,
    sheet_prior,
    stated_prior,
)
from beltside.sound.track import CrankTrack


@pytest.mark.parametrize("prior", [sheet_prior(None), sheet_prior(760.0), stated_prior(2000.0)])
def test_the_density_adds_up_to_one(prior: SpeedPrior) -> None:
    """Over the logarithm of all allowed speeds; a usual idle reaches a little below them."""
    total, _ = integrate.quad(
        lambda at: float(np.exp(prior.log_density(np.array([np.exp(at)]))[0])),
        np.log(RPM_LOW),
        np.log(RPM_HIGH),
        points=[np.log(prior.centre_rpm), np.log(4500.0)],
        limit=200,
    )
    assert total == pytest.approx(1.0, abs=0.02)


def test_idle_is_likelier_than_anywhere_else_and_no_engine_runs_below_it() -> None:
    at_idle, double, half = heard_prior(760.0).log_density(np.array([760.0, 1520.0, 380.0]))
    assert at_idle > double + 3.0
    assert double > half + 3.0


def test_a_path_is_led_to_idle_and_kept_above_stalling() -> None:
    grid = speed_grid()
    bonus = heard_prior(760.0).path_bonus()
    assert grid[int(np.argmax(bonus))] == pytest.approx(760.0, rel=0.02)
    assert bonus[grid < 600.0].max() < -20.0
    assert np.all(np.diff(bonus[grid > 900.0]) < 0.0)
    # A speed read off says nothing of what lies far above it.
    assert stated_prior(2000.0).path_bonus()[grid > 4000.0] == pytest.approx(0.0, abs=1e-9)


def test_calm_share_is_that_of_the_slow_part() -> None:
    assert calm_share(CrankTrack.constant(800.0)) == pytest.approx(1.0)
    rpm = np.array([800.0, 800.0, 2400.0, 2400.0])
    ramp = CrankTrack(np.array([0.0, 3.0, 4.0, 10.0]), rpm, rpm, rpm)
    assert calm_share(ramp) == pytest.approx(800.0 / 2400.0, rel=0.01)
