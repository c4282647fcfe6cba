"""Passing rates against published multipliers, and the impacts that the rig places by them."""

import numpy as np
import pytest

from beltside.drive.sheet import Bearing
from beltside.rig.bearings import damaged_spots, rates
from beltside.rig.layout import TruePulley
from beltside.rig.motion import Restlessness, Shaft, make_motion, speed_program
from beltside.rig.takes import TakePlan, make_conditions
from beltside.rig.voices import sound

# Case Western Reserve University bearing data: geometry in inches and the published defect
# frequencies as multiples of shaft speed. Their "rolling element" figure is twice the ball's
# spin, once for each ring it strikes.
PUBLISHED = [
    (Bearing(9, 0.3126, 1.537), 3.5848, 5.4152, 0.39828, 4.7135),
    (Bearing(8, 0.2656, 1.122), 3.0530, 4.9469, 0.3817, 3.9874),
]


@pytest.mark.parametrize(("bearing", "outer", "inner", "cage", "twice_ball"), PUBLISHED)
def test_rates_against_published_multipliers(
    bearing: Bearing, outer: float, inner: float, cage: float, twice_ball: float
) -> None:
    found = rates(bearing, outer_ring_turns=False)
    # Printed to four or five digits from geometry of four digits.
    assert found.outer == pytest.approx(outer, abs=5e-4)
    assert found.inner == pytest.approx(inner, abs=5e-4)
    assert found.cage == pytest.approx(cage, abs=5e-4)
    assert 2 * found.ball == pytest.approx(twice_ball, abs=5e-4)


def test_rates_against_a_second_published_bearing() -> None:
    # ER-16K: Curtin University data set, readme (CC BY 4.0).
    found = rates(Bearing(9, 7.9375, 38.50), outer_ring_turns=False)
    assert (found.cage, found.outer, found.inner) == pytest.approx((0.3969, 3.572, 5.428), abs=1e-3)
    assert found.ball == pytest.approx(2.32, abs=5e-3)  # printed to two decimals


def test_turning_the_outer_ring_swaps_the_view_not_the_passing_rates() -> None:
    # Seen from the turning ring everything is the mirror image: rates relative to the rings
    # stay, and the two cage speeds add up to one turn.
    bearing = Bearing(8, 6.747, 28.5)
    shaft = rates(bearing, outer_ring_turns=False)
    idler = rates(bearing, outer_ring_turns=True)
    assert (idler.outer, idler.inner, idler.ball) == pytest.approx(
        (shaft.outer, shaft.inner, shaft.ball)
    )
    assert idler.cage + shaft.cage == pytest.approx(1.0)
    assert idler.outer + idler.inner == pytest.approx(8.0)


@pytest.mark.parametrize("outer_ring_turns", [False, True])
@pytest.mark.parametrize(("place", "multiplier"), [("outer", 3.5848), ("inner", 5.4152)])
def test_impacts_come_at_the_published_rate(
    place: str, multiplier: float, outer_ring_turns: bool
) -> None:
    rng = np.random.default_rng(5)
    ratio, rpm, seconds = 1.37, 900.0, 10.0
    pulley = TruePulley(
        "idler", 70.0, "back", 0, 0, ratio, 0, Bearing(9, 7.94, 39.04), outer_ring_turns
    )
    calm = Restlessness(0.0, 0.2, 0.0, 0.5, (), (), ())
    program = speed_program(rng, "idle", seconds, rpm, rpm)
    shafts = {"crank": Shaft(1.0, 1.0), "idler": Shaft(ratio, 1.0)}
    motion = make_motion(rng, calm, program, seconds, rpm, shafts)
    (voice,) = damaged_spots(rng, pulley, 0.0, place)
    while len(voice.offsets) > 1:
        (voice,) = damaged_spots(rng, pulley, 0.0, place)
    conditions = make_conditions(rng, motion, TakePlan("x"), 0.3)
    white = np.zeros(motion.count + 96_000, dtype=np.float32)
    train = sound(voice, motion, conditions, rng, white)
    hits = np.flatnonzero(np.diff(np.flatnonzero(train)) > 4).size + 1
    expected = multiplier * ratio * rpm / 60.0 * seconds
    # At most 2 % random slip for each impact adds up as a random walk: sqrt(n) 0.02.
    assert hits == pytest.approx(expected, abs=4 * 0.02 * np.sqrt(expected) + 2)
