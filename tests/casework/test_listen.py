"""One take from a file to lines and pictures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from beltside.base.errors import InputError, RecordingError
from beltside.casework.listen import listen
from beltside.media import write_recording
from beltside.rig import demo_case
from beltside.rig.writing import drive_toml


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("listen")
    case = demo_case()
    take = case.takes[0]
    write_recording(folder / "belt-on.m4a", take.samples, take.sample_rate_hz)
    np.save(folder / "truth.npy", np.stack((take.truth_time_s, take.truth_rpm)))
    (folder / "drive.toml").write_text(drive_toml(case.sheet))
    return folder


def test_the_crank_speed_is_the_rigs_own(folder: Path) -> None:
    result = listen(folder / "belt-on.m4a", drive=folder / "drive.toml")
    _, rpm = np.load(folder / "truth.npy")
    assert result.crank is not None
    assert result.crank.rpm_median == pytest.approx(float(np.median(rpm)), rel=3e-3)
    assert result.crank.rpm_low <= result.crank.rpm_median <= result.crank.rpm_high
    assert result.crank.confidence > 0.65


def test_lines_name_the_firing_and_the_pump_bearing(folder: Path) -> None:
    result = listen(folder / "belt-on.m4a", drive=folder / "drive.toml")
    firing = [line for line in result.lines if line.source == "firing"]
    assert firing
    # A four-cylinder four-stroke fires twice a turn.
    assert all(line.order % 2.0 == pytest.approx(0.0, abs=0.05) for line in firing)
    assert any((line.part, line.source) == ("coolant-pump", "outer race") for line in result.lines)


def test_pictures_have_everything_to_draw(folder: Path) -> None:
    pictures = listen(folder / "belt-on.m4a", drive=folder / "drive.toml").pictures
    assert pictures.spectrogram is not None
    assert pictures.sound is not None
    assert pictures.envelope is not None
    assert pictures.firing_order == 2.0


def test_a_stated_speed_that_agrees_is_confirmed(folder: Path) -> None:
    result = listen(folder / "belt-on.m4a", drive=folder / "drive.toml", crank_rpm=760.0)
    assert result.crank is not None
    assert result.crank.source == "stated"
    assert result.crank.confidence >= 0.95


def test_a_stated_speed_that_does_not_is_warned_of(folder: Path) -> None:
    result = listen(folder / "belt-on.m4a", drive=folder / "drive.toml", crank_rpm=1180.0)
    assert result.crank is not None
    assert result.crank.rpm_median == pytest.approx(1180.0, rel=0.05)
    assert any("stated" in warning for warning in result.warnings)


@pytest.mark.parametrize("speed", [float("nan"), float("inf"), 0.0, -760.0, 1e9])
def test_an_absurd_stated_speed_is_refused(folder: Path, speed: float) -> None:
    with pytest.raises(InputError, match="rpm"):
        listen(folder / "belt-on.m4a", drive=folder / "drive.toml", crank_rpm=speed)


def test_without_a_sheet_it_says_what_is_wanted(folder: Path) -> None:
    with pytest.raises(InputError, match="cylinders"):
        listen(folder / "belt-on.m4a", drive=None)


def test_two_pulleys_of_one_name_are_numbered_and_told(folder: Path, tmp_path: Path) -> None:
    """As docs/formats.md promises."""
    text = (folder / "drive.toml").read_text()
    pulley = '[[pulley]]\npart = "idler"\ndiameter_mm = 70\n'
    sheet = tmp_path / "drive.toml"
    sheet.write_text(text.replace('part = "idler"', 'part = "tensioner"') + 2 * pulley)
    result = listen(folder / "belt-on.m4a", drive=sheet)
    assert any("idler-2" in one for one in result.warnings)


def test_silence_is_refused(folder: Path, tmp_path: Path) -> None:
    write_recording(tmp_path / "silent.wav", np.zeros((1, 48_000 * 4), np.float32), 48_000)
    with pytest.raises(RecordingError, match="silent"):
        listen(tmp_path / "silent.wav", drive=folder / "drive.toml")


def test_progress_runs_from_start_to_end(folder: Path) -> None:
    told: list[float] = []
    listen(
        folder / "belt-on.m4a",
        drive=folder / "drive.toml",
        progress=lambda _what, share: told.append(share),
    )
    assert told[0] == 0.0
    assert told[-1] == 1.0
    assert told == sorted(told)
