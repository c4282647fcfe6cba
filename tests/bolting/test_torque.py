"""Threads, friction, torque, stripping, wrench: round trips, second forms, edges."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from beltside.base.errors import InputError, OutOfRangeError
from beltside.bolting.friction import FRICTIONS, friction
from beltside.bolting.heads import HEAD_KINDS, bearing_diameter_mm, threads_of_head
from beltside.bolting.joint import bolt_share, opening_load_n, parts_spring_n_mm
from beltside.bolting.stripping import (
    MATERIALS,
    bending_factors,
    part_material,
    strip_load_n,
    thread_hold,
)
from beltside.bolting.threads import CLASS_NAMES, PITCHES_MM, parse_thread, property_class
from beltside.bolting.torque import (
    clamp_vdi_n,
    given_torque,
    thread_torque,
    torque_shigley_nm,
    torque_short_nm,
    torque_vdi_nm,
)
from beltside.bolting.torque_units import NM_OF, in_unit, parse_torque_nm, unit_of
from beltside.bolting.wrench import turn_of_angle, wrench_setting

M8 = parse_thread("M8")
S88 = property_class("8.8", M8)


@pytest.mark.parametrize("size", PITCHES_MM)
@pytest.mark.parametrize("mu", [0.05, 0.12, 0.24])
def test_vdi_is_the_exact_screw_made_straight(size, mu):
    """VDI's linear form stays within 2 % of the exact one for every coarse thread."""
    thread = parse_thread(f"M{size:g}")
    bearing_mm = bearing_diameter_mm(thread, "hex")
    exact = torque_shigley_nm(1e4, thread.pitch_diameter_mm, thread.pitch_mm, mu, mu, bearing_mm)
    assert torque_vdi_nm(1e4, thread, mu, mu, bearing_mm) == pytest.approx(exact, rel=0.02)


@given(st.floats(1.0, 200.0), st.floats(0.04, 0.4))
def test_clamp_and_torque_are_each_others_way_back(torque_nm, mu):
    clamp_n = clamp_vdi_n(torque_nm, M8, mu, mu, 10.3)
    assert torque_vdi_nm(clamp_n, M8, mu, mu, 10.3) == pytest.approx(torque_nm)


@pytest.mark.parametrize("state", FRICTIONS)
def test_ranges_rise_with_friction(state):
    ours = thread_torque(M8, S88, friction(state))
    assert ours.low_nm < ours.typical_nm < ours.high_nm
    assert ours.held_low_n < ours.clamp_n < ours.held_high_n
    assert ours.clamp_n == pytest.approx(0.75 * ours.proof_n)
    assert ours.limited_by == "bolt"


def test_the_weaker_of_bolt_and_part_sets_the_torque():
    short = thread_hold(M8, S88, part_material("aluminium"), 8.0)
    ours = thread_torque(M8, S88, friction("oiled"), most_clamp_n=short.most_clamp_n)
    assert ours.limited_by == "thread in the part"
    assert ours.clamp_n == short.most_clamp_n < 0.75 * ours.proof_n
    assert ours.limit_nm <= thread_torque(M8, S88, friction("oiled")).limit_nm


def test_a_flange_head_needs_more_torque_for_the_same_clamp():
    plain, flanged = (thread_torque(M8, S88, friction("dry"), head) for head in ("hex", "flange"))
    assert flanged.typical_nm > 1.1 * plain.typical_nm


def test_a_given_torque_is_judged_by_its_clamp():
    ours = thread_torque(M8, S88, friction("oiled"))
    given_ = given_torque(ours.typical_nm, M8, S88, friction("oiled"))
    assert given_.typical_n == pytest.approx(ours.clamp_n)
    assert given_.proof_typical == pytest.approx(0.75)
    assert given_.proof_low < 0.75 < given_.proof_high
    with pytest.raises(OutOfRangeError):
        given_torque(0.0, M8, S88, friction("oiled"))


@pytest.mark.parametrize("material", MATERIALS)
def test_longer_engagement_holds_more(material):
    of = MATERIALS[material]
    loads = [strip_load_n(M8, S88, of.low_mpa, of.shear, mm) for mm in (0.5, 4, 8, 12, 16)]
    assert loads[0] == 0.0
    assert loads == sorted(loads)
    hold = thread_hold(M8, S88, of, 24.0)
    assert hold.needed_low_mm < hold.needed_high_mm
    assert hold.bolt_breaks_first == "yes"
    assert thread_hold(M8, S88, of, 3.0).bolt_breaks_first == "no"
    assert thread_hold(M8, S88, of).strip_low_n is None


def test_bending_factors_meet_where_their_formulas_join():
    assert bending_factors(0.2)[1] <= 1.0
    assert bending_factors(0.999)[1] == pytest.approx(bending_factors(1.0)[1], abs=1e-3)
    assert bending_factors(1.001)[0] == pytest.approx(0.897, abs=2e-3)
    assert bending_factors(5.0)[0] == bending_factors(2.2)[0]


@pytest.mark.parametrize("engagement_mm", [0.0, -3.0, 2.4, 49.0, math.nan])
def test_engagement_that_cannot_be(engagement_mm):
    with pytest.raises(OutOfRangeError, match=r"2\.5 to 48 mm"):
        thread_hold(M8, S88, part_material("cast-aluminium"), engagement_mm)


@pytest.mark.parametrize(
    ("text", "name"),
    [("M8", "M8 x 1.25"), ("m8x1", "M8 x 1"), ("M10 × 1,25", "M10 x 1.25"), ("3/8-16", "3/8-16")],
)
def test_threads_as_people_write_them(text, name):
    assert parse_thread(text).name == name


@pytest.mark.parametrize(
    "text", ["", "M", "M8x5", "M13", "M0", "M-8", "8", "3/8-17", "2/8-16", "x"]
)
def test_impossible_threads(text):
    with pytest.raises(InputError) as caught:
        parse_thread(text)
    assert caught.value.allowed


def test_classes():
    assert property_class("grade 5", M8) == property_class("5", M8)
    assert property_class("a4-70", M8).name == "A2-70"
    assert property_class("8.8", parse_thread("M20")).proof_mpa == 600
    for name in CLASS_NAMES:
        one = property_class(name, M8)
        assert one.proof_mpa <= one.yield_mpa <= one.tensile_mpa
    with pytest.raises(InputError, match=r"8\.8"):
        property_class("88", M8)
    with pytest.raises(InputError):
        property_class("9.8", parse_thread("M20"))


@pytest.mark.parametrize("given_", ["3", "0", "-0.1", "0.6", "nan"])
def test_impossible_friction(given_):
    with pytest.raises(OutOfRangeError, match=r"0.03 to 0.5"):
        friction(given_)


def test_friction_words():
    assert friction("plated").name == "zinc"
    assert friction("0,14").low == pytest.approx(0.112)
    with pytest.raises(InputError, match="oiled"):
        friction("oild")


# ISO 4014/4017/4032 widths; smaller heads of Japanese practice; common practice for 10, 12, 14.
@pytest.mark.parametrize(
    ("across_mm", "first"),
    [(8, "M5"), (10, "M6"), (13, "M8"), (16, "M10"), (18, "M12"), (24, "M16")],
)
def test_iso_heads(across_mm, first):
    found = threads_of_head(across_mm)[0]
    assert (found.name, found.kind) == (first, "hex")


@pytest.mark.parametrize(("across_mm", "thread"), [(12, "M8"), (14, "M10"), (17, "M12")])
def test_smaller_heads(across_mm, thread):
    assert thread in {one.name for one in threads_of_head(across_mm) if one.kind == "small-hex"}


def test_ten_twelve_fourteen_and_fifteen():
    """Common practice, no source: heads of 10, 12, 14 and 15 mm."""
    assert [threads_of_head(size)[0].name for size in (10, 12, 14, 15)] == [
        "M6",
        "M8",
        "M10",
        "M10",
    ]


def test_heads_that_do_not_exist():
    with pytest.raises(OutOfRangeError, match="measuring again"):
        threads_of_head(20)
    with pytest.raises(InputError):
        bearing_diameter_mm(M8, "round")
    with pytest.raises(InputError):
        bearing_diameter_mm(parse_thread("M24"), "flange")
    for kind in set(HEAD_KINDS) - {"old-hex"}:
        assert 8.0 < bearing_diameter_mm(M8, kind) < 17.0


@pytest.mark.parametrize("unit", NM_OF)
@given(value=st.floats(1.0, 100.0))
def test_units_there_and_back(unit, value):
    torque_nm, read = (
        parse_torque_nm(f"{value:.6f} {unit}")
        if 0.1 <= value * NM_OF[unit] <= 1500
        else (value * NM_OF[unit], unit)
    )
    assert read == unit
    assert in_unit(torque_nm, unit) == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("Nm", "N m"),
        ("N·m", "N m"),
        ("ft-lb", "lbf ft"),
        ("lb.ft", "lbf ft"),
        ("in-lbs", "lbf in"),
        ("kg-m", "kgf m"),
        ("kgf·cm", "kgf cm"),
    ],
)
def test_units_as_people_write_them(text, unit):
    assert unit_of(text) == unit


@pytest.mark.parametrize(
    "text", ["24", "24 furlongs", "N m", "twenty N m", "1,200 N m", "0 N m", "9e9 N m"]
)
def test_torques_that_cannot_be(text):
    with pytest.raises(InputError):
        parse_torque_nm(text)


def test_adapter_edges():
    assert wrench_setting(50.0, 300.0, 0.0) == 50.0
    with pytest.raises(OutOfRangeError, match="half of the arm"):
        wrench_setting(50.0, 300.0, 200.0, 180.0)
    with pytest.raises(OutOfRangeError):
        wrench_setting(50.0, 0.0, 50.0)


def test_a_turn_stretches_two_springs_in_a_row():
    turn = turn_of_angle(90.0, 1.25, 200e3, 600e3, 10e3, 1e9)
    assert turn.flats == 1.5
    # Second way: the same force F in both springs, F/k1 + F/k2 = P/4.
    assert turn.added_n / 200e3 + turn.added_n / 600e3 == pytest.approx(1.25 / 4)
    assert not turn.past_yield
    assert turn_of_angle(90.0, 1.25, 200e3, 600e3, 10e3, 23e3).past_yield
    with pytest.raises(OutOfRangeError):
        turn_of_angle(0.0, 1.25, 200e3, 600e3, 10e3, 23e3)


def test_the_clamped_parts_are_stiffer_than_the_bolt():
    """Wileman, Choudury & Green 1991 as in Shigley, Table 8-8: E d 0.78715 exp(0.62873 d/l)."""
    # The two formulas draw apart for grips over three diameters.
    for grip_mm in (14.0, 18.0, 24.0):
        cones = parts_spring_n_mm(8.0, grip_mm, 207e3)
        fitted = 207e3 * 8.0 * 0.78715 * math.exp(0.62873 * 8.0 / grip_mm)
        assert cones == pytest.approx(fitted, rel=0.06)
    assert opening_load_n(10e3, bolt_share(1.0, 3.0)) == pytest.approx(10e3 * 4 / 3)


def test_short_form_edges():
    assert torque_short_nm(0.2, 10.0, 1000.0) == pytest.approx(2.0)
    with pytest.raises(OutOfRangeError):
        torque_short_nm(3.0, 10.0, 1000.0)
