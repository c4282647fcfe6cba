"""`where`, `direction` and `similar` from the command line: answers, JSON, refusals, the page."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from beltside.cli.main import main
from beltside.cli.where import band_of

PAGE = Path(__file__).parents[2] / "docs" / "usage" / "where.md"
COMMANDS = ("where", "direction", "similar")
RATE_HZ = 48_000
SHEET = """
[engine]
cylinders = 4
[[pulley]]
part = "crank"
x_mm = 0
y_mm = 0
diameter_mm = 138
[[pulley]]
part = "alternator"
x_mm = 175
y_mm = 205
diameter_mm = 55
[[pulley]]
part = "idler"
x_mm = -120
y_mm = 150
diameter_mm = 70
face = "back"
"""


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    return int(ended.value.code or 0)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A drive sheet, a stereo take from the right, the same in mono, and a text that is none."""
    from beltside.media import write_recording

    rng = np.random.default_rng(1)
    wave = 0.05 * rng.normal(size=3 * RATE_HZ)
    # From the right: the left channel hears it nine samples (0.19 ms) later.
    both = np.stack((np.roll(wave, 9), wave)) + 0.02 * rng.normal(size=(2, wave.size))
    write_recording(tmp_path / "stereo.wav", both.astype(np.float32), RATE_HZ)
    write_recording(tmp_path / "mono.wav", both[:1].astype(np.float32), RATE_HZ)
    (tmp_path / "drive.toml").write_text(SHEET, encoding="utf-8")
    (tmp_path / "case.toml").write_text(
        'drive = "drive.toml"\n[[take]]\nfile = "mono.wav"\nplace = "idler"\n', encoding="utf-8"
    )
    return tmp_path


def test_direction_in_words(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    done = run(
        *("direction", str(folder / "stereo.wav"), "--mic-spacing-mm", "140"),
        *("--stand-off-mm", "400", "--drive", str(folder / "drive.toml")),
        *("--pictures", str(folder / "pictures")),
    )
    said = capsys.readouterr().out
    assert done == 0
    assert "points at the alternator" in said
    # asin(343.2 m/s x 9 / 48000 s / 0.14 m) = 27.4 degrees: plane geometry.
    assert "27 degrees to the right" in said
    assert (folder / "pictures" / "direction.png").is_file()


def test_direction_as_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("direction", str(folder / "stereo.wav"), "--json") == 0
    plain = json.loads(capsys.readouterr().out)
    assert plain["state"] == "path only"
    assert plain["takes"][0]["path"][0][1] is None
    assert plain["takes"][0]["path"][0][2] == pytest.approx(-1e3 * 9 / RATE_HZ, abs=2e-3)


def test_direction_of_a_mono_take_says_why(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("direction", str(folder / "mono.wav")) == 0
    assert "can't tell" in capsys.readouterr().out


def test_where_with_one_probe_take_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("where", str(folder)) == 2
    assert "two parts or more" in capsys.readouterr().err


def test_similar_among_nothing_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = folder / "known" / "idler.bearing" / "broken.wav"
    bad.parent.mkdir(parents=True)
    bad.write_bytes(b"no sound at all")
    done = run(
        *("similar", str(folder / "mono.wav"), "--folder", str(folder / "known")),
        *("--drive", str(folder / "drive.toml")),
    )
    said = capsys.readouterr().err
    assert done == 2
    assert "broken.wav" in said


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("direction", "{}/missing.wav"), "does not exist"),
        (("direction", "{}/stereo.wav", "--band", "loud"), 'the band "loud"'),
        (("direction", "{}/stereo.wav", "--mic-spacing-mm", "2"), "microphone spacing"),
        (("where", "{}", "--part", "alternater"), "Try: alternator"),
        (("where", "{}/nowhere"), "does not exist"),
        (("similar", "{}/mono.wav", "--folder", "{}/nowhere"), "does not exist"),
        (("similar", "{}/mono.wav", "--folder", "{}"), "no drive sheet given"),
    ],
)
def test_calls_that_are_off_exit_with_two(
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    message: str,
) -> None:
    assert run(*(word.format(folder) for word in arguments)) == 2
    assert message in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize(
    ("text", "band"),
    [
        ("2000-6000", (2000.0, 6000.0)),
        ("2k-6k", (2000.0, 6000.0)),
        ("500 : 900 Hz", (500.0, 900.0)),
    ],
)
def test_bands_are_read(text: str, band: tuple[float, float]) -> None:
    assert band_of(text) == band


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_on_the_page(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    def options(text: str) -> set[str]:
        return set(re.findall(r"(?<![\w-])(-[a-z]|--[a-z][a-z-]+)", text))

    assert run(name, "--help") == 0
    section = PAGE.read_text(encoding="utf-8").split(f"\n## `beltside {name}")[1].split("\n## ")[0]
    printed = options(capsys.readouterr().out)
    assert printed == options(" ".join(re.findall(r"`([^`\n]+)`", section)))
