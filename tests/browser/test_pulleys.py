"""Rims tapped on a photo with a finger; the truth is the geometry the picture was drawn from."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect

from beltside.media.picture_writing import jpeg_bytes
from beltside.rig.photo_front import photograph_front

from .conftest import Opens, new_job

CENTERS = np.array([[0.0, 0.0], [-80.0, 180.0], [170.0, 200.0]])
SIZES = np.array([138.0, 70.0, 55.0])
PARTS = ("crank", "idler", "alternator")


def test_tapped_rims_become_the_drive_sheet(hand: Opens, tmp_path: Path) -> None:
    front = photograph_front(CENTERS, SIZES, np.random.default_rng(3), width_px=1200, height_px=900)
    photo = tmp_path / "front.jpg"
    photo.write_bytes(jpeg_bytes(front.image))
    page = hand()
    job = new_job(page)
    page.goto(f"{job}/pulleys")
    page.get_by_label("Photo").set_input_files(photo)
    page.get_by_role("button", name="Mark the pulleys on it").click()
    page.wait_for_url(re.compile(r"photo=\w{64}"))
    suggested = page.locator(".rim-row").count()
    picture = page.locator("svg.photo")
    rng = np.random.default_rng(9)
    for number, part in enumerate(PARTS):
        page.get_by_role("button", name="Tap another rim").click()
        box = picture.bounding_box()
        assert box is not None
        for x, y in front.taps(CENTERS[number], SIZES[number], 6, 3.0, rng):
            size = box["width"] / 1200
            picture.click(position={"x": x * size, "y": y * size})
        expect(page.get_by_role("status")).to_contain_text("6 taps")
        page.get_by_role("button", name="This one is done").click()
        row = page.locator(".rim-row").nth(suggested + number)
        row.locator("select").first.select_option(part)
        if part == "crank":
            row.get_by_label("Diameter, where measured").fill("138")
    page.get_by_role("button", name="Measure them").click()
    page.get_by_role("button", name="Keep as the drive sheet").click()
    page.wait_for_url(re.compile(f"{job}/drive"))
    rows = page.locator(".pulley-row")
    expect(rows).to_have_count(3)
    found = [float(rows.nth(k).get_by_label("Diameter").input_value()) for k in range(3)]
    # Three of the photo's pixels lie under one of this screen's: taps are twice as coarse as those
    # of the room's own target of 1.5 %.
    assert found == pytest.approx(SIZES, rel=0.03)
