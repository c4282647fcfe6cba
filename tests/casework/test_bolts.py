"""The use cases of bolting, and the hole pattern files strangers write."""

import json
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest

from beltside.base.errors import InputError
from beltside.casework.bolts_answer import both_units, maker_torque
from beltside.casework.bolts_hold import hold, stuck
from beltside.casework.bolts_order import order, sealant
from beltside.casework.bolts_torque import torque
from beltside.casework.formats.hole_pattern import load_hole_pattern

DOCS = Path(__file__).resolve().parents[2] / "docs"
(PUMP,) = re.findall(r"```toml\n(.*?)```", (DOCS / "usage/bolts.md").read_text("utf-8"), re.S)


@pytest.fixture
def pump(tmp_path):
    path = tmp_path / "pump.toml"
    path.write_text(PUMP, encoding="utf-8")
    return path


def changed(path, old, new):
    assert old in PUMP
    path.write_text(PUMP.replace(old, new, 1), encoding="utf-8")
    return path


def test_the_example_of_the_docs(pump):
    pattern = load_hole_pattern(pump)
    assert [hole.kind for hole in pattern.flange.holes] == [
        *["bolt"] * 2,
        "stud",
        *["bolt"] * 2,
        "dowel",
    ]
    assert pattern.diameters_mm[0] == 6.6
    schema = json.loads((DOCS / "schema/hole-pattern.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(tomllib.loads(PUMP), schema)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("x_mm = -42", "x = -42", "`x_mm`"),
        ("x_mm = -42", 'x_mm = "wide"', "no number"),
        ('cover = "aluminium"', 'cover = "aluminum"', "aluminium"),
        ('kind = "stud"', 'kind = "screw"', "bolt, stud, dowel"),
        ('thread = "M6"', 'thread = "M6x3"', "M6x1"),
        ("stretch_mm = 28", "stretch_mm = 0", "3 to 500 mm"),
        ("x_mm = 18\ny_mm = 47", "x_mm = -42\ny_mm = 31", "0.0 mm apart"),
        ('name = "B"', 'name = "A"', 'called "A"'),
        ("cover_thickness_mm = 10", "cover_thickness_mm = 0", "1 to 100 mm"),
    ],
)
def test_files_that_cannot_be_used(pump, old, new, said):
    with pytest.raises(InputError, match=re.escape(said)):
        load_hole_pattern(changed(pump, old, new))


@pytest.mark.parametrize("count", [0, 1, 60, 61])
def test_too_few_or_too_many_holes(pump, count):
    rows = [f"[[hole]]\nx_mm = {10 * (k % 8)}\ny_mm = {10 * (k // 8)}\n" for k in range(count)]
    pump.write_text("".join(rows), encoding="utf-8")
    with pytest.raises(InputError):
        order(pump)


def test_order_with_and_without_the_makers_torque(pump):
    plain = order(pump).to_json()
    assert sorted(plain["order"]) == ["A", "B", "C", "D", "E"]
    assert plain["loosening"] == plain["order"][::-1]
    assert plain["dowels"] == ["P"]
    assert plain["maker"] is None
    assert {stage["torque_nm"] for stage in plain["stages"]} == {None}
    assert "N m" not in str(order(pump).groups)
    for star in ("star", "best_star"):
        assert plain["evenness"]["average_peak_to_mean"] < plain[star]["average_peak_to_mean"]
    asked = order(pump, torque="10 N m", torque_source="page 12").to_json()
    assert [stage["torque_nm"] for stage in asked["stages"]] == [3.0, 6.0, 10.0]
    assert asked["maker"]["from"] == "page 12"
    in_file = changed(
        pump, 'thread = "M6"', 'thread = "M6"\ntorque = "7 ft-lb"\ntorque_source = "page 9"'
    )
    assert order(in_file).to_json()["stages"][2]["torque_nm"] == pytest.approx(9.49)
    json.dumps(asked, allow_nan=False)


def test_a_torque_comes_with_its_source(pump):
    assert maker_torque(None, None) is None
    for written, source in (("10 N m", None), ("10 N m", " "), (None, "page 12")):
        with pytest.raises(InputError):
            maker_torque(written, source)
    with pytest.raises(InputError):
        order(pump, torque="10 N m")


def test_the_makers_torque_always_wins():
    answer = torque("M8", class_name="8.8", maker="60 N m", maker_source="page 12")
    assert answer.data["use"]["torque_nm"] == 60.0
    assert answer.data["use"]["is_maker"]
    assert "60 N m" in answer.answer
    assert "page 12" in answer.answer
    assert any("proof load" in warning for warning in answer.warnings)
    weak = torque("M8", class_name="8.8", maker="24 lbf in", maker_source="page 12")
    assert any("check the unit" in warning for warning in weak.warnings)
    without_class = torque("M8", maker="24 N m", maker_source="page 12")
    assert without_class.data["can_take"] is None


def test_what_a_thread_can_take_is_no_figure_for_a_car():
    answer = torque("M8", class_name="8.8", state="oiled")
    assert "no figure for a car" in answer.answer
    assert answer.data["maker"] is None
    # A turf equipment maker's table (about 2000): 22 N m lubricated.
    can_take = answer.data["can_take"]
    assert can_take["low_nm"] < 22 < can_take["high_nm"]
    us = torque("M8", class_name="8.8", state="oiled", unit="lbf ft").data["use"]
    assert us["value"] == pytest.approx(can_take["typical_nm"] / 1.355818, abs=0.01)
    json.dumps(answer.to_json(), allow_nan=False)


def test_aluminium_says_how_much_thread_it_needs():
    unsaid = torque("M8", class_name="8.8", into="aluminium")
    assert any("Engagement not given" in warning for warning in unsaid.warnings)
    short = torque("M8", class_name="8.8", into="aluminium", engagement_mm=8.0)
    assert short.data["can_take"]["limited_by"] == "thread in the part"
    assert short.data["use"]["torque_nm"] < unsaid.data["use"]["torque_nm"]
    stripping = torque(
        "M8",
        class_name="8.8",
        state="oiled",
        into="aluminium",
        engagement_mm=6.0,
        maker="25 N m",
        maker_source="page 12",
    )
    assert any("strip" in warning for warning in stripping.warnings)


def test_heads_adapters_and_turns():
    assert torque(None, head_mm=12.0).data["threads"][0]["thread"] == "M8"
    odd = torque("M6", class_name="8.8", head_mm=13.0)
    assert any("M8" in warning for warning in odd.warnings)
    small = torque("M8", class_name="8.8", head_mm=12.0)
    assert small.data["can_take"]["bearing_mm"] < 10.3
    # US Army TM 9-254: adapter of 2 on an arm of 12, 70 wanted, set to 60.
    set_to = torque(
        "M10", maker="70 N m", maker_source="page 12", arm_mm=12 * 25.4, adapter_mm=2 * 25.4
    )
    assert set_to.data["wrench"]["set_to_nm"] == pytest.approx(60.0)
    turned = torque("M10", class_name="10.9", turn_deg=90.0, grip_mm=40.0)
    assert turned.data["turn"]["flats"] == 1.5


@pytest.mark.parametrize(
    "given",
    [
        {"thread": None},
        {"thread": "M8"},
        {"thread": "M8", "class_name": "8.8", "state": "3"},
        {"thread": "M8", "class_name": "8.8", "unit": "parsec"},
        {"thread": "M8", "class_name": "8.8", "into": "cheese"},
        {"thread": "M8", "class_name": "8.8", "head": "round"},
        {"thread": "M8", "class_name": "8.8", "arm_mm": 300.0},
        {"thread": "M8", "class_name": "8.8", "into": "aluminium", "engagement_mm": 0.0},
        {"thread": "M8", "class_name": "8.8", "maker": "24 N m"},
        {"thread": "M8", "class_name": "8.8", "turn_deg": 900.0},
    ],
)
def test_calls_that_cannot_be(given):
    with pytest.raises(InputError) as caught:
        torque(given.pop("thread"), **given)
    assert caught.value.allowed


def test_a_dry_gasket_unless_the_maker_calls_for_sealant(pump):
    dry = sealant(pump)
    assert dry.data["dry"]
    assert "dry" in dry.answer
    with pytest.raises(InputError, match="calls for it"):
        sealant(pump, bead_mm=2.0, tube_ml=80.0)
    wet = sealant(
        pump,
        called_for="page 12",
        bead_mm=2.0,
        tube_ml=80.0,
        skin_min=10.0,
        cure_h=24.0,
        started="14:20",
    )
    assert wet.data["bead"]["holes_mm"] == pytest.approx(5 * 3.14159 * 11.6, abs=0.1)
    assert wet.data["clock"]["times"] == ["14:30", "14:20 the next day"]
    for wrong in ({"started": "25:00"}, {"started": "noon"}, {"cure_h": None}, {"tube_ml": None}):
        given = {"bead_mm": 2.0, "tube_ml": 80.0, "skin_min": 10.0, "cure_h": 24.0, **wrong}
        with pytest.raises(InputError):
            sealant(pump, called_for="page 12", **given)


def test_a_hole_of_unknown_size_is_asked_for(pump):
    with pytest.raises(InputError, match="diameter"):
        sealant(
            changed(pump, 'thread = "M6"\n', ""), called_for="page 12", bead_mm=2.0, tube_ml=80.0
        )


def test_hold_and_stuck():
    both = hold()
    assert [one["wrench_turns"] for one in both.data["holds"]] == ["anticlockwise", "clockwise"]
    assert set(both.pictures) == {"hold-loosen", "hold-tighten"}
    plan = stuck("Seized", near=["coolant"], into="aluminum").to_json()
    assert plan["minutes"]["low"] < plan["minutes"]["expected"] < plan["minutes"]["high"]
    assert plan["provenance"]["source"] == "common practice, no source"


def test_both_units():
    assert both_units(2.0) == "2.0 N m (18 lbf in)"


def test_a_torque_beyond_the_bolt_is_not_told_to_be_tightened_to():
    # ISO 898-1: proof load of M8, class 8.8, is 21.2 kN; K 0.2, so 240 N m asks for 150 kN.
    typed_wrong = torque("M8", class_name="8.8", maker="240 N m", maker_source="page 12")
    assert typed_wrong.answer.startswith("Don't tighten yet")
    fair = torque("M8", class_name="8.8", maker="24 N m", maker_source="page 12")
    assert fair.answer.startswith("Tighten to 24 N m")
