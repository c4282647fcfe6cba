"""A span plucked before a phone's microphone, from the page to its note."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect

from beltside.media import write_recording

from .conftest import Chromium, Opens, Told, new_job, opener

RATE = 48_000
NOTE_HZ = 88.0


@pytest.fixture
def plucked(quiet_address: str, tmp_path: Path, chromium: Chromium, told: Told) -> Iterator[Opens]:
    """A phone that hears a string of 88 Hz plucked each second."""
    time_s = np.arange(6 * RATE) / RATE
    sound = 0.003 * np.random.default_rng(1).normal(size=time_s.size)
    for start in range(6):
        after = np.maximum(time_s - start - 0.4, 0.0)
        for n, weight in enumerate((0.2, 0.1, 0.05), start=1):
            sound += weight * np.exp(-8.0 * n * after) * np.sin(2 * np.pi * n * NOTE_HZ * after)
    path = tmp_path / "plucks.wav"
    write_recording(path, sound.astype(np.float32), RATE)
    with opener(chromium(path), quiet_address, told) as opens:
        yield opens


def test_the_note_and_the_tension_of_a_span(plucked: Opens) -> None:
    page = plucked()
    page.goto(f"{new_job(page)}/strum")
    page.get_by_label("Free length of the span").fill("239")
    page.get_by_label("Mass of a metre of belt").fill("126")
    page.get_by_label("Tension wanted, lowest").fill("600")
    page.get_by_label("Tension wanted, highest").fill("700")
    page.get_by_role("button", name="Record now").click()
    stop = page.get_by_role("button", name="Stop and keep")
    stop.wait_for()
    expect(page.locator(".clock")).to_have_text("0:04")
    stop.click()
    numbers = page.locator("article .number b")
    expect(numbers).to_have_count(2)
    assert abs(float(numbers.first.inner_text()) / NOTE_HZ - 1.0) < 0.01
    # T = 4 m L^2 f^2 of a string, less the stiffness of six ribs, here under 8 %.
    string_n = 4 * 0.126 * 0.239**2 * NOTE_HZ**2
    assert 0.92 < float(numbers.nth(1).inner_text()) / string_n < 1.0
    expect(page.get_by_text("Too slack for your target.").first).to_be_visible()
