"""German fields show a decimal comma, and what they show is read back as the same number."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from beltside.casework.settings import save_settings
from beltside.casework.shop import Shop

from .conftest import Browser
from .test_take_pages import wav

DRIVE = "/job/1/drive"
BEND = "/job/1/plan/bend"


@pytest.fixture(autouse=True)
def german(browser: Browser, shop: Shop) -> None:
    browser.send("/", "/jobs", {"words": "howls"})
    save_settings(shop, {"language": "de"})


def filled(page: str, action: str) -> dict[str, list[str]]:
    """A form's fields with the values a browser would send."""
    form = page.split(f'action="{action}"')[1].split("</form>")[0]
    fields: dict[str, list[str]] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        given = {name: html.unescape(value) for name, value in re.findall(r'(\S+?)="([^"]*)"', tag)}
        if given.get("type") in ("radio", "checkbox") and " checked" not in tag:
            continue
        fields.setdefault(given["name"], []).append(given.get("value", "on"))
    for name, inside in re.findall(r'<select[^>]*name="([^"]+)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', inside)
        fields.setdefault(name, []).append(html.unescape(chosen[1]) if chosen else "")
    for name, inside in re.findall(
        r'<textarea[^>]*name="([^"]+)"[^>]*>\n?(.*?)</textarea>', form, re.S
    ):
        fields.setdefault(name, []).append(html.unescape(inside))
    return fields


def newest(shop: Shop, kind: str) -> Any:
    entry = shop.record.sheet(shop.record.job(1).id).newest(kind)
    assert entry is not None
    return entry.body


def test_a_drive_sheet(browser: Browser, shop: Shop) -> None:
    rows = {"0.part": "crank", "0.diameter_mm": "138,25", "0.face": "ribbed"}
    rows |= {"1.part": "alternator", "1.diameter_mm": "55.5", "1.face": "ribbed"}
    typed = {"cylinders": "4", "strokes": "4", "ribs": "6", **rows, "do": "keep"}
    assert browser.send(DRIVE, DRIVE, typed).status_code == 303
    kept = newest(shop, "drive-sheet")["toml"]
    assert "diameter_mm = 138.25" in kept
    assert "diameter_mm = 55.5" in kept
    shown = filled(browser.get(DRIVE), DRIVE)
    assert (shown["0.diameter_mm"], shown["1.diameter_mm"]) == (["138,25"], ["55,5"])
    assert browser.send(DRIVE, DRIVE, {**shown, "do": "keep"}).status_code == 303
    assert newest(shop, "drive-sheet")["toml"] == kept


def test_a_bent_plan(browser: Browser, shop: Shop) -> None:
    browser.send("/job/1/plan?choose=true", "/job/1/plan", {"template": "coolant-pump"})
    shown = filled(browser.get(BEND), BEND)
    times = [value for name, all_of in shown.items() if name.endswith(".off") for value in all_of]
    assert any("," in one for one in times)
    assert not any("." in one for one in times)
    at = next(name for name, all_of in shown.items() if all_of[:1] == ["0,5"])
    changed = {**shown, at: ["0,5", "1,5", "2.5"], "do": "keep"}
    assert browser.send(BEND, BEND, changed).status_code == 303
    again = filled(browser.get(BEND), BEND)
    # The plan it was bent from and its version are the new ones.
    now = {name: again[name] for name in ("base", "version")}
    assert again == {**shown, at: ["0,5", "1,5", "2,5"], **now}


def test_the_speed_of_a_take(browser: Browser, shop: Shop) -> None:
    files = {"file": ("take.wav", wav(), "audio/wav")}
    typed = {"belt": "on", "crank_rpm": "760,5"}
    assert browser.send("/job/1/take", "/job/1/take", typed, files=files).status_code == 303
    assert newest(shop, "take")["crank_rpm"] == 760.5
    (take,) = shop.record.sheet(shop.record.job(1).id).of_kind("take")
    page = f"/job/1/take/{take.id}"
    shown = filled(browser.get(page), page)
    assert shown["crank_rpm"] == ["760,5"]
    assert browser.send(page, page, {**shown, "crank_rpm": "812,5"}).status_code == 303
    assert newest(shop, "take")["crank_rpm"] == 812.5


def test_a_comma_that_may_stand_for_thousands_is_asked_about(browser: Browser) -> None:
    files = {"file": ("take.wav", wav(), "audio/wav")}
    typed = {"belt": "on", "crank_rpm": "1,065"}
    sent = browser.send("/job/1/take", "/job/1/take", typed, files=files)
    assert sent.status_code == 422
    assert 'value="1,065"' in sent.text


def test_what_was_typed_with_a_comma_stays(browser: Browser) -> None:
    """1,065 may be a density: no one makes 1 065 of it."""
    typed = {"0.part": "crank", "0.diameter_mm": "1,065", "0.face": "ribbed", "do": "keep"}
    sent = browser.send(DRIVE, DRIVE, typed)
    assert sent.status_code == 422
    assert 'value="1,065"' in sent.text
