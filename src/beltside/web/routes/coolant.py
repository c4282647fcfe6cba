"""The coolant bench: one page of parts that fold, each kept on the job as the command keeps it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import InputError
from beltside.casework.coolant_answer import CoolantAnswer
from beltside.casework.coolant_bench import (
    BigFigure,
    big_figures,
    kept_answer,
    suggestions,
)
from beltside.casework.settings import setting
from beltside.casework.shop import FieldProblemsError, JobSheet
from beltside.casework.shop_coolant import coolant_on_job
from beltside.casework.shop_jobs import remove_entry
from beltside.web.coolant_form import (
    BY_ABOUT,
    QUESTIONS,
    Question,
    Typed,
    fields_of,
    given_of,
    rows_shown,
    shown_unit,
)
from beltside.web.forms import CheckedForm, text, typed
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.svg_address import coolant_address
from beltside.web.texts import text_
from beltside.web.visitors import visitor_of

router = APIRouter()

FIGURE_WORDS: Final[Mapping[str, str]] = {
    "freezes": text_("first ice; from here on slush"),
    "boils": text_("boils"),
    "strength": text_("glycol by volume"),
    "drain": text_("to drain"),
    "product": text_("of coolant to pour"),
    "water": text_("of distilled water to pour"),
    "advice": text_("what to do with it"),
    "target": text_("on the gauge, never above"),
    "missing": text_("still missing: air"),
    "recheck": text_("the level may sink after the first heat cycle"),
    "drains": text_("to drain with the cap off"),
    "limit": text_("with the belt off, then stop"),
}
VALUE_WORDS: Final = (
    text_("reuse filtered"),
    text_("top up"),
    text_("renew"),
)
ROW_NAMES: Final = (
    text_("Glycol"),
    text_("By mass"),
    text_("Freezes"),
    text_("Burst protection"),
    text_("Boils"),
    text_("Boils, cap off"),
    text_("Margin"),
    text_("Density"),
    text_("Grows when hot"),
    text_("Must fit in the bottle"),
    text_("Drain least"),
    text_("Drain all that comes"),
    text_("Filter"),
    text_("Absolute"),
    text_("A sound cap opens"),
    text_("Came out"),
    text_("Went in"),
    text_("Air still inside"),
    text_("Level may sink by"),
    text_("Stop by"),
    text_("Likely figures would give"),
    text_("Stop at once above"),
    text_("Cap off"),
    text_("Cap on"),
    text_("At first"),
)
"""Names of rows as the bench gives them; a test holds them against its answers."""
CAUTIONS: Final = (
    text_(
        "Never open a hot system: let it cool until the top hose is soft and cool to the hand. "
        "Coolant of 90 to 110 °C scalds at once; even 60 °C burns deep within 5 s."
    ),
    text_(
        "Coolant is poison, and sweet: as little as about 100 mL of ethylene glycol kills an "
        "adult, a few millilitres a cat. Keep it from children and animals; swallowed, call "
        "poison control."
    ),
    text_("Catch all of it and dispose of it by local rules: never into a drain or the ground."),
    text_("Wear eye protection: a pressed hose or adaptor can let go."),
    text_("Never pump above the cap's mark: it bursts hoses, heater core or radiator."),
    text_("Test cold: engine at the air's temperature, as far as time allows."),
    text_(
        "Belt off: nothing cools and nothing charges. Stop at the first of the limit, a rising "
        "temperature, a smell or steam; let it cool fully before the next run."
    ),
    text_("Engine running: hands, hair and sleeves away from belt and fan."),
    text_("The vehicle maker's service data stands above anything said here."),
)
"""The bench's cautions, word for word; a test holds them against its answers."""
HOT, POISON, CATCH, EYES, ABOVE_CAP, COLD, BELT_OFF, RUNNING, SERVICE_DATA = CAUTIONS
ON_THE_PAGE: Final = (HOT, POISON)
BESIDE: Final[Mapping[str, Sequence[str]]] = {
    "mix": (),
    "adjust": (CATCH,),
    "reuse": (CATCH,),
    "cap": (ABOVE_CAP, EYES),
    "drain": (CATCH,),
    "fill": (RUNNING, CATCH),
    "clock": (BELT_OFF, RUNNING),
}
"""Cautions said beside each part; the first ones stand once on the page."""


@dataclass(frozen=True)
class Answered:
    """What a part said last: when and by whom, large figures, rows, reasons, steps, a picture.

    `answer` is None where what was typed then is refused today; `says` is what was kept.
    """

    entry: str
    says: str
    by: str
    at: str
    answer: CoolantAnswer | None
    figures: Sequence[BigFigure]
    picture: str
    limit_s: int


@dataclass(frozen=True)
class Part:
    """A part of the bench on the page: its question, its fields as they stand, its answer.

    `filled` says that figures of the job's other answers were filled in; `wrong` is what does not
    go together.
    """

    question: Question
    fields: Mapping[str, str]
    problems: Mapping[str, str]
    wrong: str
    filled: bool
    open: bool
    answered: Answered | None
    cautions: Sequence[str]


@dataclass(frozen=True)
class CoolantPage(Page):
    """The bench."""

    template = "coolant.html"
    frame: JobFrame
    parts: Sequence[Part]
    cautions: Sequence[str]
    service_data: str
    figure_words: Mapping[str, str]
    us: bool

    def unit(self, name: str, fixed: str = "") -> str:
        """The unit beside a field."""
        return shown_unit(name, fixed, self.us)

    def rows(self, ask: object, fields: Mapping[str, str]) -> range:
        """The rows of a field that has several."""
        return rows_shown(ask, fields)  # type: ignore[arg-type]


@router.get("/job/{number}/coolant")
def coolant_page(request: Request, number: int, part: str = "") -> HTMLResponse:
    """The bench; with `part` that part open."""
    sheet, frame = open_job(request, number)
    return show(request, _page(request, sheet, frame, part))


@router.post("/job/{number}/coolant/{about}")
def ask(request: Request, number: int, about: str, form: CheckedForm) -> Response:
    """Answer a part and keep it; what is wrong is said beside it."""
    question = _question(about)
    sheet, frame = open_job(request, number)
    us = setting(shop_of(request), "units") == "us"
    fields = {name: value.strip() for name, value in typed(form).items()}
    try:
        coolant_on_job(shop_of(request), sheet.job.id, about, given_of(question, fields, us=us))
    except FieldProblemsError as error:
        page = _page(request, sheet, frame, about, fields, error.by_field)
    except InputError as error:
        page = _page(request, sheet, frame, about, fields, {}, str(error))
    else:
        return go_to(f"/job/{number}/coolant?part={about}", saved=f"1#{about}")
    return show(request, page, status=422)


@router.post("/job/{number}/coolant/{about}/take-back")
def taken_back(request: Request, number: int, about: str, form: CheckedForm) -> Response:
    """Take the last answer of a part back; the list of all changes brings it back."""
    sheet, _ = open_job(request, number)
    remove_entry(shop_of(request), sheet.job.id, text(form, "entry"))
    return go_to(f"/job/{number}/coolant?part={_question(about).about}", saved=f"1#{about}")


def _question(about: str) -> Question:
    question = BY_ABOUT.get(about)
    if question is None:
        raise HTTPException(404, f"The coolant bench knows nothing of {about[:40]}.")
    return question


def _page(
    request: Request,
    sheet: JobSheet,
    frame: JobFrame,
    part: str,
    fields: Typed | None = None,
    problems: Mapping[str, str] | None = None,
    wrong: str = "",
) -> CoolantPage:
    us = setting(shop_of(request), "units") == "us"
    newest = {str(one.body["about"]): one for one in sheet.of_kind("coolant")}
    parts = []
    for question in QUESTIONS:
        about = question.about
        entry = newest.get(about)
        mine = about == part
        filled = suggestions(sheet, about) if entry is None else {}
        shown: Mapping[str, str] = filled
        if mine and fields is not None:
            shown = fields
        elif entry is not None:
            shown = fields_of(question, entry.body["given"])
        answered = None
        if entry is not None:
            answer = kept_answer(entry, us=us)
            limit = entry.body["result"].get("limit_s")
            answered = Answered(
                entry.id,
                str(entry.body["says"]),
                entry.by,
                f"{entry.at:%Y-%m-%d %H:%M}",
                answer,
                big_figures(answer, us=us) if answer is not None else (),
                coolant_address(answer, visitor_of(request).language),
                min(int(limit), 480) if isinstance(limit, int | float) and limit > 0 else 0,
            )
        parts.append(
            Part(
                question,
                shown,
                (problems or {}) if mine else {},
                wrong if mine else "",
                bool(filled) and not (mine and fields is not None),
                mine,
                answered,
                BESIDE[about],
            )
        )
    return CoolantPage(frame, parts, ON_THE_PAGE, SERVICE_DATA, FIGURE_WORDS, us)
