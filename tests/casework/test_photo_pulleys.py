"""Pulleys from a picture: taps, edges, suggestions, the drive sheet."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from beltside.base.errors import InputError
from beltside.casework.formats.drive_sheet import load_drive_sheet
from beltside.casework.photo_pulleys import measure_front, suggest_rims, write_sheet
from beltside.proof.front_picture import front_svg, save_front
from beltside.rig.photo_front import FrontPicture, photograph_front

CENTERS = np.array([[0.0, 0.0], [170.0, 200.0], [-80.0, 180.0], [150.0, 60.0]])
SIZES = np.array([138.0, 55.0, 70.0, 110.0])
PARTS = ("crank", "alternator", "idler", "coolant-pump")


@pytest.fixture(scope="module")
def front() -> FrontPicture:
    return photograph_front(CENTERS, SIZES, np.random.default_rng(3), width_px=1600, height_px=1200)


def rim_file(path: Path, front: FrontPicture, *, more: str = "", known: bool = True) -> Path:
    rng = np.random.default_rng(9)
    lines = [f"width_px = {front.shot.width_px}", f"height_px = {front.shot.height_px}", more]
    for k, part in enumerate(PARTS):
        taps = front.taps(CENTERS[k], SIZES[k], 6, 3.0, rng).round(1).tolist()
        lines += ["[[rim]]", f'part = "{part}"', f"taps = {taps}"]
        if k == 0 and known:
            lines.append("diameter_mm = 138.0")
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_taps_and_photo_give_a_drive_sheet(tmp_path: Path, front: FrontPicture) -> None:
    photo = tmp_path / "front.png"
    cv2.imwrite(str(photo), front.image[:, :, ::-1])
    rims = rim_file(tmp_path / "rims.toml", front, more="[engine]\ncylinders = 4")
    result = measure_front(rims, photo)
    assert all(one.sharpened for one in result.pulleys)
    assert [one.ratio for one in result.pulleys] == pytest.approx(SIZES / 138.0, rel=0.01)
    assert [one.x_mm for one in result.pulleys] == pytest.approx(CENTERS[:, 0], abs=4.0)
    assert [one.y_mm for one in result.pulleys] == pytest.approx(CENTERS[:, 1], abs=4.0)
    write_sheet(result, tmp_path / "drive.toml")
    sheet = load_drive_sheet(tmp_path / "drive.toml")
    assert [one.part for one in sheet.pulleys] == list(PARTS)
    with pytest.raises(InputError, match="there already"):
        write_sheet(result, tmp_path / "drive.toml")
    assert len(save_front(result, tmp_path / "pictures")) == 1
    assert "alternator" in front_svg(result)


def test_taps_alone_are_honest(tmp_path: Path, front: FrontPicture) -> None:
    result = measure_front(rim_file(tmp_path / "rims.toml", front))
    for one, size in zip(result.pulleys[1:], SIZES[1:], strict=True):
        assert one.ratio == pytest.approx(size / 138.0, rel=0.08)
        assert one.ratio_low - 0.02 <= size / 138.0 <= one.ratio_high + 0.02
    assert "[engine]" in result.no_sheet


def test_ratios_without_a_scale(tmp_path: Path, front: FrontPicture) -> None:
    result = measure_front(rim_file(tmp_path / "rims.toml", front, known=False))
    assert result.pulleys[1].diameter_mm is None
    assert result.pulleys[1].ratio > 0.0
    assert "known size" in result.no_sheet
    assert "ratio" in front_svg(result)
    assert result.to_json()["pulleys"][1]["diameter_mm"] is None


def test_rims_suggest_themselves(tmp_path: Path, front: FrontPicture) -> None:
    photo = tmp_path / "front.png"
    cv2.imwrite(str(photo), front.image[:, :, ::-1])
    found = suggest_rims(photo)
    want = front.shot.seen_of(CENTERS)
    near = [any(np.hypot(e.x_px - x, e.y_px - y) < 6.0 for e in found.ellipses) for x, y in want]
    assert sum(near) >= 3
    assert found.toml.count("ellipse = ") == len(found.ellipses)


def test_what_a_rim_file_may_not_say(tmp_path: Path) -> None:
    def refused(text: str, words: str) -> None:
        path = tmp_path / "rims.toml"
        path.write_text("width_px = 800\nheight_px = 600\n" + text, encoding="utf-8")
        with pytest.raises(InputError, match=words):
            measure_front(path)

    taps = "taps = [[1, 1], [9, 1], [5, 9]]\n"
    refused("", "no rim")
    refused('[[rim]]\npart = "crank"\ntaps = [[1, 1], [2, 2]]\n', "2 taps")
    refused('[[rim]]\npart = "water-pump"\n' + taps, "coolant-pump")
    refused('[[rim]]\npart = "crank"\nface = "flat"\n' + taps, "ribbed")
    refused(2 * ('[[rim]]\npart = "crank"\n' + taps), "twice")
    refused('[[rim]]\npart = "crank"\ntap = 3\n', "tap")
    refused('[known]\nwidth_mm = 5\n[[rim]]\npart = "crank"\n' + taps, "four corners")
