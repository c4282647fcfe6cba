"""Which plans a job can start from: shipped templates, and what was bent to a car before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.formats.teardown_job import ReadJob
from beltside.casework.shop import Shop, sheet_of
from beltside.casework.shop_jobs import car_words
from beltside.casework.shop_teardown import make_plan, read_plan, suggested_template
from beltside.casework.teardown_templates import template_names, template_text
from beltside.jobs.entries import Entry, JobSheet

_BY_PART: Final[Mapping[str, str]] = {
    "coolant-pump": "coolant-pump",
    "alternator": "alternator",
    "idler": "idler",
    "tensioner": "tensioner",
    "belt": "belt",
    "steering-pump": "steering-pump",
    "ac-compressor": "ac-clutch-bearing",
    "crank": "crank-damper",
}
MOST_OWN: Final = 12
"""So many plans bent to earlier cars are offered."""


@dataclass(frozen=True)
class PlanChoice:
    """A plan to start from.

    Attributes
    ----------
    template, toml
        As `make_plan` takes them.
    title, about
        What it is, in words.
    repairs
        Name and words of each repair it knows.
    wanted
        Names of those done when none is chosen.
    from_job
        Number of the job it was bent for; 0 for a shipped template.
    car
        That job's car.
    suggested
        Whether it goes with the likeliest repair, or the likeliest part so far.
    """

    template: str
    toml: str
    title: str
    about: str
    repairs: Sequence[tuple[str, str]]
    wanted: Sequence[str]
    from_job: int = 0
    car: str = ""
    suggested: bool = False


@cache
def _shipped() -> tuple[PlanChoice, ...]:
    return tuple(_choice(read_plan(name, ""), template=name) for name in template_names())


def _choice(read: ReadJob, **more: Any) -> PlanChoice:
    job = read.job
    return PlanChoice(
        **{"template": "", "toml": "", **more},
        title=job.title,
        about=job.about,
        repairs=[(one.name, one.title) for one in job.repairs],
        wanted=job.wanted,
    )


def plan_choices(shop: Shop, job: JobSheet) -> list[PlanChoice]:
    """Plans to start from, the one for the likeliest repair first, then those bent before."""
    best = suggested_template(shop, job) or _of_likeliest_part(shop, job)
    shipped = [PlanChoice(**{**vars(one), "suggested": one.template == best}) for one in _shipped()]
    own = _bent_before(shop, job)
    first = [one for one in own if one.template == best]
    return [
        *(one for one in shipped if one.suggested),
        *first,
        *(one for one in shipped if not one.suggested),
        *(one for one in own if one not in first),
    ]


def _of_likeliest_part(shop: Shop, job: JobSheet) -> str:
    """The template for the leading suspect's part, "" when there is none."""
    from beltside.casework.shop_find import find_now

    suspects = find_now(shop, job).result.suspects
    part = suspects[0].id.partition(".")[0] if suspects else ""
    return _BY_PART.get(part, "")


def _bent_before(shop: Shop, job: JobSheet) -> list[PlanChoice]:
    """Plans bent to other cars, the newest first, each text once."""
    entries: dict[str, Entry] = {}
    for entry in shop.record.entries_of_kind("plan", limit=200):
        if entry.body["toml"] and entry.job_id != job.job.id:
            entries.setdefault(str(entry.body["toml"]), entry)
    found: list[PlanChoice] = []
    chosen = list(entries.items())[:MOST_OWN]
    jobs = {one.id: one for one in shop.record.jobs_named([str(e.job_id) for _, e in chosen])}
    for toml, entry in chosen:
        there = jobs.get(str(entry.job_id))
        try:
            read = read_plan("", toml)
        except BeltsideError:
            continue
        if there is not None:
            card = there.card
            found.append(
                _choice(
                    read,
                    template=str(entry.body["template"]),
                    toml=toml,
                    from_job=there.number,
                    car=car_words(card.car, card.plate, card.vin),
                )
            )
    return found


def choose_plan(
    shop: Shop,
    job_id: str,
    template: str,
    target: Sequence[str] = (),
    aim: str = "expected",
    *,
    from_job: int = 0,
) -> Entry:
    """Choose the plan of a job: a shipped template, or what was bent for another job.

    Raises
    ------
    InputError
        As `make_plan`; when the other job has no plan of its own.
    """
    toml = ""
    if from_job:
        other = sheet_of(shop, str(from_job)).newest("plan")
        toml = str(other.body["toml"]) if other is not None else ""
        if not toml:
            raise InputError(
                f"job {from_job} has no plan of its own", allowed="a job whose plan was bent"
            )
    typed = {"template": template, "toml": toml, "target": list(target), "aim": aim}
    return make_plan(shop, job_id, typed)


def plan_text(entry: Entry) -> str:
    """The text of a job's plan: as bent, or its template's."""
    body: Mapping[str, Any] = entry.body
    return str(body["toml"]) or template_text(str(body["template"]))


def bend_plan(
    shop: Shop,
    job_id: str,
    toml: str,
    *,
    target: Sequence[str] | None = None,
    aim: str | None = None,
) -> Entry:
    """Keep another text of the plan, or other repairs or another aim; the rest stays.

    Raises
    ------
    InputError
        When there is no plan yet, the text is none, or it gives no order of work; nothing is kept.
    """
    entry = sheet_of(shop, job_id).newest("plan")
    if entry is None:
        raise InputError("There is no plan on this job yet", instead="choosing one first")
    body = entry.body
    if toml == plan_text(entry):
        # A template nobody has bent stays one: it is not frozen as it is today.
        toml = str(body["toml"])
    return make_plan(
        shop,
        job_id,
        {
            "template": body["template"],
            "toml": toml,
            "target": list(body["target"] if target is None else target),
            "aim": body["aim"] if aim is None else aim,
        },
    )
