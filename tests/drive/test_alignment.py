"""Entry angles from straight-edge readings."""

from __future__ import annotations

import math

import pytest
from belt_drives import TARN

from beltside.base.errors import InputError
from beltside.drive.alignment import entry_angles
from beltside.drive.path import belt_path

PATH = belt_path(TARN)
RIBBED = {"crank": 0.0, "ac-compressor": 0.0, "alternator": 0.0, "steering-pump": 0.0}


def angle(offsets, **limits):
    return {(one.from_part, one.to_part): one for one in entry_angles(PATH, offsets, **limits)}


def test_the_angle_is_the_offset_over_the_belt_between():
    found = angle({**RIBBED, "ac-compressor": 3.0})
    span = PATH.spans[0]
    assert (span.from_part, span.to_part) == ("crank", "ac-compressor")
    one = found["crank", "ac-compressor"]
    assert one.run_mm == span.length_mm
    assert one.angle_deg == pytest.approx(math.degrees(math.atan(3.0 / span.length_mm)))
    assert one.offset_mm == 3.0


def test_a_flat_pulley_does_not_guide_the_belt_unless_it_was_read():
    found = angle({**RIBBED, "alternator": 2.0})
    past = found["ac-compressor", "alternator"]
    assert past.past == ("tensioner",)
    pulley = PATH.pulley("tensioner")
    arc = math.radians(pulley.wrap_deg) * pulley.running_diameter_mm / 2
    lengths = PATH.spans[1].length_mm + PATH.spans[2].length_mm
    assert past.run_mm == pytest.approx(lengths + arc)
    read = angle({**RIBBED, "alternator": 2.0, "tensioner": 2.0})
    assert read["tensioner", "alternator"].angle_deg == 0.0
    assert read["ac-compressor", "tensioner"].angle_deg > past.angle_deg


def test_all_moved_forward_alike_is_in_line():
    found = angle(dict.fromkeys(RIBBED, 4.0))
    assert {one.verdict for one in found.values()} == {"in line"}
    assert len(found) == 4


def test_verdicts_by_the_limits():
    run = PATH.spans[0].length_mm
    for degrees, said in ((0.1, "in line"), (0.6, "out of line"), (2.0, "chirp likely")):
        offset = run * math.tan(math.radians(degrees))
        one = angle({**RIBBED, "ac-compressor": offset})["crank", "ac-compressor"]
        assert one.verdict == said
    assert one.sure
    strict = angle({**RIBBED, "ac-compressor": 0.2}, limit_deg=0.01, noise_deg=0.02)
    assert strict["crank", "ac-compressor"].verdict == "chirp likely"
    assert not strict["crank", "ac-compressor"].sure


def test_what_was_not_read_is_left_out():
    assert entry_angles(PATH, {}) == ()
    assert entry_angles(PATH, {"crank": 1.0}) == ()
    assert set(angle({"crank": 0.0, "ac-compressor": 1.0})) == {("crank", "ac-compressor")}


@pytest.mark.parametrize(
    ("offsets", "limits"),
    [
        ({"fan": 1.0}, {}),
        ({"crank": 80.0}, {}),
        ({"crank": math.nan}, {}),
        ({"crank": 0.0}, {"limit_deg": 2.0}),
        ({"crank": 0.0}, {"limit_deg": 0.0}),
    ],
)
def test_bad_readings(offsets, limits):
    with pytest.raises(InputError):
        entry_angles(PATH, offsets, **limits)
