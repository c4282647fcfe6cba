"""From the plan to the closed job on a phone of 390 px: by taps, by keys, without JavaScript."""

from __future__ import annotations

import json

from playwright.sync_api import Page, expect

from .conftest import Opens, Told, new_job


def take_plan(page: Page, job: str) -> None:
    page.goto(f"{job}/plan")
    page.locator("summary", has_text="Belt only").click()
    page.locator("details[open]").get_by_role("button", name="Take this plan").click()
    expect(page.get_by_role("heading", name="Belt only")).to_be_visible()


def offer(page: Page, job: str) -> None:
    page.goto(f"{job}/agree/offer")
    page.get_by_label("An hour of labour").fill("72")
    page.get_by_label("Tax, per cent").fill("19")
    page.get_by_label("Price of one").first.fill("21,35")
    page.get_by_role("button", name="Work out the offer").click()


def step_title(page: Page) -> str:
    return page.locator("#step-title").text_content() or ""


def settled(page: Page) -> None:
    """A second tap this soon counts as the first one's tremble: let the page's clock go on."""
    page.clock.fast_forward(800)


def test_a_phone_goes_from_the_plan_to_the_closed_job(hand: Opens) -> None:
    page = hand("/")
    page.clock.install()
    job = new_job(page, car="Tarn 1.4", owner="Ines Falk")
    take_plan(page, job)
    offer(page, job)
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
    page.goto(f"{job}/plan/step")
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
    page.goto(f"{job}/close")
    page.get_by_label("The noise is gone").check(force=True)
    page.get_by_role("button", name="Close the job").click()
    expect(page.get_by_role("heading", name="Closed")).to_be_visible()
    expect(page.get_by_text("as agreed", exact=False).first).to_be_visible()


def test_a_lost_link_ticks_nothing_and_says_so(hand: Opens, told: Told) -> None:
    page = hand("/")
    page.clock.install()
    job = new_job(page, car="Tarn 1.4", owner="Ines Falk")
    take_plan(page, job)
    page.goto(f"{job}/plan/step")
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
    page.clock.install()
    job = new_job(page, car="Tarn 1.4", owner="Ines Falk")
    take_plan(page, job)
    page.add_init_script(
        "window.said = []; speechSynthesis.speak = (one) => said.push([one.text, one.lang]);"
    )
    page.goto(f"{job}/plan/step")
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
    job = new_job(page, car="Tarn 1.4", owner="Ines Falk")
    take_plan(page, job)
    offer(page, job)
    page.get_by_role("radio").first.check()
    expect(page.locator("#ground")).not_to_be_visible()
    page.get_by_label("I agree to the price").check()
    page.get_by_role("button", name="I agree").click()
    expect(page.get_by_text("without a signature")).to_be_visible()
    page.goto(f"{job}/plan/step")
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
    page.goto(f"{job}/close")
    page.get_by_label("The noise is gone").check(force=True)
    page.get_by_role("button", name="Close the job").click()
    expect(page.get_by_role("heading", name="Closed")).to_be_visible()
