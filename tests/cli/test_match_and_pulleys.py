"""`beltside bolts match` and `beltside pulleys` as they are called."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from beltside.cli.main import main

PUMP = ((0, 0), (84, 6), (96, 61), (41, 88), (-12, 52))


def part(path: Path, off_mm: float = 0.0) -> Path:
    rows = [f"[[hole]]\nx_mm = {x + off_mm * (x == 96)}\ny_mm = {y}" for x, y in PUMP]
    path.write_text("error_mm = 0.1\n" + "\n".join(rows), encoding="utf-8")
    return path


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


def test_match_says_the_verdict_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old, new = part(tmp_path / "old.toml"), part(tmp_path / "new.toml", 5.0)
    code, out, _ = run(capsys, "bolts", "match", str(old), str(new))
    assert code == 0
    assert out.startswith("Doesn't fit.")
    assert "Hole 3 of old lies 5.0 mm from hole 3 of new" in out
    code, out, _ = run(capsys, "bolts", "match", str(old), str(old), "--json")
    assert json.loads(out)["verdict"] == "fits"


def test_what_is_off_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    old = part(tmp_path / "old.toml")
    code, _, err = run(capsys, "bolts", "match", str(old), str(tmp_path / "odl.toml"))
    assert code == 2
    assert "old.toml" in err
    code, _, err = run(capsys, "bolts", "match", str(old), str(old), "--scatter-mm", "9")
    assert code == 2
    assert "0.02 to 2 mm" in err
    assert run(capsys, "pulleys")[0] == 2
    fake = tmp_path / "front.jpg"
    fake.write_text("no picture", encoding="utf-8")
    code, _, err = run(capsys, "pulleys", str(fake))
    assert code == 1
    assert "no picture" in err


def test_pulleys_from_taps(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Two circles seen squarely: radius 200 and 100 px, so the ratio is 0.5.
    def ring(x: float, r: float) -> str:
        points = [[x + r, 800], [x - r, 800], [x, 800 + r], [x, 800 - r]]
        points += [[x + 0.6 * r, 800 + 0.8 * r], [x - 0.8 * r, 800 - 0.6 * r]]
        return str(points)

    rims = tmp_path / "rims.toml"
    rims.write_text(
        "width_px = 2000\nheight_px = 1600\ntap_error_px = 1\n[engine]\ncylinders = 4\n"
        f'[[rim]]\npart = "crank"\ndiameter_mm = 140\ntaps = {ring(700, 200)}\n'
        f'[[rim]]\npart = "alternator"\ntaps = {ring(1300, 100)}\n',
        encoding="utf-8",
    )
    sheet = tmp_path / "drive.toml"
    code, out, _ = run(capsys, "pulleys", "--taps", str(rims), "--sheet", str(sheet))
    assert code == 0
    assert "alternator" in out
    assert sheet.exists()
    code, out, _ = run(capsys, "pulleys", "--taps", str(rims), "--json")
    assert json.loads(out)["pulleys"][1]["ratio"] == pytest.approx(0.5, abs=0.02)
    assert run(capsys, "pulleys", "--taps", str(rims), "--sheet", str(sheet))[0] == 2


def test_a_rim_file_for_a_photo_is_told_where_it_goes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rims = tmp_path / "rims.toml"
    rims.write_text("width_px = 100", encoding="utf-8")
    code, _, err = run(capsys, "pulleys", str(rims))
    assert code == 2
    assert f"--taps {rims}" in err
