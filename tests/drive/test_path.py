"""Belt paths: what the standard's lines do, directions, either way round, and what is refused."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import pytest
from belt_drives import TARN, moved
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError
from beltside.drive.clearance import LayoutError
from beltside.drive.path import belt_path, has_positions, with_diameters, without_part
from beltside.drive.path_error import length_error_mm
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley


def test_ribbed_pulleys_turn_with_the_crank_and_back_side_ones_against_it():
    path = belt_path(TARN)
    turns = {one.part: one.turns for one in path.pulleys}
    assert {part for part, way in turns.items() if way == "clockwise"} == {
        "crank",
        "ac-compressor",
        "alternator",
        "steering-pump",
    }
    ratio = path.pulley("alternator").ratio
    assert ratio == pytest.approx((138.0 + 4.0) / (55.0 + 4.0))
    assert path.pulley("idler").ratio == pytest.approx((138.0 + 4.0) / (66.0 + 3.0))


def test_wraps_make_one_round_and_lengths_add_up():
    path = belt_path(TARN)
    round_deg = sum(
        one.wrap_deg if one.turns == "clockwise" else -one.wrap_deg for one in path.pulleys
    )
    assert round_deg == pytest.approx(360.0)
    arcs = sum(math.radians(p.wrap_deg) * p.running_diameter_mm / 2 for p in path.pulleys)
    assert path.pitch_length_mm == pytest.approx(arcs + sum(s.length_mm for s in path.spans))
    assert path.effective_length_mm == pytest.approx(path.pitch_length_mm - 4.0 * math.pi)


def test_the_pitch_line_does_not_change_the_length_of_a_ribbed_drive():
    """Ribbed pulleys alone: the effective length is taken at the effective diameters."""
    ribbed = replace(
        TARN, tensioner=None, pulleys=tuple(p for p in TARN.pulleys if p.face == "ribbed")
    )
    lengths = [
        belt_path(replace(ribbed, belt=Belt(pitch_line_mm=line))).effective_length_mm
        for line in (0.0, 1.2, 2.0)
    ]
    assert lengths == pytest.approx([lengths[0]] * 3)


@pytest.mark.parametrize("first", range(7))
def test_listed_from_any_pulley(first):
    rolled = replace(TARN, pulleys=TARN.pulleys[first:] + TARN.pulleys[:first])
    assert belt_path(rolled) == belt_path(TARN)


def test_listed_the_other_way_round():
    path = belt_path(TARN)
    backwards = belt_path(replace(TARN, pulleys=TARN.pulleys[::-1]))
    assert path.listed_clockwise
    assert not backwards.listed_clockwise
    assert backwards.effective_length_mm == pytest.approx(path.effective_length_mm)
    assert backwards.pulley("crank").turns == "anticlockwise"
    known = replace(TARN, pulleys=TARN.pulleys[::-1], engine=Engine(4, crank_turns="clockwise"))
    assert belt_path(known).spans == path.spans


def test_a_crank_that_turns_anticlockwise_runs_the_belt_against_the_list():
    path = belt_path(TARN)
    other = belt_path(replace(TARN, engine=Engine(4, crank_turns="anticlockwise")))
    assert [p.part for p in other.pulleys] == [
        p.part for p in (path.pulleys[0], *path.pulleys[:0:-1])
    ]
    assert {(s.to_part, s.from_part, round(s.length_mm, 9)) for s in other.spans} == {
        (s.from_part, s.to_part, round(s.length_mm, 9)) for s in path.spans
    }
    assert all(one.turns != path.pulley(one.part).turns for one in other.pulleys)
    assert other.spans[0].start == pytest.approx(path.spans[-1].end)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 6.28), st.booleans())
def test_the_car_may_lean_or_be_seen_in_a_mirror(angle, mirror):
    path = belt_path(TARN)
    places = [
        complex(p.x_mm, -p.y_mm if mirror else p.y_mm) * cmath.exp(1j * angle) for p in TARN.pulleys
    ]
    other = belt_path(
        replace(
            TARN,
            pulleys=tuple(
                replace(p, x_mm=c.real, y_mm=c.imag)
                for p, c in zip(TARN.pulleys, places, strict=True)
            ),
        )
    )
    assert other.effective_length_mm == pytest.approx(path.effective_length_mm)
    assert other.listed_clockwise is not mirror
    assert [p.wrap_deg for p in other.pulleys] == pytest.approx([p.wrap_deg for p in path.pulleys])


@pytest.mark.parametrize(
    ("changes", "named", "words"),
    [
        (
            {"part": "alternator", "x_mm": -195.0, "y_mm": 142.0},
            {"ac-compressor", "alternator"},
            "touch|overlap",
        ),
        ({"part": "idler", "face": "ribbed"}, {"idler"}, "does not bend|crosses|runs into"),
        (
            {"part": "coolant-pump", "x_mm": 30.0, "y_mm": 119.0},
            {"crank", "coolant-pump"},
            "can't pass between crank and|can't pass between coolant-pump and crank|overlap",
        ),
    ],
)
def test_what_no_belt_can_do_names_the_pulleys(changes, named, words):
    part = changes.pop("part")
    with pytest.raises(LayoutError, match=words) as caught:
        belt_path(moved(TARN, part, **changes))
    assert named <= set(caught.value.parts)
    assert all(name in str(caught.value) for name in caught.value.parts)


def two(x_mm: float, face: str = "ribbed") -> DriveSheet:
    return DriveSheet(
        Engine(4),
        Belt(),
        (Pulley("crank", 100.0, x_mm=0, y_mm=0), Pulley("fan", 60.0, face, x_mm=x_mm, y_mm=0)),
    )


@pytest.mark.parametrize("x_mm", [0.0, 40.0, 80.0])
def test_two_pulleys_must_stand_clear(x_mm):
    with pytest.raises(LayoutError, match=r"crank and fan (overlap|touch)"):
        belt_path(two(x_mm))
    assert belt_path(two(80.1)).effective_length_mm > 0.0


def test_a_crossed_belt_is_refused():
    with pytest.raises(LayoutError, match="crank and fan"):
        belt_path(two(200.0, "back"))


def test_a_third_pulley_in_the_way_of_a_span():
    def sheet(idler_mm):
        return DriveSheet(
            Engine(4),
            Belt(),
            (
                Pulley("crank", 100.0, x_mm=0, y_mm=0),
                Pulley("alternator", 60.0, x_mm=-110, y_mm=300),
                Pulley("idler", idler_mm, "back", x_mm=0, y_mm=200),
                Pulley("fan", 60.0, x_mm=110, y_mm=300),
            ),
        )

    assert belt_path(sheet(170.0)).pulley("idler").wrap_deg > 0.0
    with pytest.raises(LayoutError, match="runs into idler") as caught:
        belt_path(sheet(222.0))
    assert {"crank", "idler"} <= set(caught.value.parts)


def test_missing_positions_are_named():
    sheet = replace(TARN, pulleys=(*TARN.pulleys[:6], Pulley("coolant-pump", 104.0, "back")))
    assert not has_positions(sheet)
    with pytest.raises(InputError, match="no position for coolant-pump"):
        belt_path(sheet)
    with pytest.raises(InputError, match="two pulleys or more"):
        belt_path(replace(TARN, pulleys=TARN.pulleys[:1]))


def test_bypassing_and_changing_pulleys():
    shorter = without_part(TARN, "ac-compressor")
    assert belt_path(shorter).effective_length_mm < belt_path(TARN).effective_length_mm
    bigger = with_diameters(TARN, {"alternator": 60.0})
    assert belt_path(bigger).effective_length_mm > belt_path(TARN).effective_length_mm
    for wrong in (
        lambda: without_part(TARN, "crank"),
        lambda: without_part(TARN, "fan"),
        lambda: with_diameters(TARN, {"fan": 60.0}),
        lambda: with_diameters(TARN, {"alternator": 6.0}),
    ):
        with pytest.raises(InputError):
            wrong()


def test_the_error_of_a_length_grows_with_that_of_the_positions():
    assert 1.0 < length_error_mm(TARN, 1.0) < length_error_mm(TARN, 4.0) < 40.0
    known = replace(TARN, belt=replace(TARN.belt, back_line_mm=1.5))
    assert length_error_mm(known) < length_error_mm(TARN)
