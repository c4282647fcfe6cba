"""The page of a take, before, while and after it is listened to; and comparing two."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from beltside.casework.shop import Shop
from beltside.casework.shop_listen import take_heard
from beltside.casework.shop_takes import add_take
from beltside.media import write_recording
from beltside.web.routes.compare import heard_best_hz

from .conftest import Browser


def hum(path: Path, seconds: float = 4.0, seed: int = 3) -> bytes:
    """Noise with a tone in it: something to listen to, and no engine."""
    rng = np.random.default_rng(seed)
    at_s = np.arange(int(seconds * 16_000)) / 16_000
    sound = 0.05 * rng.standard_normal(at_s.size) + 0.1 * np.sin(2 * np.pi * 440.0 * at_s)
    write_recording(path, sound.astype(np.float32), 16_000)
    return path.read_bytes()


@pytest.fixture
def take(browser: Browser, shop: Shop, tmp_path: Path) -> str:
    browser.send("/", "/jobs", {"words": "howls"})
    job = shop.record.job(1).id
    return add_take(shop, job, [hum(tmp_path / "hum.wav")], {"belt": "on"}).entry.id


def test_a_take_waits_then_tells_what_was_heard(browser: Browser, shop: Shop, take: str) -> None:
    page = f"/job/1/take/{take}"
    assert f'data-progress="{page}/progress"' in browser.get(page)
    assert browser.client.get(f"{page}/progress").json()["done"] is False
    take_heard(shop, shop.record.job(1).id, take, wait=True)
    assert browser.client.get(f"{page}/progress").json()["done"] is True
    assert "The crank speed can&#39;t be told." in browser.get(page)
    picture = browser.client.get(f"{page}/spectrogram.svg")
    assert picture.headers["content-type"].startswith("image/svg+xml")
    assert picture.text.startswith("<svg")


def test_conditions_are_changed_and_wrong_ones_told(
    browser: Browser, shop: Shop, take: str
) -> None:
    page = f"/job/1/take/{take}"
    typed = {"belt": "off", "place": "idler", "stage": "after", "load": "lights"}
    assert browser.send(page, page, typed).status_code == 303
    body = shop.record.entry(take).body
    assert (body["belt"], body["place"], body["stage"]) == ("off", "idler", "after")
    wrong = browser.send(page, page, {**typed, "crank_rpm": "9"})
    assert wrong.status_code == 422
    assert 'value="9"' in wrong.text
    assert shop.record.entry(take).body["crank_rpm"] is None


def test_two_tabs_on_one_take_lose_neither(browser: Browser, shop: Shop, take: str) -> None:
    """Both were opened at version 1; the first says the belt was off, the second the load."""
    page = f"/job/1/take/{take}"
    fields = {"belt": "on", "place": "front of engine", "stage": "before", "version": "1"}
    browser.send(page, page, {**fields, "belt": "off"})
    browser.send(page, page, {**fields, "load": "lights"})
    body = shop.record.entry(take).body
    assert (body["belt"], body["load"]) == ("off", ["lights"])
    browser.send(page, page, {**fields, "place": "idler"})
    browser.send(page, page, {**fields, "place": "alternator"})
    assert "at the same time: idler" in browser.get(page)
    assert shop.record.entry(take).body["place"] == "alternator"


def test_a_picture_of_no_kind_is_refused(browser: Browser, take: str) -> None:
    assert browser.client.get(f"/job/1/take/{take}/photo.svg").status_code == 422
    assert browser.client.get("/job/1/take/nothing").status_code == 422


def test_comparing_needs_a_drive_sheet(browser: Browser, shop: Shop, take: str) -> None:
    first = browser.get("/job/1/compare")
    assert "Two takes are needed" in first
    add_take(shop, shop.record.job(1).id, [b"RIFF" + bytes(3000)], {"stage": "after"})
    answer = browser.send("/job/1/compare", "/job/1/compare", {"before": take, "after": ""})
    assert answer.status_code == 422
    assert "drive sheet" in answer.text


def test_the_band_to_listen_in_is_where_the_change_is() -> None:
    """By hand: a rhythm says its own band; else the third of an octave that changed most, here
    1 kHz with its exact edges of IEC 61260-1, and one third more on either side."""
    bands = [
        {"low_hz": 111.4, "high_hz": 140.3, "quieter_db": {"value": 0.4}},
        {"low_hz": 891.3, "high_hz": 1122.0, "quieter_db": {"value": 9.0}},
        {"low_hz": 2239.0, "high_hz": 2818.0, "quieter_db": {"value": None}},
    ]
    low, high = heard_best_hz({"bands": bands, "orders": []}) or (0.0, 0.0)
    assert (low, high) == (pytest.approx(707.9, rel=0.002), pytest.approx(1413.0, rel=0.002))
    rhythm = [
        {"band_hz": None, "significance": 9.0},
        {"band_hz": [3000.0, 5000.0], "significance": 4.0},
        {"band_hz": [1500.0, 2500.0], "significance": 7.0},
    ]
    assert heard_best_hz({"bands": bands, "orders": rhythm}) == (1500.0, 2500.0)
    assert heard_best_hz({"bands": [], "orders": []}) is None


def test_a_take_is_offered_beside_another_and_not_beside_itself(
    browser: Browser, shop: Shop, take: str, tmp_path: Path
) -> None:
    def chosen() -> list[str]:
        page = browser.get("/job/1/compare")
        return [line.split('"')[1] for line in page.split("<option ") if " selected" in line[:120]]

    job = shop.record.job(1).id
    raised = add_take(shop, job, [hum(tmp_path / "2.wav", seed=4)], {"belt": "on"}).entry.id
    assert chosen() == [take, raised]
    off = add_take(shop, job, [hum(tmp_path / "3.wav", seed=5)], {"belt": "off"}).entry.id
    assert chosen() == [take, off]
    wanted = {"belt": "on", "stage": "after"}
    cured = add_take(shop, job, [hum(tmp_path / "4.wav", seed=6)], wanted).entry.id
    assert chosen() == [take, cured]
