"""A case folder in the format of the drive sheet and the case file."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from beltside.base.errors import BeltsideError
from beltside.rig import TakePlan, demo_case, draw_case, write_case
from beltside.rig.demo import PULLEYS, demo_length_mm

PULLEY_KEYS = {
    "part", "x_mm", "y_mm", "diameter_mm", "face", "poles", "vanes", "fan_blades", "bearing",
}  # fmt: skip


def test_folder_has_the_formats_of_the_design(tmp_path: Path) -> None:
    plans = (
        TakePlan("belt-on", duration_s=2.0),
        TakePlan("belt-off", belt="off", duration_s=2.0),
        TakePlan("probe-idler", place="idler", load=("lights",), duration_s=2.0),
    )
    case = draw_case(np.random.default_rng(2), truth="idler.bearing", takes=plans)
    path = write_case(case, tmp_path / "job", suffixes=(".wav", ".m4a"))
    read = tomllib.loads(path.read_text(encoding="utf-8"))
    assert set(read) == {"drive", "take"}
    assert [take["file"] for take in read["take"]] == [
        "belt-on.wav",
        "belt-off.m4a",
        "probe-idler.wav",
    ]
    assert [take["belt"] for take in read["take"]] == ["on", "off", "on"]
    assert [take["place"] for take in read["take"]] == [
        "front of engine",
        "front of engine",
        "idler",
    ]
    assert read["take"][2]["load"] == ["lights"]
    sheet = tomllib.loads((path.parent / read["drive"]).read_text(encoding="utf-8"))
    assert set(sheet) <= {"name", "engine", "belt", "pulley"}
    assert sheet["engine"]["cylinders"] == case.sheet.engine.cylinders
    assert set(sheet["belt"]) <= {"profile", "ribs", "length_mm"}
    for row, pulley in zip(sheet["pulley"], case.sheet.pulleys, strict=True):
        assert set(row) <= PULLEY_KEYS
        assert row["part"] == pulley.part
        assert row["diameter_mm"] == pytest.approx(pulley.diameter_mm)
        assert row["face"] in ("ribbed", "back")
    wave, rate_hz = soundfile.read(path.parent / "belt-on.wav", always_2d=True)
    take = case.takes[0]
    assert rate_hz == take.sample_rate_hz
    assert pytest.approx(take.samples, abs=2e-4) == wave.T
    assert (path.parent / "belt-off.m4a").stat().st_size > 2000


def test_unknown_file_type_is_refused(tmp_path: Path) -> None:
    case = draw_case(np.random.default_rng(2), truth="none", takes=(TakePlan("a", duration_s=2.0),))
    with pytest.raises(BeltsideError):
        write_case(case, tmp_path, suffixes=(".xyz",))


def test_demo_is_the_tarn_with_a_dry_pump_bearing() -> None:
    case = demo_case()
    assert case.truth == "coolant-pump.bearing"
    assert case.sheet.name == "Tarn 1.4 front drive"
    assert [(take.belt, take.place) for take in case.takes] == [
        ("on", "front of engine"),
        ("off", "front of engine"),
        ("on", "front of engine"),
        ("on", "coolant-pump"),
        ("on", "alternator"),
        ("on", "idler"),
    ]
    for take in case.takes:
        assert 15.0 <= take.samples.shape[1] / take.sample_rate_hz <= 20.0
        assert np.abs(take.samples).max() <= 1.0
    assert case.takes[2].truth_rpm.max() > 2400.0
    assert case.sheet.belt.length_mm == pytest.approx(demo_length_mm(), rel=0.015)
    assert [pulley.part for pulley in case.sheet.pulleys] == [row[0] for row in PULLEYS]
