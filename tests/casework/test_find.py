"""A case from files to odds."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from beltside.base.errors import InputError, RecordingError
from beltside.casework.find import find, find_in_memory
from beltside.casework.takes import ArraySource, Conditions
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.media import write_recording
from beltside.rig import demo_case, write_case

SHEET = DriveSheet(
    Engine(cylinders=4, idle_rpm=760.0),
    Belt(),
    (Pulley("crank", 138.0), Pulley("coolant-pump", 112.0), Pulley("alternator", 55.0)),
)


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    write_case(demo_case(), folder, suffixes=(".m4a", ".webm", ".wav"))
    return folder


@pytest.fixture(scope="module")
def demo_result(demo_folder: Path):  # type: ignore[no-untyped-def]
    return find(demo_folder)


def test_the_demo_case_names_the_dry_pump_bearing(demo_result) -> None:  # type: ignore[no-untyped-def]
    # The rig made this pump's bearing dry: that is the truth here.
    assert demo_result.suspects[0].id == "coolant-pump.bearing"


def test_odds_are_whole_and_sorted(demo_result) -> None:  # type: ignore[no-untyped-def]
    odds = [suspect.probability for suspect in demo_result.suspects]
    assert math.fsum(odds) == pytest.approx(1.0)
    assert odds == sorted(odds, reverse=True)
    assert {"none", "other"} <= {suspect.id for suspect in demo_result.suspects}


def test_every_reason_says_something_and_has_bits(demo_result) -> None:  # type: ignore[no-untyped-def]
    for suspect in demo_result.suspects:
        assert suspect.because
        for reason in suspect.because:
            assert reason.from_
            assert reason.says
            assert math.isfinite(reason.bits)


def test_the_pump_takes_show_its_outer_race(demo_result) -> None:  # type: ignore[no-untyped-def]
    lines = demo_result.listens["probe-coolant-pump.m4a"].lines
    assert any(line.part == "coolant-pump" and line.source == "outer race" for line in lines)


def test_findings_join_the_sound(demo_folder: Path, tmp_path: Path) -> None:
    text = (demo_folder / "case.toml").read_text()
    for file in demo_folder.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / "case.toml").write_text(
        text + '\n[[finding]]\ncheck = "spin-by-hand"\npart = "coolant-pump"\noutcome = "rough"\n'
    )
    with_finding = find(tmp_path)
    without = find(demo_folder)
    before = next(s for s in without.suspects if s.id == "coolant-pump.bearing").probability
    after = next(s for s in with_finding.suspects if s.id == "coolant-pump.bearing").probability
    assert after > before
    reasons = with_finding.suspects[0].because
    assert any("rough" in reason.says and reason.bits > 0.0 for reason in reasons)
    assert all(
        (check.check, check.part) != ("spin-by-hand", "coolant-pump")
        for check in with_finding.next_checks
    )


def test_findings_alone_are_enough(tmp_path: Path) -> None:
    (tmp_path / "drive.toml").write_text(
        "[engine]\ncylinders = 4\n[[pulley]]\npart = 'crank'\ndiameter_mm = 138\n"
        "[[pulley]]\npart = 'coolant-pump'\ndiameter_mm = 110\n"
    )
    (tmp_path / "case.toml").write_text(
        "drive = 'drive.toml'\n[[finding]]\ncheck = 'spin-by-hand'\npart = 'coolant-pump'\n"
        "outcome = 'dry'\n"
    )
    result = find(tmp_path)
    assert result.suspects[0].id == "coolant-pump.bearing"


def test_an_unknown_check_is_refused_with_the_nearest(tmp_path: Path) -> None:
    (tmp_path / "drive.toml").write_text(
        "[engine]\ncylinders = 4\n[[pulley]]\npart = 'crank'\ndiameter_mm = 138\n"
        "[[pulley]]\npart = 'coolant-pump'\ndiameter_mm = 110\n"
    )
    (tmp_path / "case.toml").write_text(
        "drive = 'drive.toml'\n[[finding]]\ncheck = 'spin-by-hnad'\npart = 'coolant-pump'\n"
        "outcome = 'dry'\n"
    )
    with pytest.raises(InputError, match="spin-by-hand"):
        find(tmp_path)


def test_a_take_too_short_is_refused_by_name(tmp_path: Path) -> None:
    (tmp_path / "drive.toml").write_text("[engine]\ncylinders = 4\n")
    noise = np.random.default_rng(0).normal(0.0, 0.1, (1, 48_000)).astype(np.float32)
    write_recording(tmp_path / "short.wav", noise, 48_000)
    (tmp_path / "case.toml").write_text("drive = 'drive.toml'\n[[take]]\nfile = 'short.wav'\n")
    with pytest.raises(RecordingError, match=r"short\.wav"):
        find(tmp_path)


def test_takes_that_cannot_be_used_are_left_out_by_name(demo_folder: Path, tmp_path: Path) -> None:
    """The odds are those of the case without them; each is told with its own error."""
    head = "drive = 'drive.toml'\n[[take]]\nfile = 'good.wav'\n"
    (tmp_path / "drive.toml").write_bytes((demo_folder / "drive.toml").read_bytes())
    noise = np.random.default_rng(0).normal(0.0, 0.1, (1, 48_000 * 6)).astype(np.float32)
    write_recording(tmp_path / "good.wav", noise, 48_000)
    write_recording(tmp_path / "short.wav", noise[:, :48_000], 48_000)
    (tmp_path / "page.m4a").write_text("<html>not sound</html>")
    whole = next(demo_folder.glob("*.m4a")).read_bytes()
    (tmp_path / "cut.m4a").write_bytes(whole[:12])
    bad = ("short.wav", "page.m4a", "cut.m4a", "gone.m4a")
    case = tmp_path / "case.toml"
    case.write_text(head)
    alone = find(tmp_path)
    case.write_text(head + "".join(f"[[take]]\nfile = '{name}'\n" for name in bad))
    found = find(tmp_path)
    assert found.suspects == alone.suspects
    assert list(found.listens) == ["good.wav"]
    told = [one for one in found.warnings if "is left out" in one]
    assert sorted(one.partition(" is left out: ")[0] for one in told) == sorted(bad)
    assert any("1.00 s of sound" in one for one in told)
    assert any("gone.m4a" in one and "is not there" in one for one in told)


def test_when_no_take_is_left_every_one_is_named(tmp_path: Path) -> None:
    (tmp_path / "drive.toml").write_text("[engine]\ncylinders = 4\n")
    for name in ("a.m4a", "b.m4a"):
        (tmp_path / name).write_text("no sound")
    takes = "[[take]]\nfile = 'a.m4a'\n[[take]]\nfile = 'b.m4a'\n"
    (tmp_path / "case.toml").write_text("drive = 'drive.toml'\n" + takes)
    with pytest.raises(
        RecordingError, match=r"(?s)none of the 2.* a\.m4a is text, not .* b\.m4a is text, "
    ):
        find(tmp_path)


def test_plain_noise_names_no_crank_and_stays_unsure() -> None:
    noise = np.random.default_rng(1).normal(0.0, 0.1, (1, 48_000 * 6)).astype(np.float32)
    result = find_in_memory([ArraySource(noise, 48_000)], [Conditions("noise")], SHEET)
    assert result.crank == {"noise": None}
    assert "noise" in result.crank_reasons
    assert any("crank speed" in warning for warning in result.warnings)


def test_the_order_of_takes_does_not_change_the_odds() -> None:
    case = demo_case()
    takes = [take for take in case.takes if take.name in ("belt-on", "belt-off")]

    def odds(order: list[int]) -> dict[str, float]:
        result = find_in_memory(
            [ArraySource(takes[i].samples, takes[i].sample_rate_hz) for i in order],
            [Conditions(takes[i].name, takes[i].belt) for i in order],
            case.sheet,
        )
        return {suspect.id: suspect.probability for suspect in result.suspects}

    first, second = odds([0, 1]), odds([1, 0])
    assert first == pytest.approx(second, abs=1e-6)
