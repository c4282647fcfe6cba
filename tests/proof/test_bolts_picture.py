"""Drawings of bolting: well-formed, everything inside the sheet, the numbers of the order."""

from __future__ import annotations

import itertools
import re
from xml.etree import ElementTree

import pytest

from beltside.bolting.counter_hold import counter_hold
from beltside.bolting.flange import Flange, Hole
from beltside.casework.bolts_answer import HoldPicture, OrderPicture
from beltside.proof.bolts_picture import hold_svg, order_svg

SVG = "{http://www.w3.org/2000/svg}"


def _inside(svg: str) -> ElementTree.Element:
    root = ElementTree.fromstring(svg)
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for circle in root.iter(f"{SVG}circle"):
        x, y, r = (float(circle.attrib[key]) for key in ("cx", "cy", "r"))
        assert r <= x <= width - r
        assert r <= y <= height - r
    for path in root.iter(f"{SVG}path"):
        numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", path.attrib["d"])]
        assert all(0.0 <= x <= width for x in numbers[::2])
        assert all(0.0 <= y <= height for y in numbers[1::2])
    for text in root.iter(f"{SVG}text"):
        assert 0.0 <= float(text.attrib["x"]) <= width
        assert 0.0 <= float(text.attrib["y"]) <= height
    return root


@pytest.mark.parametrize("bolts", [2, 5, 17])
def test_the_order_is_drawn_in_numbers(bolts: int) -> None:
    holes = tuple(
        Hole(40.0 * (k % 5), 30.0 * (k // 5) + k, f"hole <{k}>", "stud" if k == 1 else "bolt")
        for k in range(bolts)
    )
    line = tuple((hole.x_mm, hole.y_mm) for hole in holes)
    flange = Flange((*holes, Hole(-10.0, -10.0, "P", "dowel")))
    order = tuple(reversed(range(bolts)))
    root = _inside(
        order_svg(OrderPicture("A & B", flange, line, order, ("stage 1: 30 %", "stage 2: 100 %")))
    )
    texts = [text.text or "" for text in root.iter(f"{SVG}text")]
    assert [text for text in texts if text.isdigit()] == [str(k + 1) for k in range(bolts)]
    assert sum("stage" in text for text in texts) == 2
    # A box to tick for every bolt in every stage, beside the boxes behind names.
    ticks = [box for box in root.iter(f"{SVG}rect") if box.attrib.get("rx") == "3"]
    assert len(ticks) == 2 * bolts


@pytest.mark.parametrize(
    ("task", "hand", "facing", "bolts"),
    list(
        itertools.product(
            ("loosen", "tighten"), ("right", "left"), ("you", "away"), (3, 4, 5, 6, 8)
        )
    ),
)
def test_the_bar_stays_on_the_sheet(task: str, hand: str, facing: str, bolts: int) -> None:
    hold = counter_hold(task, hand, facing, bolts)
    root = _inside(hold_svg(HoldPicture("title", hold)))
    said = root.find(f"{SVG}desc")
    assert said is not None
    assert hold.wrench_turns in (said.text or "")
