"""What was typed and not kept yet outlives a reload, the back button and a lost link.

Nothing typed may be lost: that is the product's own rule (docs/record.md), checked in the browser.
"""

from __future__ import annotations

from playwright.sync_api import Page, expect

from .conftest import Opens, Told

BACK = "What was typed here before is back"


def new_job(page: Page) -> str:
    page.get_by_label("What the owner says").fill("It howls when cold.")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/job/*")
    return page.url


def test_a_drive_sheet_half_typed_is_there_after_reload_and_back_and_gone_once_kept(
    hand: Opens,
) -> None:
    page = hand()
    page.get_by_label("What the owner says").fill("Half a sentence")
    page.reload()
    expect(page.get_by_label("What the owner says")).to_have_value("Half a sentence")
    job = new_job(page)
    page.goto(f"{job}/drive")
    page.get_by_label("Cylinders").fill("3")
    page.get_by_label("Diameter").first.fill("152")
    page.reload()
    expect(page.get_by_text(BACK)).to_be_visible()
    expect(page.get_by_label("Cylinders")).to_have_value("3")
    page.get_by_label("Idle speed").fill("980")
    page.goto(job)
    page.go_back()
    expect(page.get_by_label("Idle speed")).to_have_value("980")
    expect(page.get_by_label("Diameter").first).to_have_value("152")
    for _ in range(3):
        page.get_by_role("button", name="Take it out").last.click()
    page.get_by_role("button", name="Keep the drive sheet").click()
    page.wait_for_url("**/drive?saved=1")
    page.goto(f"{job}/drive")
    expect(page.get_by_label("Cylinders")).to_have_value("3")
    expect(page.get_by_text(BACK)).to_have_count(0)
    page.goto("/")
    expect(page.get_by_label("What the owner says")).to_have_value("")


def test_what_was_typed_is_dropped_on_wish(hand: Opens) -> None:
    page = hand()
    job = new_job(page)
    page.goto(f"{job}/drive")
    page.get_by_label("Cylinders").fill("6")
    page.reload()
    page.get_by_role("button", name="Drop it").click()
    expect(page.get_by_label("Cylinders")).to_have_value("")
    page.reload()
    expect(page.get_by_label("Cylinders")).to_have_value("")
    expect(page.get_by_text(BACK)).to_have_count(0)


def test_what_another_kept_meanwhile_is_not_overwritten(hand: Opens) -> None:
    page = hand()
    job = new_job(page)
    page.goto(f"{job}/complaint")
    page.get_by_label("Plate").fill("mine 1")
    other = page.context.new_page()
    other.goto(f"{job}/complaint")
    other.get_by_label("Plate").fill("his 2")
    other.locator("form", has=other.get_by_label("Plate")).get_by_role("button").last.click()
    other.wait_for_url("**saved=1**")
    page.reload()
    expect(page.get_by_label("Plate")).to_have_value("his 2")
    expect(page.get_by_text("Typed here before and not kept: mine 1")).to_be_visible()


def test_a_form_sent_while_the_link_was_lost_is_there_on_coming_back(
    hand: Opens, told: Told
) -> None:
    page = hand()
    job = new_job(page)
    page.goto(f"{job}/drive")
    page.get_by_label("Cylinders").fill("3")
    page.context.set_offline(True)
    page.get_by_role("button", name="Keep the drive sheet").click()
    page.wait_for_url("chrome-error://**")
    page.context.set_offline(False)
    page.goto(job)
    page.goto(f"{job}/drive")
    expect(page.get_by_text(BACK)).to_be_visible()
    expect(page.get_by_label("Cylinders")).to_have_value("3")
    told.lines.clear()


def test_taps_on_the_page_of_a_take_are_not_carried_over(hand: Opens) -> None:
    """The next take must not get "belt off" from one that was never recorded."""
    page = hand()
    job = new_job(page)
    page.goto(f"{job}/take")
    page.locator('[name=belt][value="off"]').check(force=True)
    page.reload()
    expect(page.locator('[name=belt][value="on"]')).to_be_checked()
