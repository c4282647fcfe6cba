"""Sealant: geometry and clock. Stuck fasteners: what must not be done where."""

import math

import pytest

from beltside.base.errors import InputError, OutOfRangeError
from beltside.bolting.sealant import bead_of, cure_clock, time_of_day
from beltside.bolting.stuck import NEAR, STATES, Minutes, stuck_plan


def test_a_bead_is_a_long_cylinder():
    bead = bead_of(400.0, [6.6] * 5, 2.0, 5.0)
    assert bead.length_mm == pytest.approx(400 + 5 * math.pi * (6.6 + 3 + 2))
    assert bead.volume_ml == pytest.approx(math.pi * bead.length_mm / 1000)
    assert bead.tubes == 1
    assert bead_of(10_000.0, [], 3.0, 70.0).tubes == 2  # 70.7 ml


@pytest.mark.parametrize(
    ("line_mm", "holes_mm", "bead_mm", "tube_ml"),
    [
        (0.0, [], 2.0, 80.0),
        (400.0, [0.0], 2.0, 80.0),
        (400.0, [], 0.0, 80.0),
        (400.0, [], 2.0, 0.0),
    ],
)
def test_beads_that_cannot_be(line_mm, holes_mm, bead_mm, tube_ml):
    with pytest.raises(OutOfRangeError):
        bead_of(line_mm, holes_mm, bead_mm, tube_ml)


def test_the_clock_off_the_label():
    clock = cure_clock(10.0, 24.0, 60.0)
    assert (clock.joined_by_min, clock.full_torque_min, clock.cured_min) == (10.0, 60.0, 1440.0)
    assert time_of_day(23 * 60 + 55, 10.0) == (1, 0, 5)
    with pytest.raises(OutOfRangeError, match="label again"):
        cure_clock(30.0, 0.2)


@pytest.mark.parametrize("state", STATES)
def test_no_heat_or_sparks_near_fuel(state):
    plan = stuck_plan(state, ["fuel"])
    assert plan.steps
    assert not [step for step in plan.steps if step.heat or step.sparks]
    gone = {step.name for step in stuck_plan(state).steps} - {step.name for step in plan.steps}
    assert gone == {name for name, _ in plan.left_out} != set()


@pytest.mark.parametrize("state", STATES)
def test_no_heat_near_refrigerant_and_no_welding_near_airbags(state):
    assert not [step for step in stuck_plan(state, ["refrigerant"]).steps if step.heat]
    for near in ("airbag", "seal"):
        assert "weld a nut on" not in [step.name for step in stuck_plan(state, [near]).steps]


@pytest.mark.parametrize("state", STATES)
def test_heat_near_coolant_says_drain_first(state):
    heated = [step for step in stuck_plan(state, ["coolant"]).steps if step.heat]
    assert heated
    for step in heated:
        assert any("drained" in caution for caution in step.cautions)


@pytest.mark.parametrize("state", STATES)
def test_eyes_and_minutes(state):
    plan = stuck_plan(state, NEAR[:2], aluminium=True)
    assert any("Eye protection" in caution for caution in plan.cautions)
    assert plan.minutes.low < plan.minutes.likely < plan.minutes.high
    assert plan.minutes.high == sum(step.minutes.high for step in plan.steps)
    for step in plan.steps:
        assert 0 < step.minutes.low <= step.minutes.likely <= step.minutes.high


def test_penetrant_comes_before_heat_and_destroying_last():
    names = [step.name for step in stuck_plan("seized").steps]
    assert names.index("penetrant") < names.index("heat the part")
    assert names[-1] == "take the head or nut off"


def test_expected_minutes():
    """PERT: Malcolm et al. 1959, 2, 4, 12 minutes give 5."""
    assert Minutes(2, 4, 12).expected == pytest.approx(5.0)


def test_words_that_are_not_known():
    with pytest.raises(InputError, match="seized"):
        stuck_plan("siezed")
    with pytest.raises(InputError, match="coolant"):
        stuck_plan("seized", ["coolent"])


@pytest.mark.parametrize("state", STATES)
def test_no_blows_near_airbags(state):
    plan = stuck_plan(state, ["airbag"])
    assert plan.steps
    assert not [step for step in plan.steps if step.name.startswith(("shock", "impact"))]
    assert "tap the" not in " ".join(step.do for step in plan.steps)


def test_a_snapped_bolt_has_no_head_to_tap():
    said = " ".join(step.do for step in stuck_plan("snapped").steps if step.name == "penetrant")
    assert "tap the stub" in said
    assert "head" not in said
