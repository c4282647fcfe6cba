"""Pulleys marked on a photo: shapes accepted, taps, one known size; truth is the rig's geometry."""

from __future__ import annotations

import re

import numpy as np
import pytest

from beltside.casework.shop import Shop
from beltside.media.picture_writing import jpeg_bytes
from beltside.rig.photo_front import FrontPicture, photograph_front

from .conftest import Browser

PAGE = "/job/1/pulleys"
CENTERS = np.array([[0.0, 0.0], [-80.0, 180.0], [170.0, 200.0], [150.0, 60.0]])
SIZES = np.array([138.0, 70.0, 55.0, 110.0])
PARTS = ("crank", "idler", "alternator", "coolant-pump")
"""Clockwise from the crank, as the belt meets them."""


@pytest.fixture(scope="module")
def front() -> FrontPicture:
    return photograph_front(CENTERS, SIZES, np.random.default_rng(3), width_px=1600, height_px=1200)


@pytest.fixture
def marking(browser: Browser, front: FrontPicture) -> str:
    """The page to mark the photo on."""
    browser.send("/", "/jobs", {"words": "howls"})
    data = jpeg_bytes(front.image)
    sent = browser.send(PAGE, f"{PAGE}/photo", {}, files={"file": ("a.jpg", data, "image/jpeg")})
    assert sent.status_code == 303
    return str(sent.headers["location"])


def taps(front: FrontPicture) -> dict[str, str]:
    """Six taps on each rim, 3 px off, in an order that is not the belt's."""
    rng = np.random.default_rng(9)
    fields = {}
    for row, k in enumerate((2, 0, 3, 1)):
        points = front.taps(CENTERS[k], SIZES[k], 6, 3.0, rng)
        fields |= {
            f"{row}.part": PARTS[k],
            f"{row}.face": "ribbed",
            f"{row}.shape": "",
            f"{row}.taps": " ".join(f"{x:.1f},{y:.1f}" for x, y in points),
            f"{row}.diameter_mm": "138,0" if k == 0 else "",
        }
    return fields


def test_taps_become_a_drive_sheet(
    browser: Browser, shop: Shop, front: FrontPicture, marking: str
) -> None:
    photo = marking.partition("photo=")[2]
    sent = browser.send(marking, PAGE, {"photo": photo, "cylinders": "4", **taps(front)})
    assert sent.status_code == 200
    toml = sent.text.split('name="toml" value="')[1].split('"')[0]
    toml = toml.replace("&#34;", '"').replace("&lt;", "<")
    assert re.findall(r'part = "([a-z-]+)"', toml) == list(PARTS)
    found = [float(one) for one in re.findall(r"diameter_mm = ([\d.]+)", toml)]
    assert found == pytest.approx(SIZES, rel=0.015)
    kept = browser.send(marking, f"{PAGE}/keep", {"toml": toml, "photo": photo, "version": "0"})
    assert kept.headers["location"].startswith("/job/1/drive")
    sheet = shop.record.sheet(shop.record.job(1).id).newest("drive-sheet")
    assert sheet is not None
    assert (sheet.body["toml"], sheet.body["picture"]) == (toml, photo)


def test_suggested_shapes_are_named_without_a_tap(
    browser: Browser, front: FrontPicture, marking: str
) -> None:
    page = browser.get(marking)
    shapes = re.findall(r'name="(\d+)\.shape" value="([^"]+)"', page)
    fields = {"photo": marking.partition("photo=")[2], "cylinders": "4"}
    seen = front.shot.seen_of(CENTERS)
    for row, shape in shapes:
        x, y = (float(one) for one in shape.split(",")[:2])
        away = np.hypot(*(seen - (x, y)).T)
        near = int(np.argmin(away))
        part = PARTS[near] if away[near] < 6.0 else ""
        fields |= {f"{row}.part": part, f"{row}.shape": shape, f"{row}.taps": ""}
        fields |= {f"{row}.face": "ribbed", f"{row}.diameter_mm": "138" if part == "crank" else ""}
    sent = browser.send(marking, PAGE, fields)
    assert sent.status_code == 200, sent.text
    assert "Keep as the drive sheet" in sent.text


def test_too_little_is_told_and_the_marks_stay(
    browser: Browser, shop: Shop, front: FrontPicture, marking: str
) -> None:
    photo = marking.partition("photo=")[2]
    marks = taps(front)
    marks["1.taps"] = "10,10 20,20"
    sent = browser.send(marking, PAGE, {"photo": photo, **marks})
    assert sent.status_code == 422
    assert "2 taps on the crank" in sent.text
    assert 'value="10,10 20,20"' in sent.text
    assert marks["0.taps"] in sent.text
    none = browser.send(marking, PAGE, {"photo": photo, **taps(front), "1.part": ""})
    assert "the crank pulley is not marked" in none.text
    unknown = browser.send(marking, PAGE, {"photo": photo, **taps(front), "1.diameter_mm": ""})
    assert "known size" in unknown.text
    assert "Keep as the drive sheet" not in unknown.text
    assert shop.record.sheet(shop.record.job(1).id).newest("drive-sheet") is None


def test_what_is_no_photo_is_told(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "howls"})
    sent = browser.send(PAGE, f"{PAGE}/photo", {}, files={"file": ("a.jpg", b"dear", "image/jpeg")})
    assert sent.status_code == 422
    assert "a.jpg is no picture" in sent.text
    assert browser.client.get(f"{PAGE}?photo={'0' * 64}").status_code == 422
