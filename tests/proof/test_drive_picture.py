"""The drive's picture: well-formed, to scale, the belt where the path says."""

from __future__ import annotations

import io
import math
import re
from xml.etree import ElementTree

import pytest
from PIL import Image

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.drive import drive_of_sheet
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.proof.drive_picture import drive_drawing, save_drive_picture

SHEET = DriveSheet(
    Engine(4),
    Belt(ribs=6),
    (
        Pulley("crank", 138.0, x_mm=0, y_mm=0),
        Pulley("ac-compressor", 112.0, x_mm=-195, y_mm=60),
        Pulley("tensioner", 70.0, "back", x_mm=-75, y_mm=125),
        Pulley("alternator", 55.0, x_mm=-150, y_mm=265),
        Pulley("fan", 120.0, x_mm=150, y_mm=275),
    ),
    name="Tarn <1.4> front drive",
)
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def result():
    return drive_of_sheet(SHEET)


@pytest.fixture(scope="module")
def tree(result):
    return ElementTree.fromstring(drive_drawing(result).svg())


def test_pulleys_stand_to_one_scale(result, tree):
    rims = [
        (float(c.get("cx")), float(c.get("cy")), float(c.get("r")))
        for c in tree.iter(f"{SVG}circle")
        if float(c.get("stroke-width")) == 1.5 and "fill-paper" in c.get("class")
    ]
    assert len(rims) == len(SHEET.pulleys)
    scale = rims[0][2] / (result.pulleys[0].diameter_mm / 2)
    crank = rims[0]
    for rim, pulley in zip(rims, result.pulleys, strict=True):
        assert rim[2] == pytest.approx(scale * pulley.diameter_mm / 2, abs=0.01)
        # Right stays right; up is up, though SVG's y runs down.
        assert rim[0] - crank[0] == pytest.approx(scale * pulley.x_mm, abs=0.02)
        assert crank[1] - rim[1] == pytest.approx(scale * pulley.y_mm, abs=0.02)


def test_the_belts_arcs_bend_as_the_pulleys_turn(result, tree):
    belt = max((p.get("d") for p in tree.iter(f"{SVG}path")), key=lambda data: data.count("A"))
    arcs = re.findall(r"A([\d.]+) [\d.]+ 0 ([01]) ([01])", belt)
    assert len(arcs) == len(result.pulleys)
    for (radius, large, sweep), pulley in zip(
        arcs, (*result.pulleys[1:], result.pulleys[0]), strict=True
    ):
        assert float(radius) > 0.0
        assert (large == "1") is (pulley.wrap_deg > 180.0)
        assert (sweep == "1") is (pulley.turns == "clockwise")


def test_every_pulley_is_named_and_the_words_do_not_overlap(tree):
    words = " ".join(text.text for text in tree.iter(f"{SVG}text"))
    for name in ("crank", "AC compressor", "tensioner", "alternator", "fan"):
        assert name in words
    assert "Tarn <1.4> front drive" in words
    places = [(float(t.get("x")), float(t.get("y"))) for t in tree.iter(f"{SVG}text") if t.text]
    assert all(
        math.dist(one, other) > 10.0
        for number, one in enumerate(places)
        for other in places[:number]
    )


def test_it_is_saved_as_png_and_svg(result, tmp_path):
    (picture,) = save_drive_picture(result, tmp_path / "pictures", "drive")
    assert picture.with_suffix(".svg").is_file()
    image = Image.open(io.BytesIO(picture.read_bytes()))
    assert image.width > 1000


def test_without_positions_there_is_no_picture(tmp_path):
    bare = DriveSheet(Engine(4), Belt(), (Pulley("crank", 138.0), Pulley("fan", 120.0)))
    with pytest.raises(InputError, match="can't be drawn"):
        drive_drawing(drive_of_sheet(bare))


def test_a_folder_that_cannot_be_written(result, tmp_path):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(BeltsideError, match="can't be written"):
        save_drive_picture(result, tmp_path / "file", "drive")
