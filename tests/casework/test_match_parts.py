"""Old pump, new pump, gasket: from files and from pictures."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from beltside.base.errors import InputError
from beltside.casework.match_part import read_part
from beltside.casework.match_parts import match_parts
from beltside.proof.match_picture import match_svg, save_match
from beltside.rig.photo_part import draw_part, photograph_part

PUMP = ((0, 0), (84, 6), (96, 61), (41, 88), (-12, 52))


def part(path: Path, places: object, *, head: str = "", mirror: bool = False) -> Path:
    lines = [head or "error_mm = 0.1"]
    for x, y in places:  # type: ignore[attr-defined]
        lines += ["[[hole]]", f"x_mm = {-x if mirror else x}", f"y_mm = {y}", "diameter_mm = 8.5"]
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def test_old_new_and_gasket(tmp_path: Path) -> None:
    old = part(tmp_path / "old.toml", PUMP)
    new = part(tmp_path / "new.toml", PUMP)
    gasket = part(tmp_path / "gasket.toml", PUMP, mirror=True)
    result = match_parts(old, new, gasket=gasket)
    # A gasket can be turned over, so that does not speak against it.
    assert result.verdict == "fits"
    assert [pair.verdict for pair in result.pairs] == ["fits", *["fits another way up"] * 2]
    assert match_parts(old, gasket).verdict == "fits another way up"
    told = result.to_json()
    assert told["pairs"][0]["widest_gap"]["first"] == [1, 2]
    assert told["pairs"][0]["orientations"][0]["holes"][0]["off_mm"] == 0.0
    saved = save_match(result, tmp_path / "pictures")
    assert len(saved) == 3
    assert "Fits" in match_svg(result.pairs[0])


def test_the_back_is_the_mirror_of_the_mating_face(tmp_path: Path) -> None:
    old = part(tmp_path / "old.toml", PUMP)
    back = part(tmp_path / "new.toml", PUMP, head='side = "back"\nerror_mm = 0.1', mirror=True)
    assert match_parts(old, back).verdict == "fits"


def test_the_hub_stands_elsewhere(tmp_path: Path) -> None:
    old = part(tmp_path / "old.toml", PUMP, head="error_mm = 0.1\nhub_offset_mm = 62.4")
    new = part(tmp_path / "new.toml", PUMP, head="error_mm = 0.1\nhub_offset_mm = 64.0")
    result = match_parts(old, new)
    assert result.verdict == "doesn't fit"
    assert "hub offset differs by 1.6 mm" in result.pairs[0].reasons[0]


def test_outlines_and_ports_are_the_second_opinion(tmp_path: Path) -> None:
    outline = "outline_mm = [[-20, -10], [104, -10], [104, 98], [-20, 98]]\nerror_mm = 0.1"
    port = "\n[[port]]\ncorners_mm = [[30, 30], [50, 30], [50, 50], [30, 50]]\n"
    moved = "\n[[port]]\ncorners_mm = [[40, 30], [60, 30], [60, 50], [40, 50]]\n"
    old = part(tmp_path / "old.toml", PUMP, head=outline + port)
    new = part(tmp_path / "new.toml", PUMP, head=outline + moved)
    pair = match_parts(old, new).pairs[0]
    assert pair.outline is not None
    assert pair.outline.share > 0.99
    assert pair.ports[0].of_old == pytest.approx(0.5, abs=0.02)


def test_two_photos_without_taps(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    plan = draw_part(rng, 5)
    for name in ("old", "new"):
        picture = photograph_part(plan, rng, width_px=1200, height_px=900)
        cv2.imwrite(str(tmp_path / f"{name}.png"), picture.image[:, :, ::-1])
    result = match_parts(tmp_path / "old.png", tmp_path / "new.png", disc_mm=24.0)
    assert result.verdict == "fits"
    found = result.pairs[0].first.holes
    assert len(found.places_mm) == 6  # five holes and the bore
    assert found.diameter_mm[0] == pytest.approx(plan.bore_mm, rel=0.02)


def test_what_a_file_may_not_say(tmp_path: Path) -> None:
    def refused(text: str, words: str) -> None:
        path = tmp_path / "part.toml"
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match=words):
            read_part(path)

    hole = "[[hole]]\nx_px = 5\ny_px = 5\n"
    refused(hole, "known")
    refused("[[hole]]\nx_mm = 5\n", "not clear")
    refused('side = "top"\n' + hole, "mating")
    refused("[[hole]]\nx_mm = 1\ny_mm = 1\n" + hole, "mixed")
    refused("[known]\ndiameter_mm = 24\nlength_mm = 3\n" + hole, "exactly one")
    refused("[known]\ndiameter_mm = 24\n" + hole, "picture's size is missing")
    refused("[[hole]]\nx_mm = 1\ny_mm = 1\n", "1 hole")
    refused("[[holes]]\nx_mm = 1\n", "hole")
    refused("[known]\nlength_mm = -4\n", "length_mm")
    with pytest.raises(InputError, match="no scale"):
        read_part(tmp_path / "some.jpg")
