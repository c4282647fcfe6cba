"""axe, out of its own package, finds nothing on any page: light and dark, on a phone.

The rules are those of axe-core for WCAG 2.2 A and AA with its best practices (axe-core's own
documentation); the pages are all that links of the demo shop lead to.
"""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from served import file_name, page_routes, pages_of

from .conftest import Chromium, Told, opener

AXE = Axe()
LOOKED_AT = 2
# Only there with a door for phones, which has a certificate and an address in the network.
ELSEWHERE = {"/trust"}
# Names that stand twice on a page: a label would then speak for the wrong field.
TWICE = """[...document.querySelectorAll('[id]')].map((one) => one.id)
    .filter((id, at, all) => all.indexOf(id) !== at)"""
LEAST_TAP_PX = 44
"""WCAG 2.2, 2.5.5 target size (enhanced); links within a sentence are excepted there."""
SMALL = """(least) => [...document.querySelectorAll(
      'button, summary, select, textarea, input:not([type=hidden]), a.button, nav a, header a')]
    .map((one) => [one, (one.closest('label') || one).getBoundingClientRect()])
    .filter(([, box]) => box.width > 0 && box.height > 0)
    .filter(([one, box]) => !one.closest('.skip') && Math.min(box.width, box.height) < least - 0.5)
    .map(([one, box]) => `${Math.round(box.width)} by ${Math.round(box.height)} px: `
      + one.outerHTML.slice(0, 160))"""


@pytest.fixture(scope="module")
def browser(chromium: Chromium) -> Browser:
    return chromium()


@pytest.fixture(scope="module")
def pages(demo_address: str) -> dict[str, list[str]]:
    return pages_of(demo_address)


def violations(page: Page, *rules: str) -> list[str]:
    """What axe finds by all its rules, or by those named: a line for each element."""
    options = {"resultTypes": ["violations"], **({"runOnly": list(rules)} if rules else {})}
    return [
        f"{one['id']}: {node['html'][:200]}"
        for one in AXE.run(page, options=options).response["violations"]
        for node in one["nodes"]
    ]


def test_every_page_is_reached_by_links(pages: dict[str, list[str]]) -> None:
    assert {route for route, places in pages.items() if not places} <= ELSEWHERE


@pytest.mark.parametrize("route", sorted(page_routes().keys() - ELSEWHERE))
def test_nothing_is_found(
    route: str, pages: dict[str, list[str]], browser: Browser, demo_address: str, told: Told
) -> None:
    found = {}
    with opener(browser, demo_address, told) as opens:
        page = opens(pages[route][0], reduced_motion="reduce")
        for place in pages[route][:LOOKED_AT]:
            page.emulate_media(color_scheme="light")
            if not page.url.endswith(place):
                page.goto(place)
            # What is folded is looked at as well.
            page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
            found[f"{place} light"] = violations(page)
            twice = page.evaluate(TWICE)
            found[f"{place} names"] = [f"twice on the page: {one}" for one in twice]
            found[f"{place} taps"] = page.evaluate(SMALL, LEAST_TAP_PX)
            # By night only the colours are others.
            page.emulate_media(color_scheme="dark")
            found[f"{place} dark"] = violations(page, "color-contrast")
    assert {place: lines for place, lines in found.items() if lines} == {}


def test_pages_have_pictures_of_their_own() -> None:
    names = [file_name(route) for route in page_routes()]
    assert len(set(names)) == len(names)
    assert file_name("/job/{number}/take/{entry_id}") == "job-take-entry"


def test_axe_finds_what_is_wrong(browser: Browser) -> None:
    """So that an axe that does not look at all is noticed."""
    page = browser.new_page()
    page.set_content("<html lang='en'><title>x</title><main><h1>x</h1><img src='x'></main></html>")
    assert [line.partition(":")[0] for line in violations(page)] == ["image-alt"]
    page.close()
