"""`beltside compare`: what it prints, its files, and bad calls."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest

from beltside.cli.main import main
from beltside.media import read_recording, write_recording

SHEET = """
name = "Made-up front drive"
[engine]
cylinders = 4
idle_rpm = 800
[belt]
profile = "PK"
[[pulley]]
part = "crank"
diameter_mm = 138.0
face = "ribbed"
[[pulley]]
part = "alternator"
diameter_mm = 55.0
face = "ribbed"
"""
RATE_HZ = 16_000


@pytest.fixture(scope="module")
def takes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two takes of a made-up engine: the second is softer, and whines less."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "sound"))
    from engines import engine

    folder = tmp_path_factory.mktemp("takes")
    made = engine(21, 800.0, seconds=8.0)
    turns = np.cumsum(made.rpm / 60.0) / made.rate_hz
    whine = sum(np.sin(2 * np.pi * k * 138.0 / 55.0 * turns + k) for k in (1, 2, 3, 9, 10))
    noise = np.random.default_rng(1).normal(size=turns.size)
    before = 0.5 * made.samples + 0.02 * whine
    after = 0.1 * made.samples + 0.001 * whine + 1e-4 * noise
    write_recording(folder / "before.wav", before.astype(np.float32), RATE_HZ)
    write_recording(folder / "after.m4a", after.astype(np.float32), RATE_HZ)
    (folder / "drive.toml").write_text(SHEET)
    return folder


def run(*arguments: str | Path) -> int:
    with pytest.raises(SystemExit) as stopped:
        main(["compare", *map(str, arguments)])
    return int(stopped.value.code or 0)


def test_answer_first_then_files_to_listen_to(
    takes: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = run(
        takes / "before.wav", takes / "after.m4a", "--drive", takes / "drive.toml",
        "--listen", tmp_path, "--as", "wav", "--pictures", tmp_path,
    )  # fmt: skip
    said = capsys.readouterr().out
    assert code == 0, said
    assert "dB quieter" in said.splitlines()[0]
    assert "as loud as before" in said
    assert (tmp_path / "compare-bands.png").exists()
    pair = [read_recording(tmp_path / f"listen-{name}.wav") for name in ("before", "after")]
    assert pair[0][0].shape == pair[1][0].shape
    # The engine is as loud in both although the second recording is 14 dB softer.
    ratio_db = 20.0 * np.log10(np.std(pair[0][0]) / np.std(pair[1][0]))
    assert abs(ratio_db) < 4.0


def test_json_for_other_programs(takes: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        run(takes / "before.wav", takes / "after.m4a", "--drive", takes / "drive.toml", "--json")
        == 0
    )
    answer = json.loads(capsys.readouterr().out)
    wanted = {"quieter_db", "loudness_ratio", "comparable", "why_not", "bands", "orders"}
    assert wanted <= set(answer)
    assert answer["gain_db"]["value"] == pytest.approx(-14.0, abs=1.5)


def test_the_same_file_twice_says_so(takes: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(takes / "before.wav", takes / "before.wav", "--drive", takes / "drive.toml") == 0
    said = capsys.readouterr().out
    assert "can't be compared" in said
    assert "same recording" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--only", "alternator"], "--only without --listen"),
        (["--listen", "x", "--as", "mp3"], "m4a or wav"),
        (["--before-rpm", "20"], "300 to 8000"),
    ],
)
def test_bad_calls(
    takes: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    drive = ["--drive", takes / "drive.toml"]
    assert run(takes / "before.wav", takes / "after.m4a", *drive, *arguments) == 2
    assert says in capsys.readouterr().err


def test_without_a_drive_sheet(takes: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(takes / "before.wav", takes / "after.m4a") == 2
    assert "--drive" in capsys.readouterr().err


def test_a_part_without_lines(
    takes: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drive = ["--drive", takes / "drive.toml"]
    only = ["--listen", tmp_path, "--only", "fan"]
    assert run(takes / "before.wav", takes / "after.m4a", *drive, *only) == 2
    assert "no line of fan" in capsys.readouterr().err
