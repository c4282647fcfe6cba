"""A job from the owner's words to its first odds, on a phone whose microphone hears an engine."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from .conftest import EngineRunning, Opens

SPEED_RPM = 760.0
"""What the rig's demo engine turns at idle; its takes are drawn around it."""


def new_job(page: Page) -> str:
    """Open a job in three fields; gives its address."""
    page.get_by_label("What the owner says").fill("It howls when cold.")
    page.get_by_label("Car", exact=True).fill("Tarn 1.4")
    page.get_by_label("Owner", exact=True).fill("Åsa Vik")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/job/1")
    return page.url


def test_recorded_listened_to_and_narrowed_down(phone: Opens, engine: EngineRunning) -> None:
    page = phone()
    job = new_job(page)
    expect(page.locator(".car")).to_contain_text("Tarn 1.4")
    expect(page.locator(".always")).to_contain_text("It howls when cold.")

    page.goto(f"{job}/drive?text=true")
    page.get_by_label("Drive sheet").fill(engine.drive_toml)
    page.get_by_role("button", name="Keep the drive sheet").click()
    expect(page.get_by_role("status").first).to_contain_text("Kept.")

    page.goto(f"{job}/take")
    page.get_by_role("button", name="Record now").click()
    page.get_by_role("button", name="Stop and keep").wait_for()
    expect(page.locator(".clock")).to_have_text("0:06")
    page.get_by_role("button", name="Stop and keep").click()
    page.wait_for_url(re.compile(r"/job/1/take/\w+$"))
    speed = page.locator(".number b").first
    expect(speed).to_be_visible()
    assert abs(float(speed.inner_text()) / SPEED_RPM - 1.0) < 0.03
    expect(page.get_by_role("heading", name="Lines and whose they are")).to_be_visible()

    page.goto(f"{job}/find?check=spin-by-hand&part=coolant-pump")
    odds = page.get_by_role("region", name="Odds")
    page.get_by_role("region").first.get_by_role("button", name="rough").first.click()
    expect(odds.locator("details.odds").first).to_contain_text("coolant pump bearing")
    found = odds.get_by_text("Spin by hand on the coolant pump")
    expect(found.last).to_be_visible()
    taken_back = page.get_by_role("button", name="Take it back")
    taken_back.click()
    expect(taken_back).to_have_count(0)
    expect(found).to_have_count(0)
