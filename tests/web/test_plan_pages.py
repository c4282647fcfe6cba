"""The plan: chosen, bent, ticked with its clock, replanned; by plain forms, without JavaScript."""

from __future__ import annotations

import re

import pytest

from beltside.casework.shop import Shop
from beltside.casework.shop_teardown import plan_on_job, ticks_of

from .conftest import Browser

PAGE = "/job/1/plan"


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "howls"})


def take_plan(browser: Browser, template: str = "belt") -> None:
    sent = browser.send(PAGE, PAGE, {"template": template, "aim": "expected"})
    assert sent.status_code == 303, sent.text


def tick(browser: Browser, do: str, step: str, **more: str):  # type: ignore[no-untyped-def]
    return browser.send(PAGE, f"{PAGE}/tick", {"do": do, "step": step, **more})


def first_step(shop: Shop) -> str:
    return plan_on_job(shop, "1").steps[0].step.id


def body(shop: Shop, step: str):  # type: ignore[no-untyped-def]
    return ticks_of(shop.record.sheet(shop.record.job(1).id))[step].body


def test_a_plan_is_chosen_for_the_suspect(browser: Browser, shop: Shop) -> None:
    browser.send(
        "/job/1/find",
        "/job/1/find/finding",
        {"check": "spin-by-hand", "part": "coolant-pump", "outcome": "rough"},
    )
    page = browser.get(PAGE)
    assert "Coolant pump behind its pulley" in page.split("<details")[1]
    take_plan(browser, "coolant-pump")
    page = browser.get(PAGE)
    now = page.split('id="now"')[1].split("</article>")[0]
    assert plan_on_job(shop, "1").steps[0].step.title in now
    # Cautions stand on the step that has the risk.
    assert "A hot cooling system scalds" in now or "Never work under a car" in page
    assert "There is no way without it" in page
    assert "While you&#39;re in there" in page


def test_the_clock_and_the_tick_are_kept(browser: Browser, shop: Shop) -> None:
    take_plan(browser)
    step = first_step(shop)
    assert tick(browser, "start", step).status_code == 303
    assert 'class="clock-now"' in browser.get(PAGE)
    tick(browser, "stop", step)
    assert len(body(shop, step)["stopped"]) == 1
    tick(browser, "done", step, minutes="7,5", note="nut rounded")
    assert (body(shop, step)["minutes"], body(shop, step)["note"]) == (7.5, "nut rounded")
    page = browser.get(PAGE)
    assert "7.5 min" in page
    assert "nut rounded" in page
    tick(browser, "undo", step)
    assert first_step(shop) == step


def test_wrong_minutes_are_said_beside_them_and_nothing_is_lost(
    browser: Browser, shop: Shop
) -> None:
    take_plan(browser)
    sent = tick(browser, "done", first_step(shop), minutes="long", note="nut rounded")
    assert sent.status_code == 422
    assert "is a number" in sent.text.split('id="f-minutes"')[1].split("</div>")[0]
    assert 'value="long"' in sent.text
    assert ">nut rounded</textarea>" in sent.text
    assert plan_on_job(shop, "1").steps[0].state == "open"


def test_it_fights_back_and_the_rest_is_planned_anew(browser: Browser, shop: Shop) -> None:
    take_plan(browser, "coolant-pump")
    before = plan_on_job(shop, "1").minutes_left
    assert tick(browser, "wrong", "apart:undertray", says="clips gone").status_code == 422
    sent = tick(browser, "wrong", "apart:undertray", says="clips gone", extra="12")
    assert sent.status_code == 303
    # 6, 12, 24: the three-point mean (6 + 4 x 12 + 24)/6 = 13 minutes more.
    assert plan_on_job(shop, "1").minutes_left == pytest.approx(before + 13.0)
    assert "fights back" in browser.get(PAGE)
    stuck = tick(browser, "stuck", "apart:work-round-alternator")
    assert stuck.status_code == 303
    page = browser.get(PAGE)
    assert "Gone round" in page
    assert "alternator out" in page
    sent = tick(browser, "stuck", "apart:belt")
    assert sent.status_code == 422
    assert "no way round" in sent.text


def test_another_repair_is_done_together(browser: Browser, shop: Shop) -> None:
    take_plan(browser, "coolant-pump")
    browser.send(PAGE, PAGE, {"target": ["coolant-pump", "belt"], "aim": "sure"})
    assert plan_on_job(shop, "1").whole.repairs == ("coolant-pump", "belt")
    entry = shop.record.sheet(shop.record.job(1).id).newest("plan")
    assert entry is not None
    # A template nobody bent stays one.
    assert entry.body["toml"] == ""


def rows_of(page: str) -> dict[str, list[str] | str]:
    """Every field of the form of rows, as a browser would send it back."""
    from html import unescape

    form = page.split('action="/job/1/plan/bend"')[1].split("</form>")[0]
    fields: dict[str, list[str] | str] = {}

    def add(name: str, value: str) -> None:
        held = fields.get(name)
        fields[name] = [*(held if isinstance(held, list) else [held]), value] if held else value

    for tag in re.findall(r"<input[^>]*>", form):
        name = re.search(r'name="([^"]*)"', tag)
        value = re.search(r'value="([^"]*)"', tag)
        if name and ('type="checkbox"' not in tag or " checked" in tag):
            add(name[1], unescape(value[1]) if value else "")
    for name, text in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', form, re.S):
        add(name, unescape(text).removeprefix("\n"))
    return fields


def test_the_plan_is_bent_in_rows(browser: Browser, shop: Shop) -> None:
    take_plan(browser, "coolant-pump")
    bend = f"{PAGE}/bend"
    page = browser.get(bend)
    fields = rows_of(page)
    at = next(key for key, one in fields.items() if one == "undertray").split(".")[0]
    sent = browser.send(bend, bend, {**fields, f"{at}.off": ["9", "5", "2"], "do": "keep"})
    assert sent.status_code == 422
    assert "rising" in sent.text
    sent = browser.send(bend, bend, {**fields, f"{at}.off": ["10", "10", "10"], "do": "keep"})
    assert sent.status_code == 303, sent.text
    step = next(one.step for one in plan_on_job(shop, "1").steps if one.step.thing == "undertray")
    assert step.minutes == (10, 10, 10)
    toml = shop.record.sheet(shop.record.job(1).id).newest("plan").body["toml"]  # type: ignore[union-attr]
    assert "# A template: copy it" in toml


def test_a_thing_not_on_this_car_goes_and_a_step_of_ones_own_comes(
    browser: Browser, shop: Shop
) -> None:
    take_plan(browser, "coolant-pump")
    bend = f"{PAGE}/bend"
    out = browser.send(bend, bend, {**rows_of(browser.get(bend)), "do": "out-undertray"}).text
    assert "not kept yet" in out
    assert 'value="undertray"' not in out
    more = browser.send(bend, bend, {**rows_of(out), "do": "add"}).text
    fields = rows_of(more)
    new = next(key for key, one in fields.items() if key.endswith(".name") and one == "")
    at = new.split(".")[0]
    typed = {f"{at}.title": "fan cowl aside", f"{at}.off": ["5", "5", "5"]}
    typed[f"{at}.blocks"] = "pump-pulley"
    sent = browser.send(bend, bend, {**fields, **typed, "do": "keep"})
    assert sent.status_code == 303, sent.text
    titles = [one.step.title for one in plan_on_job(shop, "1").steps]
    assert "fan cowl aside" in titles
    assert "undertray off" not in titles


def test_text_that_is_no_plan_stays_on_the_page(browser: Browser, shop: Shop) -> None:
    take_plan(browser)
    bend = f"{PAGE}/bend"
    sent = browser.send(f"{bend}?text=true", bend, {"toml": "title = [broken", "do": "keep"})
    assert sent.status_code == 422
    assert "title = [broken" in sent.text
    assert plan_on_job(shop, "1").steps


def test_a_change_made_elsewhere_is_not_written_over(browser: Browser, shop: Shop) -> None:
    take_plan(browser)
    bend = f"{PAGE}/bend"
    fields = rows_of(browser.get(bend))
    browser.send(PAGE, PAGE, {"target": [], "aim": "tools"})
    sent = browser.send(bend, bend, {**fields, "title": "Mine", "do": "keep"})
    assert sent.status_code == 409
    assert 'value="Mine"' in sent.text


def test_a_plan_bent_for_another_car_is_offered(browser: Browser, shop: Shop) -> None:
    take_plan(browser)
    bend = f"{PAGE}/bend"
    browser.send(bend, bend, {**rows_of(browser.get(bend)), "title": "Belt, my way", "do": "keep"})
    browser.send("/", "/jobs", {"words": "howls too"})
    page = browser.get("/job/2/plan")
    assert "Belt, my way" in page
    sent = browser.send("/job/2/plan", "/job/2/plan", {"from_job": "1", "template": "belt"})
    assert sent.status_code == 303
    assert plan_on_job(shop, "2").whole.title == "Belt, my way"


def test_the_lists_and_the_picture(browser: Browser) -> None:
    take_plan(browser, "coolant-pump")
    page = browser.get(f"{PAGE}/lists")
    assert "data:image/svg+xml;base64," in page
    assert "pump gasket" in page
    assert "only if a pump bolt snaps" in page
    assert page.count('class="box"') >= 20


def test_hands_busy_begins_goes_on_and_back(browser: Browser, shop: Shop) -> None:
    hands = f"{PAGE}/step"
    take_plan(browser)
    step = first_step(shop)
    assert "Begin" in browser.get(hands)
    browser.send(hands, hands, {"do": "start", "step": step})
    page = browser.get(hands)
    assert "Done, next step" in page
    sent = browser.send(hands, hands, {"do": "done", "step": step})
    second = plan_on_job(shop, "1").steps[1]
    assert sent.headers["location"].endswith(second.step.id.replace(":", ":"))
    assert body(shop, step)["state"] == "done"
    assert second.state == "started"
    # The same tap sent twice, as over a lost link, ticks nothing else.
    browser.send(hands, hands, {"do": "done", "step": step})
    assert [one.state for one in plan_on_job(shop, "1").steps[:2]] == ["done", "started"]
    browser.send(hands, hands, {"do": "back", "step": step})
    states = {one.step.id: one.state for one in plan_on_job(shop, "1").steps}
    assert (states[step], states[second.step.id]) == ("started", "stopped")
    sent = browser.send(hands, hands, {"do": "done", "step": "apart:nothing"})
    assert sent.status_code == 422


def test_the_last_step_ends_it(browser: Browser, shop: Shop) -> None:
    take_plan(browser)
    for _ in range(60):
        left = plan_on_job(shop, "1").next
        if left is None:
            break
        tick(browser, "done", left.id, minutes="1")
    assert "All steps are done" in browser.get(PAGE)
    assert "All steps are done" in browser.get(f"{PAGE}/step")
