"""What a page does by itself must not cost the technician what he is typing."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Route, expect

from .conftest import Chromium, Opens, Told, opener


@pytest.fixture
def demo_phone(demo_address: str, chromium: Chromium, told: Told) -> Iterator[Opens]:
    with opener(chromium(), demo_address, told) as opens:
        yield opens


def test_a_page_is_not_made_anew_while_its_form_is_filled_in(demo_phone: Opens) -> None:
    page = demo_phone("/job/2/take")
    now = {"done": False, "percent": 30, "doing": "crank speed"}
    page.route(re.compile("/progress$"), lambda route: route.fulfill(json=now))
    page.locator("main .row a").first.click()
    expect(page.locator(".doing")).to_have_text("crank speed")
    page.get_by_label("Speed read off a dash or scan tool").fill("812")
    now["done"] = True
    expect(page.get_by_role("link", name="Listened to: show it")).to_be_visible()
    expect(page.get_by_label("Speed read off a dash or scan tool")).to_have_value("812")


def test_a_page_left_alone_shows_what_was_heard(demo_phone: Opens) -> None:
    page = demo_phone("/job/2/take")
    asked: list[str] = []

    def answer(route: Route) -> None:
        asked.append(route.request.url)
        again = len(asked) > 1
        doing = "asked again" if again else ""
        route.fulfill(json={"done": not again, "percent": 60, "doing": doing})

    page.route(re.compile("/progress$"), answer)
    page.locator("main .row a").first.click()
    expect(page.locator(".doing")).to_have_text("asked again")
