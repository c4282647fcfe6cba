"""Agree: options side by side, what could go wrong, the owner's OK signed on the screen."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import FormData

from beltside.base.errors import InputError
from beltside.casework.settings import settings
from beltside.casework.shop import Entry, FieldProblemsError, JobSheet
from beltside.casework.shop_agree import (
    OF_SETTINGS,
    OfferNow,
    agreement_holds,
    make_estimate,
    offer_now,
    owner_agrees,
)
from beltside.casework.shop_offer import (
    MOST_OPTIONS,
    DisposalRow,
    OfferForm,
    OptionRow,
    PriceRow,
    offer_form,
)
from beltside.casework.signature import HEIGHT, WIDTH, path_of, read_strokes
from beltside.web.forms import CheckedForm, text, texts
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.texts import text_
from beltside.web.visitors import RefusedError, visitor_of
from beltside.web.words import RATE_WORDS

router = APIRouter()

LINE_WORDS: Final = (text_("labour"), text_("small material"), text_("travel"))
"""Lines of an offer that are the same in every plan."""
SPARE_ROWS: Final = 2


@dataclass(frozen=True)
class Agreed:
    """An OK as kept.

    `signature` is the path of the picture, "" for none; `holds` whether the offer still reads as
    it did; `newest` whether it is to the newest offer.
    """

    entry: Entry
    signature: str
    holds: bool
    newest: bool


@dataclass(frozen=True)
class AgreePage(Page):
    """The offer as the owner is shown it, and his OK.

    `typed` and `problems` belong to the OK last sent. `width` and `height` are those of the ground
    a signature is drawn on. `planned` is whether there is a plan to price.
    """

    template = "agree.html"
    frame: JobFrame
    offer: OfferNow | None
    agreed: Sequence[Agreed]
    owner: str
    planned: bool
    typed: Mapping[str, str]
    problems: Mapping[str, str]
    width: int
    height: int


@dataclass(frozen=True)
class OfferPage(Page):
    """The estimate being made: options, prices, rates.

    `rows` are the options with spare ones; `problem` is what belongs to no field.
    """

    template = "offer.html"
    frame: JobFrame
    form: OfferForm
    rows: Sequence[OptionRow]
    rate_words: Sequence[tuple[str, str]]
    problems: Mapping[str, str]
    problem: str


def require_prices(request: Request) -> None:
    """Refuse those who see no prices.

    Raises
    ------
    RefusedError
        For a helper.
    """
    if not visitor_of(request).sees_prices:
        raise RefusedError("Prices are not shown here", instead="asking the technician")


@router.get("/job/{number}/agree")
def agree_page(request: Request, number: int) -> HTMLResponse:
    """The newest offer, and who agreed to what."""
    require_prices(request)
    sheet, frame = open_job(request, number)
    return show(request, _page(request, frame, sheet))


@router.post("/job/{number}/agree")
def agree(request: Request, number: int, form: CheckedForm) -> Response:
    """Keep the owner's OK."""
    require_prices(request)
    sheet, frame = open_job(request, number)
    names = ("option", "name", "signature", "yes", "version")
    typed = {name: text(form, name) for name in names}
    problems: dict[str, str] = {}
    if not typed["option"]:
        problems["option"] = "choose what is agreed to"
    if not typed["name"]:
        problems["name"] = "the name of who agrees is needed"
    if not typed["signature"] and not typed["yes"]:
        problems["yes"] = "sign above, or tick this"
    if not problems:
        version = typed["version"]
        try:
            owner_agrees(
                shop_of(request),
                sheet.job.id,
                typed["option"],
                typed["name"],
                signature=typed["signature"],
                version=int(version) if version.isdecimal() else None,
                entry_id=text(form, "entry_id") or None,
            )
        except InputError as error:
            problems["agree"] = str(error)
    if problems:
        return show(request, _page(request, frame, sheet, typed, problems), status=422)
    return go_to(f"/job/{number}/agree", saved="1")


@router.get("/job/{number}/agree/offer")
def offer_page(request: Request, number: int) -> HTMLResponse:
    """The estimate's form, as it was filled in last."""
    require_prices(request)
    sheet, frame = open_job(request, number)
    return show(request, _offer_page(frame, offer_form(shop_of(request), sheet)))


@router.post("/job/{number}/agree/offer")
def make_offer(request: Request, number: int, form: CheckedForm) -> Response:
    """Work the estimate out and keep it; an earlier one stays readable."""
    require_prices(request)
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    held = offer_form(shop, sheet)
    shown = _typed(form, held)
    typed = _given(shown, {name: one.value for name, one in settings(shop).items()})
    problems: Mapping[str, str] = {}
    problem = ""
    if text(form, "do") == "more":
        return show(request, _offer_page(frame, shown, more=True))
    try:
        make_estimate(shop, sheet.job.id, typed)
    except FieldProblemsError as error:
        problems = {
            _field_of(name, shown): said.removeprefix(f"{name}: ")
            for name, said in error.by_field.items()
        }
    except InputError as error:
        problem = str(error)
    else:
        return go_to(f"/job/{number}/agree", saved="1")
    return show(request, _offer_page(frame, shown, problems, problem), status=422)


def _page(
    request: Request,
    frame: JobFrame,
    sheet: JobSheet,
    typed: Mapping[str, str] | None = None,
    problems: Mapping[str, str] | None = None,
) -> AgreePage:
    shop = shop_of(request)
    offer = offer_now(sheet)
    owner = sheet.newest("owner")
    agreed = [
        Agreed(
            one,
            _signature(one),
            agreement_holds(shop, one),
            offer is not None and one.body["estimate_version"] == offer.entry.version,
        )
        for one in sheet.of_kind("approval")[::-1]
    ]
    return AgreePage(
        frame,
        offer,
        agreed,
        str(owner.body.get("name") or "") if owner is not None else "",
        sheet.newest("plan") is not None,
        typed or {},
        problems or {},
        WIDTH,
        HEIGHT,
    )


def _signature(approval: Entry) -> str:
    drawn = str(approval.body.get("signature") or "")
    try:
        return path_of(read_strokes(drawn)) if drawn else ""
    except InputError:
        return ""


def _offer_page(
    frame: JobFrame,
    form: OfferForm,
    problems: Mapping[str, str] | None = None,
    problem: str = "",
    *,
    more: bool = False,
) -> OfferPage:
    spare = SPARE_ROWS if more or len(form.options) < SPARE_ROWS else 1
    empty = [OptionRow("", ())] * spare
    rows = [*form.options, *empty][:MOST_OPTIONS]
    return OfferPage(frame, form, rows, RATE_WORDS, problems or {}, problem)


def _typed(form: FormData, held: OfferForm) -> OfferForm:
    """The form as it was sent: nothing typed is lost."""
    options = []
    for number in range(MOST_OPTIONS):
        repairs = tuple(texts(form, f"o{number}.repairs"))
        name = text(form, f"o{number}.name")
        if repairs or name:
            options.append(OptionRow(name, repairs, tuple(texts(form, f"o{number}.reuse"))))
    known = {one.name: one for one in held.prices}
    prices = []
    for number in range(200):
        name = text(form, f"p{number}.name")
        if name:
            prices.append(
                replace(
                    known.get(name, PriceRow(name)),
                    price=text(form, f"p{number}.price"),
                    source=text(form, f"p{number}.source"),
                )
            )
    return replace(
        held,
        options=options,
        prices=prices or held.prices,
        disposals=[
            DisposalRow(one.name, one.when, text(form, f"d.{one.when}")) for one in held.disposals
        ],
        rates={name: text(form, name) for name in OF_SETTINGS},
        coolant_litres=text(form, "coolant_litres"),
        coolant_source=text(form, "coolant_source"),
    )


def _given(shown: OfferForm, kept: Mapping[str, Any]) -> dict[str, Any]:
    """What `make_estimate` takes; a rate that is as in the settings overrules nothing."""
    words = dict(shown.repairs)
    given: dict[str, Any] = {
        name: "" if value == str(kept[name]) else _amount(value)
        for name, value in shown.rates.items()
    }
    given["option"] = [
        {
            "name": one.name or " + ".join(words.get(name, name) for name in one.repairs),
            "repairs": list(one.repairs),
            "reuse": list(one.reuse),
        }
        for one in shown.options
    ]
    given["price"] = [
        {"name": one.name, "price": _amount(one.price), "source": one.source}
        for one in shown.prices
        if one.price
    ]
    given["disposal"] = [
        {"name": one.name, "price": _amount(one.price), "when": one.when}
        for one in shown.disposals
        if one.price
    ]
    given["coolant_litres"] = shown.coolant_litres
    given["coolant_source"] = shown.coolant_source if shown.coolant_litres else ""
    return given


def _amount(typed: str) -> str:
    """An amount with a decimal comma as one with a point."""
    return typed.replace(",", ".") if typed.count(",") == 1 and "." not in typed else typed


_PLACE: Final = re.compile(r"(option|price|disposal) (\d+)(?:, (\w+))?")


def _field_of(name: str, shown: OfferForm) -> str:
    """The form's field for a key path of the price table, whose members are counted from 1."""
    found = _PLACE.match(name)
    if found is None:
        return name
    kind, at, key = found[1], int(found[2]) - 1, found[3] or "name"
    if kind == "option":
        return f"o{at}.{key}"
    if kind == "price":
        priced = [place for place, one in enumerate(shown.prices) if one.price]
        return f"p{priced[at]}.{key}" if at < len(priced) else name
    disposed = [one for one in shown.disposals if one.price]
    return f"d.{disposed[at].when}" if at < len(disposed) else name
