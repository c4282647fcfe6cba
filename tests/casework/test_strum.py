"""The use case `strum`: recordings in, note, tension, span and verdict out."""

from __future__ import annotations

import json
import wave

import numpy as np
import pytest

from beltside.base.errors import InputError, RecordingError
from beltside.casework.strum import joined, strum
from beltside.drive.tension import BeltBody, strum_hz
from beltside.sound.strum import Pluck, Strum

SHEET = """
[engine]
cylinders = 4
[belt]
ribs = 6
mass_g_per_m = 126
[[pulley]]
part = "crank"
x_mm = 0
y_mm = 0
diameter_mm = 138
[[pulley]]
part = "alternator"
x_mm = -150
y_mm = 265
diameter_mm = 55
[[pulley]]
part = "fan"
x_mm = 120
y_mm = 160
diameter_mm = 120
"""
RATE = 16000


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "drive.toml"
    path.write_text(SHEET, encoding="utf-8")
    return path


@pytest.fixture
def take(tmp_path):
    def write(note, name="plucks.wav", count=3):
        """A WAV file of decaying partials, written with the standard library."""
        time_s = np.arange(4 * RATE) / RATE
        sound = 0.004 * np.random.default_rng(1).normal(size=time_s.size)
        for number in range(count):
            after = np.maximum(time_s - 0.5 - number, 0.0)
            for n, weight in enumerate((1.0, 0.5, 0.25), start=1):
                sound += (
                    0.2 * weight * np.exp(-8.0 * n * after) * np.sin(2 * np.pi * n * note * after)
                )
        path = tmp_path / name
        with wave.open(str(path), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(RATE)
            file.writeframes((32767 * np.clip(sound, -1, 1)).astype("<i2").tobytes())
        return path

    return write


def test_the_ideal_strings_tension_by_rule_and_scale(take):
    """T = 4 m L^2 f^2 less the stiffness of six ribs."""
    found = strum([take(120.0)], span_mm=200.0, ribs=6, mass_g_per_m=126.0)
    assert found.strum.frequency_hz == pytest.approx(120.0, rel=0.01)
    assert found.tension.string_n == pytest.approx(290.3, rel=0.02)
    assert found.tension.low_n < 290.3 - found.tension.stiffness_n < found.tension.high_n
    assert json.dumps(found.to_json(), allow_nan=False)


def test_a_named_span_of_the_sheet(take, sheet):
    length = float(np.hypot(150.0, 265.0) ** 2 - (69.0 - 27.5) ** 2) ** 0.5
    note = strum_hz(330.0, length, BeltBody.of_ribs(6, 0.126))
    found = strum([take(note)], sheet=sheet, span=("alternator", "crank"), target_n=(300.0, 360.0))
    assert found.spans[0].length_mm == pytest.approx(length, abs=0.01)
    assert found.tension.value_n == pytest.approx(330.0, rel=0.03)
    assert found.verdict == "within target"
    assert (
        strum(
            [take(note)], sheet=sheet, span=("crank", "alternator"), target_n=(900.0, 950.0)
        ).verdict
        == "too slack"
    )


def test_spans_that_may_be_are_all_listed(take, sheet):
    found = strum([take(80.0)], sheet=sheet, target_n=(300.0, 360.0))
    assert len(found.spans) == 3
    assert [one.length_mm for one in found.spans] == sorted(
        (one.length_mm for one in found.spans), reverse=True
    )
    if sum(one.possible for one in found.spans) > 1:
        assert found.tension is None
        assert any("name the one plucked" in said for said in found.warnings)


def test_a_note_without_span_or_belt_is_still_a_note(take):
    found = strum([take(95.0)])
    assert found.strum.frequency_hz == pytest.approx(95.0, rel=0.01)
    assert found.tension is None
    assert any("mass are not known" in said for said in found.warnings)
    no_span = strum([take(95.0)], ribs=6)
    assert any("free length" in said for said in no_span.warnings)
    unweighed = strum([take(95.0)], ribs=6, span_mm=250.0)
    assert any("weigh the belt" in said for said in unweighed.warnings)


def test_one_pluck_is_said_to_be_one(take):
    found = strum([take(95.0, count=1)])
    assert any("Only one pluck" in said for said in found.warnings)


def told(note, half=0.005, plucks=1):
    one = Pluck(0.5, note, note * (1 - half), note * (1 + half), 9.0)
    return Strum(note, note * (1 - half), note * (1 + half), (one,) * plucks, (), None, None)


def test_several_takes_are_averaged_and_an_odd_one_is_left_out():
    found = joined([told(100.0), told(101.0), told(150.0)])
    assert found.frequency_hz == pytest.approx(100.5, rel=2e-3)
    assert found.low_hz < 100.0
    assert found.high_hz > 101.0
    assert len(found.plucks) == 2
    assert [one.frequency_hz for one in found.others] == [150.0]
    nothing = Strum(None, None, None, (), (), "no pluck stands out", None)
    assert joined([nothing, told(80.0)]).frequency_hz == pytest.approx(80.0)
    assert joined([nothing, nothing]).frequency_hz is None


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"span": ("crank", "alternator")}, "without its length"),
        ({"span_mm": 5.0}, "free length"),
        ({"ribs": 40}, "ribs"),
        ({"mass_g_per_m": 1.0}, "mass"),
        ({"target_n": (0.0, 3.0)}, "target"),
        ({"target_n": (400.0, 300.0)}, "target"),
    ],
)
def test_bad_options(take, options, words):
    with pytest.raises(InputError, match=words):
        strum([take(95.0)], **options)


def test_a_span_that_is_not_there(take, sheet):
    with pytest.raises(InputError, match="no span runs from crank to idler"):
        strum([take(95.0)], sheet=sheet, span=("crank", "idler"))


def test_takes_that_are_none(tmp_path):
    with pytest.raises(InputError):
        strum([])
    text = tmp_path / "notes.wav"
    text.write_text("no sound", encoding="utf-8")
    with pytest.raises(RecordingError):
        strum([text])
