"""A job from the owner's words to closed on a phone's screen: recording included, and without
JavaScript by file; and two tabs that write at once."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Locator, Page, expect

from beltside.media import write_recording
from beltside.rig import TakePlan, draw_case
from beltside.rig.writing import drive_toml

from .conftest import Chromium, Opens, Told, new_job, opener

TRUTH = "coolant-pump.bearing"
SEED = 68
JOB = "/job/1"


@dataclass(frozen=True)
class Car:
    """A drawn car with a bad bearing in its pump, and the same car in health."""

    folder: Path
    drive_toml: str

    def take(self, name: str) -> Path:
        return self.folder / f"{name}.wav"


@pytest.fixture(scope="module")
def car(tmp_path_factory: pytest.TempPathFactory) -> Car:
    folder = tmp_path_factory.mktemp("car")
    plans = (TakePlan("belt-on", duration_s=8.0), TakePlan("belt-off", belt="off", duration_s=6.0))
    ill = draw_case(np.random.default_rng(SEED), truth=TRUTH, takes=plans, severity_db=18.0)
    after = (TakePlan("after", duration_s=8.0),)
    well = draw_case(np.random.default_rng(SEED), truth=TRUTH, takes=after, severity_db=-60.0)
    for take in (*ill.takes, *well.takes):
        write_recording(folder / f"{take.name}.wav", take.samples, take.sample_rate_hz)
    return Car(folder, drive_toml(ill.sheet))


@pytest.fixture
def phone(shop_address: str, car: Car, chromium: Chromium, told: Told) -> Iterator[Opens]:
    with opener(chromium(car.take("belt-on")), shop_address, told) as opens:
        yield opens


def field(page: Page, name: str) -> Locator:
    return page.locator(f'[name="{name}"]')


def press(page: Page, name: str) -> None:
    """Press a button that sends a form, and be on the page that answers."""
    with page.expect_navigation():
        page.get_by_role("button", name=name).first.click()


def record(page: Page) -> None:
    page.goto(f"{JOB}/take")
    page.get_by_role("button", name="Record now").click()
    stop = page.get_by_role("button", name="Stop and keep")
    stop.wait_for()
    expect(page.locator(".clock")).to_have_text("0:06")
    stop.click()
    page.wait_for_url(re.compile(r"/take/\w+$"))


def send_file(page: Page, path: Path, **conditions: str) -> None:
    page.goto(f"{JOB}/take")
    for details in page.locator("#take-form details").all():
        details.locator("summary").click()
    for name, value in conditions.items():
        page.locator(f'[name="{name}"][value="{value}"]').check()
    field(page, "file").set_input_files(path)
    press(page, "Keep the file")


def until_heard(page: Page, place: str) -> None:
    """Be on a page once the takes are listened to."""
    for _ in range(600):
        if page.request.get(f"{place}/progress").json()["done"]:
            page.goto(place)
            assert page.locator("[data-progress]").count() == 0
            return
        page.wait_for_timeout(200)
    raise AssertionError("The takes were not listened to in two minutes.")


def tick_all(page: Page) -> int:
    """Tick every step of the plan; gives how many."""
    done = page.get_by_role("button", name="Done", exact=True)
    for count in range(60):
        page.goto(f"{JOB}/plan")
        if done.count() == 0:
            return count
        with page.expect_navigation():
            done.first.click()
    raise AssertionError("The plan has no end.")


@pytest.mark.parametrize("javascript", [True, False], ids=["recorded", "without JavaScript"])
def test_from_complaint_to_closed(phone: Opens, car: Car, javascript: bool) -> None:
    page = phone(java_script_enabled=javascript)
    assert new_job(page, car="Tarn 1.4", owner="Åsa Vik") == JOB
    page.goto(f"{JOB}/drive?text=true")
    field(page, "toml").fill(car.drive_toml)
    press(page, "Keep the drive sheet")

    if javascript:
        record(page)
    else:
        send_file(page, car.take("belt-on"))
    send_file(page, car.take("belt-off"), belt="off")
    until_heard(page, f"{JOB}/find")
    # Enough for the advice to leave off checking.
    for check, outcome in (("spin-by-hand", "rough"), ("wiggle", "play"), ("weep-hole", "wet")):
        page.goto(f"{JOB}/find?check={check}&part=coolant-pump")
        press(page, outcome)
    until_heard(page, f"{JOB}/find")
    expect(page.locator("details.odds").first).to_contain_text("coolant pump")

    page.goto(f"{JOB}/plan?choose=true")
    chosen = page.locator('details:has(input[name="template"][value="coolant-pump"])')
    if chosen.get_attribute("open") is None:
        chosen.locator("summary").click()
    with page.expect_navigation():
        chosen.get_by_role("button", name="Take this plan").click()

    page.goto(f"{JOB}/agree/offer")
    for name, value in {"labour_per_hour": "72", "tax_percent": "19", "currency": "EUR"}.items():
        if field(page, name).count():
            field(page, name).fill(value)
    for price in page.locator('[name^="p"][name$=".price"]').all():
        price.fill("40")
    press(page, "Work out the offer")
    page.goto(f"{JOB}/agree")
    field(page, "option").first.check()
    field(page, "name").fill("Åsa Vik")
    field(page, "yes").check()
    press(page, "I agree")
    expect(page.get_by_text("Åsa Vik agreed to").first).to_be_visible()

    assert tick_all(page) > 10

    page.goto(f"{JOB}/hold")
    field(page, "cap").fill("108 kPa")
    press(page, "Begin the test")
    typed = page.locator('form[action$="/rows"]')
    typed.locator("xpath=ancestor::details").locator("summary").first.click()
    for row, (minutes, pressure) in enumerate((("0", "108"), ("5", "108"), ("10", "108"))):
        field(page, f"{row}.minutes").fill(minutes)
        field(page, f"{row}.pressure").fill(pressure)
    press(page, "Keep these readings")
    press(page, "Write the verdict on the job")

    send_file(page, car.take("after"), stage="after")
    page.goto(f"{JOB}/compare")
    press(page, "Compare them")
    expect(page.locator("article .say").first).to_contain_text("quieter than before")

    page.goto(f"{JOB}/proof")
    press(page, "Hand it out")
    page.goto(f"{JOB}/close")
    field(page, "cause").select_option(TRUTH)
    page.locator('[name="cured"][value="yes"]').check()
    with page.expect_navigation():
        page.get_by_role("button", name="Close the job").last.click()
    page.goto(JOB)
    expect(page.locator(".always .answer")).to_contain_text("It was the coolant pump bearing")
    states = page.locator(".band .stage-state").all_inner_texts()
    assert states[:-1] == ["done"] * (len(states) - 1)


def test_two_tabs_on_one_job_keep_both(hand: Opens) -> None:
    first = hand()
    job = new_job(first)
    second = first.context.new_page()
    for page in (first, second):
        page.goto(f"{job}/complaint")
    for page, words in ((first, "Roars, cold."), (second, "Roars, warm.")):
        form = page.locator('form[action$="/complaint/complaint"]')
        form.locator('[name="words"]').fill(words)
        with page.expect_navigation():
            form.get_by_role("button", name="Keep").click()
    # The second is told of the clash; what both wrote can be read.
    expect(second.locator("main .problem").first).to_contain_text("Roars, cold.")
    second.goto(f"{job}/history")
    expect(second.locator("main")).to_contain_text("Roars, cold.")
    expect(second.locator("main")).to_contain_text("Roars, warm.")
