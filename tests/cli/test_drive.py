"""The commands `drive` and `strum` as a technician would call them."""

from __future__ import annotations

import json
import wave
from pathlib import Path

import numpy as np
import pytest

from beltside.cli.main import main

SHEET = """
name = "Made-up front drive"
[engine]
cylinders = 4
[belt]
ribs = 6
tension_n = 320
[tensioner]
part = "alternator"
slide_deg = 110
takes_up_mm = 15
lets_out_mm = 10
spring = false
[[pulley]]
part = "crank"
x_mm = 0
y_mm = 0
diameter_mm = 138
offset_mm = 0
[[pulley]]
part = "alternator"
x_mm = -150
y_mm = 265
diameter_mm = 55
offset_mm = 2
[[pulley]]
part = "fan"
x_mm = 120
y_mm = 160
diameter_mm = 120
offset_mm = 0
"""


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "drive.toml"
    path.write_text(SHEET, encoding="utf-8")
    return path


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Three plucks of 80 Hz in a WAV file."""
    rate = 16000
    time_s = np.arange(4 * rate) / rate
    sound = 0.003 * np.random.default_rng(2).normal(size=time_s.size)
    for number in range(3):
        after = np.maximum(time_s - 0.5 - number, 0.0)
        for n in (1, 2, 3):
            sound += 0.2 / n * np.exp(-8.0 * n * after) * np.sin(2.0 * np.pi * 80.0 * n * after)
    path = tmp_path / "plucks.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes((32767 * sound).astype("<i2").tobytes())
    return path


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main([str(one) for one in arguments])
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


def test_drive_in_words(capsys, sheet, tmp_path):
    code, out, err = run(capsys, "drive", sheet, "--pictures", tmp_path / "pictures")
    assert (code, err) == (0, "")
    for words in (
        "Effective belt length",
        "First to slip",
        "PULLEYS",
        "SPANS",
        "TENSIONER",
        "ALIGNMENT",
        "Engine off",
    ):
        assert words in out
    assert (tmp_path / "pictures" / "drive-belt.png").is_file()
    assert (tmp_path / "pictures" / "drive-belt.svg").is_file()
    assert "belt.png" in out


def test_drive_as_json_and_in_us_units(capsys, sheet):
    code, out, _ = run(capsys, "drive", sheet, "--json", "--diameter", "alternator=58")
    assert code == 0
    found = json.loads(out)
    assert found["changed"] == ["alternator 58 mm"]
    assert found["belt_length_mm"] > found["original_length_mm"]
    assert found["pictures"] == []
    _, out, _ = run(capsys, "drive", sheet, "--us")
    assert " in" in out
    assert " lbf" in out
    assert " mm" not in out.replace("5 mm steps", "")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--diameter", "alternator"], "PART=MM"),
        (["--diameter", "alternator=big"], "no length"),
        (["--stock-mm", "900,x"], "no length"),
        (["--without", "idler"], "has no idler"),
        (["--length-mm", "2000"], "too long"),
        (["--load", "much"], "light, heavy"),
        (["--tension-n", "1"], "10 to 5000 N"),
    ],
)
def test_a_call_that_is_off_says_what_would_do(capsys, sheet, options, words):
    code, out, err = run(capsys, "drive", sheet, *options)
    assert (code, out) == (2, "")
    assert words in err


def test_a_drive_no_belt_can_run_names_the_pulleys(capsys, sheet):
    sheet.write_text(SHEET.replace("y_mm = 265", "y_mm = 85").replace("-150", "-10"))
    code, _, err = run(capsys, "drive", sheet)
    assert code == 2
    assert "crank" in err
    assert "alternator" in err


def test_files_that_are_not_there(capsys, tmp_path):
    assert run(capsys, "drive", tmp_path / "drive.toml")[0] == 2
    assert run(capsys, "strum", tmp_path / "plucks.wav")[0] == 2


def test_strum_in_words_and_json(capsys, take, sheet):
    code, out, _ = run(
        capsys,
        "strum",
        take,
        "--drive",
        sheet,
        "--span",
        "crank,alternator",
        "--target-n",
        "300-360",
    )
    assert code == 0
    assert "Hz" in out
    assert "Tension" in out
    code, out, _ = run(capsys, "strum", take, "--span-mm", "300", "--ribs", "6", "--json")
    found = json.loads(out)
    assert found["frequency_hz"]["value"] == pytest.approx(80.0, rel=0.01)
    assert found["tension_n"]["string"] == pytest.approx(4 * 0.12 * (0.3 * 80.0) ** 2, rel=0.02)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--span", "crank"], "two parts"),
        (["--target-n", "about 300"], "LOW-HIGH"),
        (["--ribs", "1"], "2 to 14"),
        (["--span", "crank,fan"], "--span-mm"),
    ],
)
def test_a_strum_call_that_is_off(capsys, take, options, words):
    code, _, err = run(capsys, "strum", take, *options)
    assert code == 2
    assert words in err
