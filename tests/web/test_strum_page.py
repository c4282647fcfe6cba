"""Plucks by plain forms and by the recorder: note, tension, verdict, other figures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from beltside.casework.shop import Shop
from beltside.media import write_recording

from .conftest import Browser

PAGE = "/job/1/strum"
RATE = 16000
NOTE_HZ = 120.0
# T = 4 m L^2 f^2 of a string: 4 * 0.126 kg/m * (0.2 m)^2 * (120 Hz)^2, the closed form.
STRING_N = 290.3
FIGURES = {"span_mm": "200", "ribs": "6", "mass_g_per_m": "126"}


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "squeals"})


@pytest.fixture
def plucks(tmp_path: Path) -> bytes:
    """Three plucks of a string at 120 Hz."""
    time_s = np.arange(4 * RATE) / RATE
    sound = 0.004 * np.random.default_rng(1).normal(size=time_s.size)
    for start in (0.5, 1.5, 2.5):
        after = np.maximum(time_s - start, 0.0)
        for n, weight in enumerate((0.2, 0.1, 0.05), start=1):
            sound += weight * np.exp(-8.0 * n * after) * np.sin(2 * np.pi * n * NOTE_HZ * after)
    path = tmp_path / "plucks.wav"
    write_recording(path, sound.astype(np.float32), RATE)
    return path.read_bytes()


def send(browser: Browser, plucks: bytes, fields: dict[str, str], **more: object):
    return browser.send(
        PAGE, PAGE, fields, files={"file": ("plucks.wav", plucks, "audio/wav")}, **more
    )


def strums(shop: Shop):
    return shop.record.sheet(shop.record.job(1).id).of_kind("strum")


def test_a_file_gives_note_tension_and_verdict(browser: Browser, shop: Shop, plucks: bytes) -> None:
    sent = send(browser, plucks, {**FIGURES, "target_low_n": "250", "target_high_n": "330"})
    assert sent.status_code == 303
    (one,) = strums(shop)
    assert one.body["hertz"] == pytest.approx(NOTE_HZ, rel=0.01)
    assert one.body["result"]["tension_n"]["string"] == pytest.approx(STRING_N, rel=0.02)
    page = browser.get(PAGE)
    assert "Within your target." in page
    assert f"{one.body['result']['tension_n']['value']:.0f}</b>" in page
    assert f"{one.body['hertz']:.1f}</b>" in page


def test_a_wrong_figure_keeps_the_recording(browser: Browser, shop: Shop, plucks: bytes) -> None:
    sent = send(
        browser,
        plucks,
        {**FIGURES, "span_mm": "2", "target_low_n": "many"},
        headers={"accept": "application/json"},
    )
    there = sent.json()["href"]
    assert there == f"{PAGE}?off=span_mm,target_low_n"
    assert "Free length of the span, Tension wanted, lowest" in browser.get(there)
    (one,) = strums(shop)
    assert one.body["tension_n"] is None
    again = f"{PAGE}/{one.id}"
    wrong = browser.send(PAGE, again, {**FIGURES, "span_mm": "2"})
    assert wrong.status_code == 422
    assert 'value="2"' in wrong.text
    assert "30 to 1500 mm will do" in wrong.text
    assert browser.send(PAGE, again, {**FIGURES, "span_mm": "200,0"}).status_code == 303
    (same,) = strums(shop)
    assert same.id == one.id
    assert same.body["result"]["tension_n"]["string"] == pytest.approx(STRING_N, rel=0.02)


@pytest.mark.parametrize(
    ("data", "says"), [(b"", "an empty file"), (b"dear owner, it is done", "text, no recording")]
)
def test_what_is_no_recording_is_told(browser: Browser, shop: Shop, data: bytes, says: str) -> None:
    sent = send(browser, data, {"target_low_n": "300"})
    assert sent.status_code == 422
    assert says in sent.text
    assert 'value="300"' in sent.text
    assert strums(shop) == ()


def test_it_is_taken_off_the_sheet(browser: Browser, shop: Shop, plucks: bytes) -> None:
    send(browser, plucks, FIGURES)
    (one,) = strums(shop)
    browser.send(PAGE, f"{PAGE}/{one.id}/remove", {})
    assert strums(shop) == ()
