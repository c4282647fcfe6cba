"""Pictures of coolant answers: they are SVG, hold their words, and nothing leaves the page."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from beltside.base.errors import BeltsideError
from beltside.base.provenance import Provenance
from beltside.casework.coolant_answer import (
    CoolantAnswer,
    CoursePicture,
    Curve,
    Picture,
    ScalePicture,
    StackPicture,
)
from beltside.proof.coolant_pictures import coolant_svg, round_ticks, save_coolant_picture
from beltside.proof.look import text_width_px

COURSE = CoursePicture(
    "Hold test: leaking",
    "99 % that it leaks",
    "minutes",
    "kPa",
    (Curve("as read", ((0.0, 107.0), (5.0, 98.0)), "accent"),),
    read=((0.0, 107.0), (5.0, 98.0)),
    levels=((108.0, "cap 108 kPa"), (107.5, "another")),
    moments=((4.0, "stop by 4 min"),),
)
SCALE = ScalePicture(
    "Between ice and steam",
    "50 % <ethylene> glycol",
    "°C",
    -50.0,
    140.0,
    ((-34.0, "first ice"), (88.0, "thermostat"), (89.0, "close by")),
    ((-34.0, 129.0, "liquid"),),
)
STACK = StackPicture(
    "What to pour",
    "before mixing",
    "L",
    (("drain least", (("stays in", 6.2, "soft"), ("concentrate", 1.87, "accent"))),),
)


@pytest.mark.parametrize("picture", [COURSE, SCALE, STACK])
def test_words_stay_on_the_paper(picture: Picture) -> None:
    svg = coolant_svg(picture)
    root = ElementTree.fromstring(svg)
    width, height = float(root.get("width", 0)), float(root.get("height", 0))
    texts = [one for one in root.iter() if one.tag.endswith("}text")]
    assert texts
    for one in texts:
        x, y, size = (float(one.get(name, 0)) for name in ("x", "y", "font-size"))
        wide = text_width_px(one.text or "", size, bold=one.get("font-weight") == "bold")
        left = {"start": x, "end": x - wide, "middle": x - wide / 2}[one.get("text-anchor", "")]
        assert left >= 0.0
        assert left + wide <= width
        assert size <= y <= height


@pytest.mark.parametrize("picture", [COURSE, SCALE, STACK])
def test_all_that_is_told_is_there(picture: Picture) -> None:
    svg = coolant_svg(picture)
    assert picture.title in svg
    assert "prefers-color-scheme:dark" in svg
    assert "nan" not in svg


def test_words_of_marks_close_together_stand_apart() -> None:
    root = ElementTree.fromstring(coolant_svg(SCALE))
    places = {one.text: float(one.get("y", 0)) for one in root.iter() if one.tag.endswith("}text")}
    assert abs(places["thermostat"] - places["close by"]) >= 20.0


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (-51.0, 140.0), (97.3, 108.6), (0.0, 0.02)])
def test_ticks_are_round_few_and_inside(low: float, high: float) -> None:
    ticks = round_ticks(low, high)
    assert 2 <= len(ticks) <= 7
    assert all(low - 1e-9 <= tick <= high + 1e-9 for tick in ticks)
    assert all(re.fullmatch(r"-?\d+(\.\d{1,4})?", f"{tick:.10g}") for tick in ticks)


def test_saved_as_png_and_svg(tmp_path: Path) -> None:
    answer = CoolantAnswer("hold", "So.", (), {}, Provenance("m", 1), picture=COURSE)
    (path,) = save_coolant_picture(answer, tmp_path / "new")
    assert path.read_bytes().startswith(b"\x89PNG")
    assert path.with_suffix(".svg").read_text(encoding="utf-8").startswith("<svg")
    file = tmp_path / "file"
    file.write_text("x")
    with pytest.raises(BeltsideError, match="another folder"):
        save_coolant_picture(answer, file)
    bare = CoolantAnswer("reuse", "So.", (), {}, Provenance("m", 1))
    assert save_coolant_picture(bare, tmp_path) == []
