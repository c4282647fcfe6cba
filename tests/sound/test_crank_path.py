"""The first path of speed: steady and changing engines whose speed is known."""

import numpy as np
import pytest
from engines import RATE_HZ, Take, engine

from beltside.sound import crank_path
from beltside.sound.crank_feed import CrankFeed, CrankSound
from beltside.sound.crank_path import (
    GRID_STEP,
    RPM_HIGH,
    RPM_LOW,
    best_path,
    comb_match,
    speed_grid,
)


def heard(take: Take) -> CrankSound:
    feed = CrankFeed(take.rate_hz)
    feed.add(take.samples)
    return feed.finish()


def test_grid_covers_the_stated_range_evenly() -> None:
    grid = speed_grid()
    assert grid[0] == RPM_LOW
    assert grid[-1] >= RPM_HIGH
    assert np.diff(np.log(grid)) == pytest.approx(np.full(grid.size - 1, GRID_STEP))


def test_a_steady_engine_gives_a_steady_path() -> None:
    take = engine(1, 800.0, seconds=5.0)
    path = best_path(comb_match(heard(take), 4, 4))
    inside = slice(2, -2)
    assert path.rpm[inside] == pytest.approx(take.rpm_at(path.time_s)[inside], rel=0.01)
    assert path.match[inside].min() > 5.0


@pytest.mark.parametrize("rise", [2000.0, -2000.0])
def test_the_path_follows_2000_rpm_per_second(rise: float) -> None:
    first, last = (1000.0, 3000.0) if rise > 0 else (3000.0, 1000.0)
    take = engine(2, ([0.0, 1.5, 2.5, 4.0], [first, first, last, last]), seconds=4.0)
    combs = comb_match(heard(take), 4, 4)
    path = best_path(combs)
    changing = np.abs(path.time_s - 2.0) < 0.3
    assert path.rpm[changing] == pytest.approx(take.rpm_at(path.time_s)[changing], rel=0.03)
    row = int(np.argmin(np.abs(path.time_s - 2.0)))
    there = int(np.argmin(np.abs(speed_grid() - path.rpm[row])))
    assert np.sign(combs.acceleration[row, there]) == np.sign(rise)


def test_banned_speeds_are_left_alone() -> None:
    take = engine(1, 800.0, seconds=4.0)
    combs = comb_match(heard(take), 4, 4)
    banned = np.abs(np.log(speed_grid() / 800.0)) < 0.05
    path = best_path(combs, np.tile(banned, (combs.time_s.size, 1)))
    assert np.abs(np.log(path.rpm / 800.0)).min() > 0.04


def test_frames_matched_in_portions_are_the_same_frames(monkeypatch: pytest.MonkeyPatch) -> None:
    sound = heard(engine(1, 800.0, seconds=4.0))
    whole = comb_match(sound, 4, 4)
    monkeypatch.setattr(crank_path, "FRAMES_AT_ONCE", 5)
    portions = comb_match(sound, 4, 4)
    assert portions.match == pytest.approx(whole.match, abs=1e-3)
    assert portions.time_s == pytest.approx(whole.time_s)


def test_noise_matches_nothing_for_long() -> None:
    rng = np.random.default_rng(4)
    noise = Take(rng.normal(size=5 * RATE_HZ).astype(np.float32), RATE_HZ, np.zeros(1))
    engine_match = best_path(comb_match(heard(engine(1, 800.0, seconds=5.0)), 4, 4)).match
    assert best_path(comb_match(heard(noise), 4, 4)).match.mean() < 0.3 * engine_match.mean()
