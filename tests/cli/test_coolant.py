"""The coolant commands: what they print, refuse, and with which exit code."""

from __future__ import annotations

import io
import json
import re
import shlex
import sys
from pathlib import Path

import pytest

from beltside.cli.main import main

USAGE = Path(__file__).parents[2] / "docs" / "usage" / "coolant.md"
READINGS = "time,pressure_kpa\n" + "".join(f"{0.5 * i},{107 - 2 * i}\n" for i in range(11))


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["coolant", *arguments])
    assert isinstance(ended.value.code, int)
    return ended.value.code


def shown() -> list[str]:
    text = USAGE.read_text(encoding="utf-8")
    return re.findall(r"^beltside coolant .*$", text, re.MULTILINE)


def test_the_page_shows_every_command() -> None:
    named = {shlex.split(line)[2] for line in shown()}
    assert named == {"mix", "adjust", "reuse", "cap", "hold", "fill", "clock", "drain"}


@pytest.mark.parametrize("line", [line for line in shown() if "--live" not in line])
def test_what_the_page_shows_works(
    line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("readings.csv").write_text(READINGS, encoding="utf-8")
    arguments = [word for word in shlex.split(line)[2:] if word != "--countdown"]
    expected = 2 if "--pressure" in arguments else 0
    assert run(*arguments) == expected
    captured = capsys.readouterr()
    assert ("CAUTION" in captured.out) == (expected == 0)
    if expected == 0:
        assert run(*arguments, "--json") == 0
        assert json.loads(capsys.readouterr().out)["topic"] == arguments[0]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["mix", "--freeze", "-60C"], "-51.2"),
        (["mix"], "exactly one"),
        (["mix", "--freeze", "-34C", "--altitude", "6000"], "1829 m"),
        (["mix", "--freeze", "-34C", "--glycol", "wine"], "ethylene or propylene"),
        (["cap", "108 bar"], "108 kPa"),
        (["cap", "1.1", "--pressure", "120"], "above the cap"),
        (["hold"], "--live"),
        (["hold", "none.csv"], "does not exist"),
        (["hold", "-r", "1=108", "-r", "0=107"], "in order"),
        (["hold", "-r", "0=108", "--strokes", "9"], "both or neither"),
        (["clock", "--displacement", "1600", "--coolant", "6", "--start", "20"], "1600 L"),
        (["clock", "--displacement", "1.6", "--coolant", "6", "--start", "20", "-r", "x"], "TIME="),
        (["drain", "--volume", "5", "--height", "40", "--bore-mm", "8"], "40 m"),
        (["fill", "--drained", "-3"], "-3 L"),
        (["reuse", "--family", "green"], "colour"),
        (["reuse", "--km", "1", "--miles", "1"], "one of them"),
        (["adjust", "--capacity", "8", "--now", "20", "--target", "95"], "0.6"),
        (["adjust", "--capacity", "8", "--now", "20", "--shelf", "5=x"], "5=24.50"),
    ],
)
def test_what_is_off_is_said_with_exit_code_2(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*arguments) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert words in captured.err


def test_pictures_are_written_and_listed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("cap", "16", "--pictures", str(tmp_path / "p"), "--json") == 0
    (picture,) = json.loads(capsys.readouterr().out)["pictures"]
    assert Path(picture).is_file()


def test_live_answers_after_each_line_and_goes_on_after_a_slip(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = "108\n1:00 100\nx\n2:00 94\n3:00 88\n4:00 82\n\nnot read\n"
    monkeypatch.setattr(sys, "stdin", io.StringIO(lines))
    assert run("hold", "--live", "--cap", "1.1", "--gauge-step", "1", "--json") == 0
    captured = capsys.readouterr()
    plain = json.loads(captured.out)
    assert plain["verdict"] == "leaking"
    assert plain["readings"] == 5
    assert captured.err.count(" min  ") == 5
    assert "not taken" in captured.err


def test_live_with_nothing_typed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert run("hold", "--live") == 2
    assert "no reading" in capsys.readouterr().err


def test_narrow_terminals_keep_every_line_within(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    assert run("cap", "16") == 0
    assert max(len(line) for line in capsys.readouterr().out.splitlines()) <= 40


def test_us_units_throughout(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("mix", "--freeze=-30F", "--us", "--capacity", "8", "--thermostat", "190") == 0
    out = capsys.readouterr().out
    assert "°F" in out
    assert " qt" in out
    assert "°C" not in out.split("MIND")[0]


@pytest.mark.parametrize("name", ["coolant", "coolant_show", "coolant_work"])
def test_commands_need_no_heavy_library(name: str) -> None:
    """Numpy alone would take more than half of the time a command may take."""
    import subprocess

    script = (
        "import sys\n"
        f"import beltside.cli.{name}, beltside.casework.coolant_hold, "
        "beltside.casework.coolant_mix, beltside.casework.coolant_work, "
        "beltside.casework.coolant_change, beltside.casework.coolant_cap\n"
        "heavy = {'numpy', 'scipy', 'rich.console', 'altair', 'PIL', 'vl_convert'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONPATH": str(Path(__file__).parents[2] / "src")},
    )
    assert done.stdout.strip() == "[]"


def test_the_countdown_leaves_out_the_time_already_run(monkeypatch: pytest.MonkeyPatch) -> None:
    counted: list[float] = []
    monkeypatch.setattr("beltside.cli.coolant_work._count_down", counted.append)
    given = ["--displacement", "1.6", "--coolant", "6", "--start", "20C", "--air", "15C"]
    assert run("clock", *given, "--countdown") == 0
    assert run("clock", *given, "-r", "1:30=45C", "--countdown") == 0
    assert counted[1] <= counted[0] - 90.0
