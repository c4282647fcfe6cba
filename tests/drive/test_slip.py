"""Slip: forces that balance, grip that falls with friction, and who lets go first."""

from __future__ import annotations

import math

import pytest
from belt_drives import TARN
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError
from beltside.drive.loads import torques
from beltside.drive.path import belt_path
from beltside.drive.slip import Grip, slip

PATH = belt_path(TARN)
TAKEN = {"alternator": 6.0, "ac-compressor": 15.0, "steering-pump": 8.0, "coolant-pump": 2.0}


def found(**changes):
    settings_of = {
        "crank_rpm": 800.0,
        "mass_kg_m": 0.12,
        "tension_n": 320.0,
        "spring_at": "tensioner",
        **changes,
    }
    return slip(PATH, settings_of.pop("taken", TAKEN), **settings_of)


def radius_m(part):
    return PATH.pulley(part).running_diameter_mm / 2000.0


def test_every_pulley_is_in_balance():
    one = found()
    for place, pulley in enumerate(PATH.pulleys):
        behind, ahead = one.span_tensions_n[place - 1], one.span_tensions_n[place]
        torque = (ahead - behind) * radius_m(pulley.part)
        if pulley.part == "crank":
            power = sum(t * PATH.pulley(part).ratio for part, t in TAKEN.items())
            assert torque == pytest.approx(-power)
        else:
            assert torque == pytest.approx(TAKEN.get(pulley.part, 0.0), abs=1e-9)


def test_a_spring_keeps_its_tension_and_a_bolted_drive_its_mean():
    spring = found()
    at = [p.part for p in PATH.pulleys].index("tensioner")
    beside = 0.5 * (spring.span_tensions_n[at - 1] + spring.span_tensions_n[at])
    assert beside == pytest.approx(320.0 + spring.centrifugal_n)
    bolted = found(spring_at=None)
    lengths = [s.length_mm for s in PATH.spans]
    mean = sum(t * n for t, n in zip(bolted.span_tensions_n, lengths, strict=True)) / sum(lengths)
    assert mean == pytest.approx(320.0)


def test_belt_speed_and_centrifugal_pull():
    one = found(crank_rpm=6000.0)
    assert one.belt_speed_m_s == pytest.approx(2 * math.pi * 100.0 * radius_m("crank"))
    assert one.centrifugal_n == pytest.approx(0.12 * one.belt_speed_m_s**2)
    # A bolted drive loses grip with speed, a spring makes up for it.
    slow, fast = found(spring_at=None), found(spring_at=None, crank_rpm=6000.0)
    assert fast.slips_below_n == pytest.approx(
        slow.slips_below_n + fast.centrifugal_n - slow.centrifugal_n
    )
    assert found(crank_rpm=6000.0).slips_below_n == pytest.approx(found().slips_below_n)


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.05, 1.0),
    st.dictionaries(st.sampled_from(sorted(TAKEN)), st.floats(0.5, 30.0), min_size=1),
    st.booleans(),
)
def test_at_its_least_tension_the_first_is_on_the_point_of_slipping(friction, taken, spring):
    grip = Grip(friction, friction)
    where = "tensioner" if spring else None
    unknown = found(taken=taken, tension_n=None, grip=grip, spring_at=where)
    assert unknown.span_tensions_n is None
    least = unknown.slips_below_n
    if not 10.0 <= least <= 5000.0:
        return
    at = found(taken=taken, tension_n=least, grip=grip, spring_at=where)
    assert min(one.margin for one in at.pulleys) == pytest.approx(1.0, abs=1e-6)
    first = next(one for one in at.pulleys if one.part == unknown.first)
    assert first.tension_ratio == pytest.approx(first.most_ratio, rel=1e-6)


def test_less_friction_or_more_load_lets_go_sooner():
    dry = found()
    assert found(grip=Grip().times(0.5)).slips_below_n > dry.slips_below_n
    assert found(taken={**TAKEN, "alternator": 14.0}).slips_below_n > dry.slips_below_n


def test_ribs_wedge():
    """Friction over the sine of half the rib angle; none on the back."""
    grip = Grip(0.3, 0.4, 40.0)
    assert grip.of_face("ribbed") == pytest.approx(0.3 / math.sin(math.radians(20.0)))
    assert grip.of_face("back") == 0.4


def test_a_slack_belt_has_no_grip_left():
    one = found(taken={"ac-compressor": 60.0}, tension_n=60.0)
    assert min(p.margin for p in one.pulleys) == 0.0


@pytest.mark.parametrize(
    "changes",
    [
        {"taken": {"fan": 1.0}},
        {"taken": {"crank": 1.0}},
        {"taken": {"alternator": -1.0}},
        {"tension_n": 1.0},
        {"tension_n": math.nan},
        {"mass_kg_m": 0.0},
        {"crank_rpm": 9000.0},
        {"spring_at": "fan"},
    ],
)
def test_bad_figures_are_refused(changes):
    with pytest.raises(InputError):
        found(**changes)


@pytest.mark.parametrize("friction", [0.0, -1.0, 3.0, math.nan])
def test_friction_has_a_range(friction):
    with pytest.raises(InputError):
        Grip(ribbed=friction)


def test_default_torques_say_where_they_are_from():
    light = {one.part: one for one in torques(TARN, PATH, 800.0)}
    heavy = {one.part: one for one in torques(TARN, PATH, 800.0, "heavy")}
    assert set(light) == {p.part for p in TARN.pulleys} - {"crank"}
    assert all("common practice" in one.source for one in light.values())
    assert all(heavy[part].value_nm >= light[part].value_nm for part in light)
    # One power at any speed, up to what the machine can give.
    fast = {one.part: one for one in torques(TARN, PATH, 1600.0)}
    assert fast["alternator"].value_nm == pytest.approx(0.5 * light["alternator"].value_nm)
    with pytest.raises(InputError):
        torques(TARN, PATH, 800.0, "full")
    with pytest.raises(InputError):
        torques(TARN, PATH, 100.0)
