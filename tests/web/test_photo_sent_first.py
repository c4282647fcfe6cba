"""Photos that go to the server before their form: kept once, named by it, lost by no error."""

from __future__ import annotations

import re

import numpy as np
import pytest

from beltside.casework.shop import JobSheet, Shop
from beltside.media.picture_writing import jpeg_bytes

from .conftest import Browser

JPEG = jpeg_bytes(np.full((240, 320, 3), 127, np.uint8))
PAGES = ("/job/1/match", "/job/1/pulleys", "/job/1/complaint")


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "loses coolant"})


def sheet(shop: Shop) -> JobSheet:
    return shop.record.sheet(shop.record.job(1).id)


def sent(browser: Browser, data: bytes = JPEG, **fields: str) -> tuple[int, dict[str, str]]:
    files = {"file": ("weep hole.jpg", data, "image/jpeg")}
    answer = browser.send(PAGES[0], "/job/1/photo", fields, files=files)
    return answer.status_code, answer.json()


def test_sent_twice_it_is_kept_once(browser: Browser, shop: Shop) -> None:
    fields = {"for": "old.photo", "caption": "old part", "entry_id": "0192aabbccddeeff0011aabb"}
    first, second = sent(browser, **fields), sent(browser, **fields)
    (photo,) = sheet(shop).of_kind("photo")
    assert first == second == (200, {"file": photo.body["file"], "for": "old.photo"})
    assert (photo.body["caption"], photo.body["name"]) == ("old part", "weep hole.jpg")


def test_what_is_no_picture_is_refused_in_words(browser: Browser, shop: Shop) -> None:
    status, answer = sent(browser, b"not a picture")
    assert status == 422
    assert "weep hole.jpg" in answer["problem"]
    assert sheet(shop).of_kind("photo") == ()


@pytest.mark.parametrize("page", PAGES)
def test_the_page_says_where_its_photos_go(browser: Browser, page: str) -> None:
    html = browser.get(page)
    assert 'data-photos="/job/1/photo"' in html
    assert "data-photo=" in html
    assert 'id="photo-words"' in html


def test_a_match_of_photos_sent_first_is_marked_next(browser: Browser) -> None:
    _, answer = sent(browser)
    fields = {"disc_mm": "24", "old.photo": answer["file"], "do": "compare"}
    marked = browser.send(PAGES[0], PAGES[0], fields)
    assert marked.status_code == 303
    assert f"old.photo={answer['file']}" in marked.headers["location"]
    assert "disc_mm=24" in marked.headers["location"]


def test_marks_of_one_photo_outlive_the_choice_of_the_other(browser: Browser) -> None:
    _, old = sent(browser)
    fields = {
        "disc_mm": "24",
        "old.photo": old["file"],
        "old.scale": "1",
        "old.hole": ["10,12", "30,40", "50,20"],
        "do": "look",
    }
    files = {"new.file": ("new.jpg", JPEG, "image/jpeg")}
    marked = browser.send(PAGES[0], PAGES[0], fields, files=files)
    assert marked.status_code == 303
    page = browser.get(marked.headers["location"].partition("#")[0])
    ticked = re.findall(r'name="old.hole" value="([^"]+)" checked', page)
    assert ticked == ["10,12", "30,40", "50,20"]


def test_pulleys_are_marked_on_a_photo_sent_first(browser: Browser) -> None:
    _, answer = sent(browser)
    chosen = browser.send(PAGES[1], "/job/1/pulleys/photo", {"photo": answer["file"]})
    assert chosen.headers["location"] == f"/job/1/pulleys?photo={answer['file']}"
    # A file of elsewhere is no photo of this job.
    other = browser.send(PAGES[1], "/job/1/pulleys/photo", {"photo": "0" * 64})
    assert other.status_code == 422


def test_what_was_seen_is_not_lost_by_a_wrong_file(browser: Browser, shop: Shop) -> None:
    files = {"photo": ("notes.txt", b"not a picture", "text/plain")}
    page = "/job/1/complaint"
    answer = browser.send(page, f"{page}/observation", {"words": "wet weep hole"}, files=files)
    assert answer.status_code == 422
    assert ">wet weep hole</textarea>" in answer.text
    assert "notes.txt" in answer.text
    assert sheet(shop).of_kind("observation") == ()


def test_a_photo_is_not_lost_by_words_that_are_too_many(browser: Browser, shop: Shop) -> None:
    files = {"photo": ("weep.jpg", JPEG, "image/jpeg")}
    page = "/job/1/complaint"
    answer = browser.send(page, f"{page}/observation", {"words": "wet " * 20_000}, files=files)
    assert answer.status_code == 422
    (kept,) = re.findall(r'name="photo_kept" value="(\w{64})"', answer.text)
    fields = {"words": "wet weep hole", "photo_kept": kept}
    assert browser.send(page, f"{page}/observation", fields).status_code == 303
    (seen,) = sheet(shop).of_kind("observation")
    assert seen.body["files"] == [kept]
