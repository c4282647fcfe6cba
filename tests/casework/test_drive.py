"""The use case `drive`: sheets in, the whole drive out, and what is refused."""

from __future__ import annotations

import json
import math

import pytest

from beltside.base.errors import InputError
from beltside.casework.drive import drive
from beltside.casework.formats.drive_sheet import load_drive_sheet
from beltside.casework.formats.problems import FileProblemsError
from beltside.drive.path import belt_path
from beltside.drive.tension import BeltBody, strum_hz

TARN = """
name = "Tarn 1.4 front drive"
[engine]
cylinders = 4
idle_rpm = 760
[belt]
profile = "6PK"
tension_n = 320
[tensioner]
pivot_x_mm = -110
pivot_y_mm = 180
takes_up_deg = 14
lets_out_deg = 22
[[pulley]]
part = "crank"
x_mm = 0
y_mm = 0
diameter_mm = 138
offset_mm = 0
[[pulley]]
part = "ac-compressor"
x_mm = -195
y_mm = 60
diameter_mm = 112
offset_mm = 0
torque_nm = 3
[[pulley]]
part = "tensioner"
x_mm = -75
y_mm = 125
diameter_mm = 70
face = "back"
[[pulley]]
part = "alternator"
x_mm = -150
y_mm = 265
diameter_mm = 55
offset_mm = 3
[[pulley]]
part = "idler"
x_mm = 10
y_mm = 255
diameter_mm = 66
face = "back"
[[pulley]]
part = "fan"
x_mm = 150
y_mm = 275
diameter_mm = 120
[[pulley]]
part = "coolant-pump"
x_mm = 60
y_mm = 140
diameter_mm = 104
face = "back"
"""


@pytest.fixture
def sheet(tmp_path):
    def write(*changes):
        text = TARN
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        path = tmp_path / "drive.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_the_json_other_programs_rely_on(sheet):
    found = json.loads(json.dumps(drive(sheet()).to_json(), allow_nan=False))
    path = belt_path(load_drive_sheet(sheet()))
    assert found["belt_length_mm"] == pytest.approx(path.effective_length_mm, abs=1e-3)
    assert [one["part"] for one in found["pulleys"]] == [p.part for p in path.pulleys]
    for one in found["pulleys"]:
        assert {"part", "ratio", "wrap_deg", "turns", "slip_margin"} <= set(one)
    for one in found["spans"]:
        assert {"from", "to", "length_mm", "strum_hz"} <= set(one)
        note = strum_hz(320.0, one["length_mm"], BeltBody.of_ribs(6))
        assert one["strum_hz"] == pytest.approx(note, abs=0.02)
    assert found["warnings"] == []


def test_a_torque_of_the_sheet_stands_above_the_default(sheet):
    found = {one.part: one for one in drive(sheet()).pulleys}
    assert found["ac-compressor"].torque_nm == pytest.approx(3.0)
    assert found["ac-compressor"].torque_from == "drive sheet"
    assert "common practice" in found["alternator"].torque_from


def test_without_a_tension_it_is_not_made_up(sheet):
    found = drive(sheet(("tension_n = 320\n", "")))
    assert found.tension_n is None
    assert all(one.slip_margin is None for one in found.pulleys)
    assert all(one.strum_hz is None for one in found.spans)
    assert found.slip[0].slips_below_n > 0.0
    assert any("tension is not known" in said for said in found.warnings)
    assert drive(sheet(), tension_n=400.0).tension_n == 400.0


def test_mist_glaze_and_load_need_more_tension(sheet):
    cases = {one.name: one.slips_below_n for one in drive(sheet()).slip}
    assert cases["misted"] > cases["glazed"] > cases["as it is"]
    assert cases["everything on, misted"] > cases["everything on"] > cases["as it is"]


def test_ratios_alone_without_positions(sheet):
    bare = "\n".join(line for line in TARN.splitlines() if not line.startswith(("x_mm", "y_mm")))
    path = sheet()
    path.write_text(bare, encoding="utf-8")
    found = drive(path)
    assert found.belt_length_mm is None
    assert found.spans == ()
    ratio = next(one.ratio for one in found.pulleys if one.part == "alternator")
    assert ratio == pytest.approx(142.0 / 59.0)
    with pytest.raises(InputError, match="no position for"):
        drive(path, length_mm=1800.0)
    partly = sheet(("x_mm = 10\ny_mm = 255\n", ""))
    assert drive(partly).belt_length_mm is None
    assert any("No position for idler" in said for said in drive(partly).warnings)


def test_bypass_and_other_pulley(sheet):
    plain = drive(sheet())
    bypass = drive(sheet(), without=["ac-compressor"])
    assert bypass.original_length_mm == pytest.approx(plain.belt_length_mm)
    assert bypass.belt_length_mm < plain.belt_length_mm
    assert bypass.changed == ("without ac-compressor",)
    assert all("ac-compressor" not in case.margins for case in bypass.slip)
    stock = drive(sheet(), without=["ac-compressor"], stock_mm=[1480.0, 1500.0, 1700.0]).tensioner
    assert [fit.length_mm for fit in stock.fits] == [1480.0, 1500.0]
    bigger = drive(sheet(), diameters_mm={"alternator": 60.0})
    assert bigger.belt_length_mm > plain.belt_length_mm


def test_the_tensioner_with_a_belt_and_with_wear(sheet):
    plain = drive(sheet())
    length = plain.belt_length_mm + 5.0
    found = drive(sheet(), length_mm=length, moved=4.0).tensioner
    assert found.asked.length_mm == length
    assert found.asked.reserve_mm == pytest.approx(found.reserve_mm - 5.0)
    assert found.asked.way > 0.0
    assert 0.0 < found.gained_mm < 10.0
    with pytest.raises(InputError, match="too long"):
        drive(sheet(), length_mm=1900.0)


def test_a_marked_length_far_from_the_path_is_said(sheet):
    length = round(drive(sheet()).belt_length_mm)
    near = drive(sheet(('profile = "6PK"', f'profile = "6PK"\nlength_mm = {length + 3}')))
    assert not any("apart" in said for said in near.warnings)
    far = drive(sheet(('profile = "6PK"', f'profile = "6PK"\nlength_mm = {length - 60}')))
    assert any("60 mm apart" in said for said in far.warnings)


def test_alignment_of_what_was_read(sheet):
    found = {(one.from_part, one.to_part): one for one in drive(sheet()).alignment}
    assert set(found) == {("crank", "ac-compressor"), ("ac-compressor", "alternator")}
    askew = found["ac-compressor", "alternator"]
    assert askew.angle_deg == pytest.approx(math.degrees(math.atan(3.0 / askew.run_mm)))
    assert askew.past == ("tensioner",)


def test_listed_anticlockwise_is_said(sheet):
    found = load_drive_sheet(sheet())
    assert found.tensioner is not None
    head, *pulleys = TARN.split("[[pulley]]")
    path = sheet()
    path.write_text("[[pulley]]".join([head, *pulleys[::-1]]), encoding="utf-8")
    assert any("anticlockwise" in said for said in drive(path).warnings)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("y_mm = 265", "y_mm = 80"), "overlap"),
        (("x_mm = -150\n", ""), "missing|without"),
        (("takes_up_deg", "takes_up_mm"), "swings"),
        (("pivot_y_mm = 180\n", ""), "pivot"),
        (("pivot_x_mm", "pivot"), "not known"),
        (("offset_mm = 3", "offset_mm = 300"), "offset"),
        (("torque_nm = 3", 'torque_nm = "much"'), "torque"),
        (("[tensioner]", '[tensioner]\npart = "fan-2"'), "fan-2"),
        (("[engine]", '[engine]\ncrank_turns = "left"'), "left"),
    ],
)
def test_bad_sheets_are_refused_in_words(sheet, change, words):
    with pytest.raises(InputError, match=words):
        drive(sheet(change))


@pytest.mark.parametrize(
    "options",
    [
        {"crank_rpm": 20.0},
        {"load": "full"},
        {"tension_n": -3.0},
        {"friction": 9.0},
        {"without": ["crank"]},
        {"without": ["idler-2"]},
        {"diameters_mm": {"alternator": 5.0}},
        {"stock_mm": [0.0]},
        {"moved": 99.0},
        {"without": ["tensioner"], "length_mm": 1700.0},
    ],
)
def test_bad_options_are_refused(sheet, options):
    with pytest.raises(InputError):
        drive(sheet(), **options)


def test_a_sheet_without_pulleys(tmp_path):
    path = tmp_path / "drive.toml"
    path.write_text("[engine]\ncylinders = 4\n", encoding="utf-8")
    with pytest.raises(InputError, match="0 pulleys"):
        drive(path)
    path.write_text("[engine]\ncylinders = 7\n", encoding="utf-8")
    with pytest.raises(FileProblemsError):
        drive(path)
