"""From the plan to the closed job on a phone of 390 px: by taps, by keys, without JavaScript."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from .conftest import Opens, Told, chromium, opener


@pytest.fixture
def hand(shop_address: str, told: Told) -> Iterator[Opens]:
    with chromium() as browser:
        yield opener(browser, shop_address, told)


def new_job(page: Page) -> None:
    page.get_by_label("What the owner says").fill("It howls at the front.")
    page.get_by_label("Car").first.fill("Tarn 1.4")
    page.get_by_label("Owner").last.fill("Ines Falk")
    page.get_by_role("button", name="Open the job").click()
    expect(page).to_have_url(re.compile("/job/1"))


def take_plan(page: Page) -> None:
    page.goto("/job/1/plan")
    page.locator("summary", has_text="Belt only").click()
    page.locator("details[open]").get_by_role("button", name="Take this plan").click()
    expect(page.get_by_role("heading", name="Belt only")).to_be_visible()


def offer(page: Page) -> None:
    page.goto("/job/1/agree/offer")
    page.get_by_label("An hour of labour").fill("72")
    page.get_by_label("Tax, per cent").fill("19")
    page.get_by_label("Price of one").first.fill("21,35")
    page.get_by_role("button", name="Work out the offer").click()


def step_title(page: Page) -> str:
    return page.locator("#step-title").text_content() or ""


def settled(page: Page) -> None:
    """A second tap this soon counts as the first one's tremble."""
    page.wait_for_timeout(800)


def test_a_phone_goes_from_the_plan_to_the_closed_job(hand: Opens) -> None:
    page = hand("/")
    new_job(page)
    take_plan(page)
    offer(page)
    expect(page.get_by_text("with 19 % tax").first).to_be_visible()
    page.get_by_role("radio").first.check()
    # Signed with a finger.
    ground = page.locator("#ground")
    ground.scroll_into_view_if_needed()
    box = ground.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 30, box["y"] + 60)
    page.mouse.down()
    for number in range(12):
        page.mouse.move(box["x"] + 30 + 20 * number, box["y"] + 60 + (number % 3) * 15)
    page.mouse.up()
    strokes = json.loads(page.locator("#strokes").input_value())
    assert len(strokes) == 1
    assert len(strokes[0]) > 8
    page.get_by_role("button", name="I agree").click()
    expect(page.locator("svg.signed path")).to_be_visible()
    # Hands busy: a tap anywhere begins, the next one is done and goes on.
    page.goto("/job/1/plan/step")
    first = step_title(page)
    page.locator("#step-title").click()
    expect(page.locator("#go")).to_have_text("Done, next step")
    settled(page)
    page.locator("#step-title").click()
    expect(page.locator("#step-title")).not_to_have_text(first)
    second = step_title(page)
    settled(page)
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#step-title")).to_have_text(first)
    settled(page)
    page.keyboard.press("Space")
    expect(page.locator("#step-title")).to_have_text(second)
    # Two taps at once tick one step.
    settled(page)
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.locator("#step-title")).not_to_have_text(second)
    third = step_title(page)
    page.wait_for_timeout(300)
    assert step_title(page) == third
    for _ in range(40):
        settled(page)
        if step_title(page) == "All steps are done":
            break
        before = step_title(page)
        page.keyboard.press("PageDown")
        expect(page.locator("#step-title")).not_to_have_text(before)
    expect(page.get_by_role("heading", name="All steps are done")).to_be_visible()
    page.goto("/job/1/close")
    page.get_by_label("The noise is gone").check(force=True)
    page.get_by_role("button", name="Close the job").click()
    expect(page.get_by_role("heading", name="Closed")).to_be_visible()
    expect(page.get_by_text("as agreed", exact=False).first).to_be_visible()


def test_a_lost_link_ticks_nothing_and_says_so(hand: Opens, told: Told) -> None:
    page = hand("/")
    new_job(page)
    take_plan(page)
    page.goto("/job/1/plan/step")
    first = step_title(page)
    page.context.set_offline(True)
    page.locator("#step-title").click()
    expect(page.locator("#lost")).to_contain_text("No link to the server")
    page.context.set_offline(False)
    page.locator("#step-title").click()
    expect(page.locator("#go")).to_have_text("Done, next step")
    assert step_title(page) == first
    told.lines = [line for line in told.lines if "ERR_INTERNET_DISCONNECTED" not in line]


def test_reading_aloud_is_off_until_asked_for(hand: Opens) -> None:
    page = hand("/")
    new_job(page)
    take_plan(page)
    page.add_init_script(
        "window.said = []; speechSynthesis.speak = (one) => said.push([one.text, one.lang]);"
    )
    page.goto("/job/1/plan/step")
    page.locator("#step-title").click()
    expect(page.locator("#go")).to_have_text("Done, next step")
    assert page.evaluate("said") == []
    page.get_by_role("button", name="Read aloud").click()
    settled(page)
    first = step_title(page)
    page.locator("#step-title").click()
    expect(page.locator("#step-title")).not_to_have_text(first)
    _, (words, language) = page.evaluate("said")
    assert words.startswith("Step 2 of ")
    assert step_title(page).lower() in words.lower()
    assert language == "en"


def test_the_same_without_javascript(hand: Opens) -> None:
    page = hand("/", java_script_enabled=False)
    new_job(page)
    take_plan(page)
    offer(page)
    page.get_by_role("radio").first.check()
    expect(page.locator("#ground")).not_to_be_visible()
    page.get_by_label("I agree to the price").check()
    page.get_by_role("button", name="I agree").click()
    expect(page.get_by_text("without a signature")).to_be_visible()
    page.goto("/job/1/plan/step")
    page.get_by_role("button", name="Begin").click()
    button = page.get_by_role("button", name="Done, next step")
    end = page.get_by_role("heading", name="All steps are done")
    for _ in range(40):
        # Each step is a page of its own: wait until it, or the last one, has come.
        expect(button.or_(end)).to_be_visible()
        if end.is_visible():
            break
        button.click()
    expect(end).to_be_visible()
    page.goto("/job/1/close")
    page.get_by_label("The noise is gone").check(force=True)
    page.get_by_role("button", name="Close the job").click()
    expect(page.get_by_role("heading", name="Closed")).to_be_visible()
