"""The front of the engine with its readings: drawn to scale, with a word for every state."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from beltside.base.errors import BeltsideError
from beltside.casework.where_results import (
    DirectionResult,
    DirectionTake,
    DrawnPulley,
    Outline,
    PathPoint,
    PlaceReading,
    PointedPulley,
    SimilarResult,
    SimilarTake,
    WhereResult,
)
from beltside.proof.housing_picture import direction_drawing, housing_drawing, save_drawing
from beltside.proof.where_wording import direction_answer, similar_answer, where_answer

OUTLINE = Outline(
    (
        DrawnPulley("crank", 0.0, 0.0, 138.0),
        DrawnPulley("coolant-pump", -143.0, 181.0, 112.0),
        DrawnPulley("idler", 30.0, 190.0, 70.0),
        DrawnPulley("alternator", 175.0, 205.0, 55.0),
        DrawnPulley("tensioner", 95.0, 95.0, 65.0),
    ),
    (((0.0, -69.0), (95.0, 62.5)), ((95.0, 127.5), (175.0, 177.5))),
    measured=True,
)
PLACES = (
    PlaceReading("coolant-pump", 7.0, 2.0, 12.0, True, 0.93, ("p.m4a",)),
    PlaceReading("idler", -1.0, -6.0, 4.0, True, 0.05, ("i.m4a",)),
    PlaceReading("timing-chain", -6.0, -11.0, -1.0, False, 0.02, ("t.m4a",)),
)
RESULT = WhereResult(
    part="coolant-pump",
    source="outer race",
    by="rhythm",
    orders=(4.3, 8.6),
    band_hz=(1200.0, 5000.0),
    places=PLACES,
    gains=(),
    outline=OUTLINE,
)
POINTS = DirectionResult(
    can_tell=True,
    why_not=(),
    band_hz=(1000.0, 8000.0),
    held="across",
    takes=(DirectionTake("a.wav", "apart", (PathPoint(0.3, -1e-4, 14.0, 0.6),), 2.0),),
    along_mm=(160.0, 80.0, 240.0),
    pulleys=(
        PointedPulley("alternator", 175.0, 0.78),
        PointedPulley("tensioner", 95.0, 0.22),
    ),
)


def nodes(svg: str, kind: str) -> list[ElementTree.Element]:
    return [node for node in ElementTree.fromstring(svg).iter() if node.tag.endswith(kind)]


def words(svg: str) -> list[str]:
    return [node.text or "" for node in nodes(svg, "text")]


def circles(svg: str) -> list[dict[str, str]]:
    return [node.attrib for node in nodes(svg, "circle")]


def test_every_pulley_has_its_state_in_words() -> None:
    said = words(housing_drawing(RESULT).svg())
    assert sum(text == "not probed" for text in said) == 3
    assert "+7 dB (+2 to +12)" in said
    assert any("chance 93 %" in text for text in said)
    assert any("timing chain" in text for text in said)
    assert any("clear, 93 %" in text for text in said)


def test_a_take_whose_lines_can_not_be_read_keeps_its_chance() -> None:
    said = words(housing_drawing(replace(RESULT, unread={"tensioner": 0.12})).svg())
    assert "lines can't be read" in said
    assert "chance 12 %" in said
    beside = words(housing_drawing(replace(RESULT, unread={"valve-train": 0.12})).svg())
    assert any("valve train, lines can't be read; chance 12 %" in text for text in beside)


def test_pulleys_are_drawn_to_one_scale_and_upright() -> None:
    outer = [one for one in circles(housing_drawing(RESULT).svg()) if one["stroke"] != "none"]
    assert len(outer) == 5
    scale = [
        float(one["r"]) / (p.diameter_mm / 2) for one, p in zip(outer, OUTLINE.pulleys, strict=True)
    ]
    assert scale == pytest.approx([scale[0]] * 5, rel=0.02)
    crank, pump = outer[0], outer[1]
    assert float(pump["cy"]) < float(crank["cy"])
    assert float(pump["cx"]) < float(crank["cx"])
    assert float(crank["cy"]) - float(pump["cy"]) == pytest.approx(181.0 * scale[0], rel=0.02)


def test_the_louder_the_larger_the_disc() -> None:
    discs = [one for one in circles(housing_drawing(RESULT).svg()) if one["stroke"] == "none"]
    assert len(discs) == 2
    assert float(discs[0]["r"]) > float(discs[1]["r"])


def test_no_words_overlap_or_leave_the_picture() -> None:
    drawing = housing_drawing(RESULT)
    texts = nodes(drawing.svg(), "text")
    for left in (True, False):
        rows = sorted(
            float(node.attrib["y"])
            for node in texts
            if (float(node.attrib["x"]) < 200.0) == left and float(node.attrib["font-size"]) < 15
        )
        assert all(after - before > 12.0 for before, after in itertools.pairwise(rows))
        assert all(0.0 < row < drawing.height_px for row in rows)


def test_without_positions_the_row_is_said() -> None:
    row = replace(RESULT, outline=replace(OUTLINE, measured=False, spans=()))
    assert any("drawn in a row" in text for text in words(housing_drawing(row).svg()))


def test_the_direction_lies_over_the_front() -> None:
    svg = direction_drawing(POINTS, OUTLINE).svg()
    said = words(svg)
    assert any("likely points at the alternator" in text for text in said)
    assert "chance 78 %" in said
    assert re.search("stroke-dasharray", svg)


def test_pictures_are_written_as_png_and_svg(tmp_path: Path) -> None:
    picture = save_drawing(housing_drawing(RESULT), tmp_path / "new", "housing-map")
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "new" / "housing-map.svg").read_text(encoding="utf-8").startswith("<svg")
    (tmp_path / "file").write_text("x")
    with pytest.raises(BeltsideError, match="another folder"):
        save_drawing(housing_drawing(RESULT), tmp_path / "file", "housing-map")


def test_answers_say_how_sure_they_are() -> None:
    assert where_answer(RESULT).startswith("The coolant pump's sound sits at the coolant pump")
    unsure = replace(
        RESULT, places=tuple(replace(place, loudest=1 / 3) for place in PLACES), part=""
    )
    assert where_answer(unsure).startswith("Not told apart: coolant pump (33 %) and idler")
    deaf = replace(POINTS, can_tell=False, why_not=("a.wav has one channel",), pulleys=())
    assert direction_answer(deaf) == "Direction: can't tell. a.wav has one channel."
    still = replace(POINTS, pulleys=(), along_mm=None)
    assert direction_answer(still) == "Direction: a.wav hears it 14 degrees to the right."
    near = SimilarResult("x.m4a", (SimilarTake("k.m4a", "none", 0.4),), "near", 12)
    assert similar_answer(near) == "Nearest of 12 takes: nothing wrong, distance 0.40: near."
