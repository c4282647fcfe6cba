"""Part match: photos with found holes, marks sent as taps, caliper figures, refusals."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlparse

import cv2
import numpy as np
import pytest

from beltside.casework.settings import save_settings
from beltside.casework.shop import JobSheet, Shop
from beltside.casework.shop_bolting import PartGiven, match_on_job
from beltside.rig.photo_part import draw_part, photograph_part

from .conftest import Browser

PAGE = "/job/1/match"
# The same five holes, and one of them moved by 4 mm: by hand.
PUMP = ((0, 0), (84, 6), (96, 61), (41, 88), (-12, 52))
OTHER = (*PUMP[:4], (-12, 56))


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "loses coolant"})


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The old part, the same drilled anew, and another one, each beside a disc of 24 mm."""
    folder: Path = tmp_path_factory.mktemp("parts")
    rng = np.random.default_rng(5)
    old, other = draw_part(rng, 5), draw_part(rng, 5)
    new = replace(old, holes_mm=old.holes_mm + rng.normal(0.0, 0.1, old.holes_mm.shape))
    found = {}
    for name, plan in (("old", old), ("new", new), ("other", other)):
        picture = photograph_part(plan, rng, width_px=800, height_px=600)
        path = folder / f"{name}.jpg"
        assert cv2.imwrite(str(path), np.ascontiguousarray(picture.image[:, :, ::-1]))
        found[name] = path.read_bytes()
    return found


def sheet(shop: Shop) -> JobSheet:
    return shop.record.sheet(shop.record.job(1).id)


def looked(browser: Browser, photos: dict[str, bytes], new: str = "new") -> str:
    files = {
        f"{name}.file": (f"{name}.jpg", data, "image/jpeg")
        for name, data in (("old", photos["old"]), ("new", photos[new]))
    }
    sent = browser.send(PAGE, PAGE, {"disc_mm": "24", "do": "look"}, files=files)
    assert sent.status_code == 303, sent.text
    return str(sent.headers["location"])


def marks(address: str, page: str) -> dict[str, Any]:
    """The fields of the page as a browser would send them."""
    fields: dict[str, Any] = {
        name: values[0] for name, values in parse_qs(urlparse(address).query).items()
    }
    for name in ("old", "new"):
        fields[f"{name}.hole"] = re.findall(rf'name="{name}.hole" value="([^"]+)" checked', page)
        known = re.search(rf'name="{name}.known" value="([^"]+)" checked', page)
        fields[f"{name}.known"] = known[1] if known else ""
        fields[f"{name}.scale"] = "1"
    return fields


def caliper(name: str, holes: Any, **more: str) -> dict[str, str]:
    typed = {f"{name}.{key}": value for key, value in more.items()}
    for row, (x, y) in enumerate(holes):
        typed |= {f"{name}.{row}.x_mm": str(x), f"{name}.{row}.y_mm": str(y)}
    return typed


def test_two_photos_are_kept_looked_at_and_matched(
    browser: Browser, shop: Shop, photos: dict[str, bytes]
) -> None:
    address = looked(browser, photos)
    assert len(sheet(shop).of_kind("photo")) == 2
    page = browser.get(address.partition("#")[0])
    fields = marks(address, page)
    assert len(fields["old.hole"]) >= 5
    assert fields["old.known"]
    sent = browser.send(PAGE, PAGE, {**fields, "do": "compare"})
    assert sent.status_code == 303, sent.text
    result = browser.get(sent.headers["location"])
    kept = sheet(shop).of_kind("part-match")[0]
    assert kept.body["verdict"] in ("fits", "can't tell")
    assert kept.body["says"].split(":")[0].lower() in result.lower().replace("&#39;", "'")
    holes = kept.body["result"]["pairs"][0]["orientations"][0]["holes"]
    assert len(holes) >= 5
    # Drilled anew within 0.1 mm (one standard deviation) by the rig.
    assert all(one["off_mm"] < 1.5 for one in holes)
    assert result.count("<image ") == 2
    assert result.count('class="gap"') == 2
    assert result.count("± ") == len(holes)


def test_another_part_does_not_fit(browser: Browser, shop: Shop, photos: dict[str, bytes]) -> None:
    address = looked(browser, photos, "other")
    page = browser.get(address.partition("#")[0])
    sent = browser.send(PAGE, PAGE, {**marks(address, page), "do": "compare"})
    assert sent.status_code == 303, sent.text
    assert sheet(shop).of_kind("part-match")[0].body["verdict"] == "doesn't fit"
    assert "Doesn&#39;t fit" in browser.get(sent.headers["location"])


def test_marks_sent_by_taps_are_kept_when_something_is_wrong(
    browser: Browser, shop: Shop, photos: dict[str, bytes]
) -> None:
    address = looked(browser, photos)
    fields = marks(address, browser.get(address.partition("#")[0]))
    fields["old.hole"] = [*fields["old.hole"][:3], "123.0,45.0"]
    fields["disc_mm"] = ""
    sent = browser.send(PAGE, PAGE, {**fields, "do": "compare"})
    assert sent.status_code == 422
    assert "nothing says how large" in sent.text
    assert 'name="old.hole" value="123.0,45.0" checked' in sent.text
    for value in fields["old.hole"][:3]:
        assert f'name="old.hole" value="{value}" checked' in sent.text
    assert sent.text.count('name="old.hole"') > 4
    assert sheet(shop).of_kind("part-match") == ()


def test_a_length_between_two_taps(browser: Browser, shop: Shop, photos: dict[str, bytes]) -> None:
    address = looked(browser, photos)
    fields = marks(address, browser.get(address.partition("#")[0]))
    sent = browser.send(PAGE, PAGE, {**fields, "length_mm": "50", "do": "compare"})
    assert sent.status_code == 422
    assert "ends of the known length" in sent.text
    for name in ("old", "new"):
        fields[f"{name}.end"] = ["100,100", "300,100"]
    sent = browser.send(PAGE, PAGE, {**fields, "length_mm": "50", "do": "compare"})
    assert sent.status_code in (303, 422)
    if sent.status_code == 303:
        toml = sheet(shop).of_kind("part-match")[0].body["result"]["given"][0]["toml"]
        assert "length_mm = 50" in toml


@pytest.mark.parametrize(("new", "verdict"), [(PUMP, "fits"), (OTHER, "doesn't fit")])
def test_caliper_figures_settle_it(browser: Browser, shop: Shop, new: Any, verdict: str) -> None:
    sent = browser.send(
        PAGE, PAGE, {**caliper("old", PUMP), **caliper("new", new), "do": "compare"}
    )
    assert sent.status_code == 303, sent.text
    assert sheet(shop).of_kind("part-match")[0].body["verdict"] == verdict
    page = browser.get(sent.headers["location"])
    assert "by caliper" in page
    assert page.count('class="hole-mark') == 10


def test_heights_count_too(browser: Browser, shop: Shop) -> None:
    typed = {
        **caliper("old", PUMP, hub_offset_mm="62,4"),
        **caliper("new", PUMP, hub_offset_mm="64"),
    }
    sent = browser.send(PAGE, PAGE, {**typed, "do": "compare"})
    assert sent.status_code == 303, sent.text
    # 1.6 mm apart by hand.
    assert "hub offset differs by 1.6 mm" in browser.get(sent.headers["location"])


def test_a_gasket_as_the_third(browser: Browser, shop: Shop) -> None:
    mirrored = tuple((-x, y) for x, y in PUMP)
    typed = {**caliper("old", PUMP), **caliper("new", PUMP), **caliper("gasket", mirrored)}
    sent = browser.send(PAGE, PAGE, {**typed, "do": "compare"})
    assert sent.status_code == 303, sent.text
    assert sheet(shop).of_kind("part-match")[0].body["verdict"] == "fits"
    assert browser.get(sent.headers["location"]).count("<section") == 3


@pytest.mark.parametrize(
    "typed",
    [
        {},
        caliper("old", PUMP),
        {**caliper("old", PUMP), **caliper("new", PUMP[:2])},
        {**caliper("old", PUMP), **caliper("new", (*PUMP[:3], ("much", "1")))},
        {**caliper("old", PUMP), **caliper("new", (*PUMP[:3], ("1e99", "1")))},
        {**caliper("old", PUMP), **caliper("new", PUMP, height_mm="tall")},
    ],
)
def test_what_says_too_little_is_refused_with_all_of_it(
    browser: Browser, shop: Shop, typed: dict[str, str]
) -> None:
    sent = browser.send(PAGE, PAGE, {**typed, "do": "compare"})
    assert sent.status_code == 422
    assert 'class="problem"' in sent.text
    for name, value in typed.items():
        assert f'name="{name}" type="text" value="{value}"' in sent.text
    assert sheet(shop).of_kind("part-match") == ()


def test_what_is_no_picture_is_refused_beside_it(browser: Browser, shop: Shop) -> None:
    sent = browser.send(
        PAGE,
        PAGE,
        {"disc_mm": "24", "do": "look"},
        files={"old.file": ("old.jpg", b"no picture at all", "image/jpeg")},
    )
    assert sent.status_code == 422
    assert 'class="problem"' in sent.text.split('id="f-old.file"')[1].split("</div>")[0]
    assert 'value="24"' in sent.text
    assert sheet(shop).of_kind("photo") == ()


@pytest.mark.parametrize("photo", ["0" * 64, "../../etc/passwd", "x"])
def test_a_photo_that_is_not_there(browser: Browser, photo: str) -> None:
    assert browser.client.get(f"{PAGE}?old.photo={photo}").status_code == 200


def test_a_match_of_the_command_is_shown_and_its_holes_go_to_bolting(
    browser: Browser, shop: Shop, photos: dict[str, bytes]
) -> None:
    address = looked(browser, photos)
    names = parse_qs(urlparse(address).query)
    given = [PartGiven(name, names[f"{name}.photo"][0]) for name in ("old", "new")]
    kept = match_on_job(
        shop, sheet(shop).job.id, given[0], given[1], part="coolant-pump", disc_mm=24.0
    )
    page = browser.get(f"{PAGE}/{kept.entry.id}")
    assert "disc_mm=24" in page
    assert kept.entry.id in browser.get(PAGE)
    sent = browser.send("/job/1/bolts", "/job/1/bolts", {"fastener": "pump", "do": "part"})
    assert sent.status_code == 200
    found = re.findall(r'name="\d+\.x_mm" type="text" value="(-?[\d.]+)"', sent.text)
    assert len(found) == len(kept.result.pairs[0].second.holes.places_mm)


def test_no_such_match(browser: Browser) -> None:
    assert browser.client.get(f"{PAGE}/nothing").status_code == 422


def test_in_german(browser: Browser, shop: Shop) -> None:
    save_settings(shop, {"language": "de"})
    sent = browser.send(
        PAGE, PAGE, {**caliper("old", PUMP), **caliper("new", PUMP), "do": "compare"}
    )
    assert "<b>Passt</b>" in browser.get(sent.headers["location"])
