"""Every word of the plans that come along, and every sentence made of them, in other languages."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator

import pytest

from beltside.casework.settings import save_settings
from beltside.casework.shop import Shop
from beltside.casework.shop_teardown import plan_on_job
from beltside.casework.teardown import teardown_of
from beltside.casework.teardown_results import TeardownResult
from beltside.casework.teardown_templates import template_job, template_names
from beltside.teardown.model import Job
from beltside.web.texts import LANGUAGES, said, said_or_none

from .conftest import Browser
from .test_plan_pages import rows_of

OTHERS = [name for name in LANGUAGES if name != "en"]
PLANS = [
    (name, repair.name) for name in template_names() for repair in template_job(name).job.repairs
]
# Words that no German sentence holds.
ENGLISH = re.compile(r"\b(the|of|and|or|off|out|with|for|from|needed|back|to|tool|torque|wheel)\b")


def words_of(job: Job) -> Iterator[str]:
    """What a page shows of a job as written."""
    yield from (job.title, job.about, *job.cautions)
    for repair in job.repairs:
        yield from (repair.title, *(part.name for part in repair.parts))
    for thing in job.things:
        yield from (thing.title, thing.refit_title, *thing.tools, *thing.refit_tools)
        yield from (*thing.hazards, *thing.cautions)
        for supply in (*thing.renew, *thing.consumables):
            yield from (supply.name, supply.unit)
        if thing.fluid is not None:
            yield thing.fluid.name
        for trouble in thing.troubles:
            yield from (trouble.what, trouble.then, *trouble.tools)
            yield from (part.name for part in trouble.parts)


def sentences_of(result: TeardownResult) -> Iterator[str]:
    """What the rooms say about it."""
    yield from (result.second_says, *result.warnings)
    for step in result.steps:
        yield from (step.why, step.title, step.fastener, step.torque, *step.tools, *step.troubles)
    for tool in result.tools:
        yield from (tool.name, tool.only_if)
    for one in result.to_buy:
        yield from (one.name, one.for_, one.source)


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("template", template_names())
def test_every_word_of_a_template_has_its_translation(template: str, language: str) -> None:
    words = {one for one in words_of(template_job(template).job) if one}
    assert sorted(one for one in words if said_or_none(one, language) is None) == []


@pytest.mark.parametrize(("template", "repair"), PLANS)
def test_no_sentence_about_a_plan_stays_english(template: str, repair: str) -> None:
    read = template_job(template)
    result = teardown_of(read, read.job, repairs=[repair], runs=10)
    told = [said(one, "de") for one in sentences_of(result) if one]
    assert [one for one in told if ENGLISH.search(one)] == []


def test_the_second_way_and_what_fights_back_in_german() -> None:
    read = template_job("coolant-pump")
    result = teardown_of(read, read.job, runs=10)
    assert said(result.second_says, "de").startswith("Zweitbester Weg, ")
    troubles = [one for step in result.steps for one in step.troubles if "pivot" in one]
    assert [said(one, "de") for one in troubles] == [
        "die Schwenkschraube sitzt fest: in 8 von 100 Fällen, 8 bis 40 min mehr; "
        "Kriechöl und Zeit, Hitze nur fern von Schläuchen und Kabeln"
    ]


BEND = "/job/1/plan/bend"


@pytest.fixture
def german_plan(browser: Browser, shop: Shop) -> Browser:
    """A browser with the plan for the coolant pump on job 1, in German."""
    browser.send("/", "/jobs", {"words": "heult"})
    sent = browser.send("/job/1/plan", "/job/1/plan", {"template": "coolant-pump"})
    assert sent.status_code == 303, sent.text
    save_settings(shop, {"language": "de"})
    return browser


def toml_of(shop: Shop) -> str:
    entry = shop.record.sheet(shop.record.job(1).id).newest("plan")
    assert entry is not None
    return str(entry.body["toml"])


def test_a_form_kept_as_it_was_shown_leaves_the_plan_as_it_was(
    german_plan: Browser, shop: Shop
) -> None:
    fields = rows_of(german_plan.get(BEND))
    assert fields["title"] == "Wasserpumpe hinter ihrer Riemenscheibe"
    sent = german_plan.send(BEND, BEND, {**fields, "do": "keep"})
    assert sent.status_code == 303, sent.text
    assert toml_of(shop) == ""  # Nobody has bent the template.


def test_what_is_typed_into_the_form_is_kept_as_typed(german_plan: Browser, shop: Shop) -> None:
    fields = rows_of(german_plan.get(BEND))
    at = next(key for key, one in fields.items() if one == "undertray").split(".")[0]
    assert fields[f"{at}.tools"] == "Verkleidungsheber, Stecknuss 10 mm"
    fields[f"{at}.tools"] = "Stecknuss 10 mm, kleiner Haken"
    fields[f"{at}.title"] = "Blech unten ab"
    sent = german_plan.send(BEND, BEND, {**fields, "do": "keep"})
    assert sent.status_code == 303, sent.text
    step = next(one.step for one in plan_on_job(shop, "1").steps if one.step.thing == "undertray")
    assert step.title == "Blech unten ab"
    assert step.tools == ("10 mm socket", "kleiner Haken")
    assert "earth lead off the battery" in toml_of(shop)


@pytest.mark.parametrize("page", ["", "/lists", "/step", "/bend", "?choose=true"])
def test_the_pages_of_a_plan_hold_no_english_step(german_plan: Browser, page: str) -> None:
    html = german_plan.get(f"/job/1/plan{page}")
    # The text the form stands on is the plan as written.
    html = re.sub(r"<textarea[^>]* hidden>.*?</textarea>", "", html, flags=re.DOTALL)
    assert not re.search(r"earth lead|belt taken off|socket|needed for|Tighten in steps", html)
    assert re.search(r"Motor kalt|Auto vorn|Massekabel|Wasserpumpe", html)


def test_the_plan_as_a_picture_speaks_german(german_plan: Browser, shop: Shop) -> None:
    html = german_plan.get("/job/1/plan/lists")
    coded = re.search(r"data:image/svg\+xml;base64,([^\"]+)", html)
    assert coded is not None
    svg = base64.b64decode(coded[1]).decode()
    assert "ab Beginn" in svg
    assert not re.search(r"to spare|Refitting|from the start|pump bolts", svg)
