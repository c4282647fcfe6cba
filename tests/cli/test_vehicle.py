"""The command `vehicle` as a technician would call it."""

from __future__ import annotations

import json
from datetime import date

import pytest

from beltside.cli.main import main


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(["vehicle", *arguments])
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


def test_a_number_in_words(capsys):
    code, out, err = run(capsys, "1m8 gdm9a-xkp 042788", "--year", "2026")
    assert (code, err) == (0, "")
    assert out.startswith("Model year 1989, likely.")
    for words in ("check digit", "United States", "042788", "2019 only if"):
        assert words in " ".join(out.split())


def test_a_misread_number_in_words(capsys):
    code, out, _ = run(capsys, "1MBGDM9AXKP042788", "--year", "2026")
    assert code == 0
    assert out.startswith("This number was misread or mistyped.")
    assert "1M8GDM9AXKP042788  1989  Character 3: 8 for B" in out
    assert "numbers fit in all" in out


def test_a_label_in_words(capsys):
    code, out, err = run(capsys, "NABCV02.0XYZ", "--year", "2026")
    assert (code, err) == (0, "")
    assert out.startswith("Model year 2022, sure. Displacement 2.0 litres, sure.")
    assert "1.95 to 2.05 litres" in out


def test_number_and_label(capsys):
    code, out, _ = run(capsys, "1M8GDM9AXKP042788", "KABCV02.0XYZ", "--year", "2026")
    assert code == 0
    assert "disagree" in out


def test_json(capsys):
    code, out, _ = run(capsys, "1M8GDM9AXKP042788", "--json", "--year", "2026")
    assert code == 0
    plain = json.loads(out)
    assert plain["model_year"] == 1989
    assert plain["vin"]["check_digit"] == {
        "given": "X",
        "expected": "X",
        "sum": 351,
        "fits": True,
        "mandatory": True,
        "says": plain["vin"]["check_digit"]["says"],
    }


def test_today_comes_from_the_clock(capsys):
    _, out, _ = run(capsys, "1M8GDM9AXKP042788", "--json")
    assert json.loads(out)["provenance"]["inputs"]["today_year"] == date.today().year


def test_made_for_north_america_by_word(capsys):
    _, plain, _ = run(capsys, "JXX45CD70EP118341", "--json", "--year", "2026")
    _, stated, _ = run(capsys, "JXX45CD70EP118341", "--north-american", "--json", "--year", "2026")
    assert json.loads(plain)["vin"]["typos"] is None
    assert json.loads(stated)["vin"]["typos"]["total"] > 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["12"], ["17 characters", "12 characters"]),
        (["1M8GDM9AXKP04278"], ["16 characters", "1M8GDM9AXKP042788"]),
        (["1M8GDM9AXKPO42788"], ["character 12 is O", "1M8GDM9AXKP042788"]),
        (["NABCVO2.0XYZ"], ["NABCV02.0XYZ"]),
        (["1M8GDM9AXKP042788", "--year", "1066"], ["1980 to 2039"]),
        (["1M8GDM9AXKP042788", "--year", "now"], ["--year"]),
        (["1M8GDM9AXKP042788", "1M8GDM9AXKP042788"], ["two numbers"]),
        ([], ["VIN-OR-LABEL"]),
    ],
)
def test_what_can_not_be_read_ends_with_2_and_says_why(capsys, arguments, said):
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    for words in said:
        assert words in err
