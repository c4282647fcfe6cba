"""Every word of the plans that come along, and every sentence made of them, in other languages."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from beltside.casework.teardown import teardown_of
from beltside.casework.teardown_results import TeardownResult
from beltside.casework.teardown_templates import template_job, template_names
from beltside.teardown.model import Job
from beltside.web.texts import LANGUAGES, said, said_or_none

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
