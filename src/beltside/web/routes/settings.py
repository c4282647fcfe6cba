"""Settings: who works, language and units, money, own values, and what closed jobs taught."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.learned import LearnedResult
from beltside.casework.learned import reset as forget_learned
from beltside.casework.learned import show as show_learned
from beltside.casework.own_values import OwnValues, own_values, save_own_text, save_own_values
from beltside.casework.settings import (
    LANGUAGES,
    SettingNow,
    save_settings,
    setting_history,
    settings,
)
from beltside.casework.shop import Entry, FieldProblemsError
from beltside.web.forms import CheckedForm, text
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.texts import LANGUAGES as LANGUAGE_NAMES
from beltside.web.texts import text_
from beltside.web.visitors import RefusedError, visitor_of
from beltside.web.words import RATE_WORDS

router = APIRouter()

WORDS: Final = (
    ("technician", text_("Who is working")),
    ("shop", text_("Name of the shop, as on the proof sheet")),
    ("address", text_("Address and telephone of the shop")),
)
UNITS: Final = (("metric", text_("Metric")), ("us", text_("US customary")))
MOST_MOVED: Final = 12
"""So many values that moved most are shown."""


@dataclass(frozen=True)
class SettingsPage(Page):
    """All settings.

    Attributes
    ----------
    now
        Each setting by its name.
    value
        What its field shows: as typed last, else as it holds.
    earlier
        Names and earlier versions of settings that were changed.
    own
        Values of one's own over the shipped ones, as typed last where they were.
    learned
        What closed jobs taught; None when that can't be read: `learned_problem` says why.
    problems
        What is wrong beside each field.
    """

    template = "settings.html"
    now: Mapping[str, SettingNow]
    value: Mapping[str, str]
    earlier: Sequence[tuple[str, Sequence[Entry]]]
    words: Sequence[tuple[str, str]]
    money: Sequence[tuple[str, str]]
    units: Sequence[tuple[str, str]]
    language_choices: Sequence[tuple[str, str]]
    own: OwnValues
    typed: Mapping[str, str]
    learned: LearnedResult | None
    learned_problem: str
    most_moved: int
    problems: Mapping[str, str]


@dataclass(frozen=True)
class ForgetPage(Page):
    """The question before what closed jobs taught is set aside."""

    template = "forget_learned.html"
    jobs: int


@router.get("/settings")
def settings_page(request: Request) -> HTMLResponse:
    """All settings as they hold."""
    _require(request)
    return show(request, _page(request))


@router.post("/settings")
def keep_settings(request: Request, form: CheckedForm) -> Response:
    """Keep settings; one that is off is said beside it, the others are kept."""
    _require(request)
    names = [name for name in settings(shop_of(request)) if name in form]
    typed: dict[str, Any] = {name: text(form, name) for name in names}
    try:
        save_settings(shop_of(request), typed)
    except FieldProblemsError as error:
        return show(request, _page(request, typed, error.by_field), status=422)
    return go_to("/settings", saved="1")


@router.post("/settings/own")
def keep_own(request: Request, form: CheckedForm) -> Response:
    """Keep own values typed in rows."""
    _require(request)
    typed = {
        name: str(value)
        for name, value in form.items()
        if isinstance(value, str) and name.startswith(("repair.", "check."))
    }
    try:
        save_own_values(shop_of(request).folder, typed)
    except FieldProblemsError as error:
        return show(request, _page(request, typed, error.by_field), status=422)
    except InputError as error:
        return show(request, _page(request, typed, {"own": str(error)}), status=422)
    return go_to("/settings", saved="1")


@router.post("/settings/own-text")
def keep_text(request: Request, form: CheckedForm) -> Response:
    """Keep one of the two texts of own values."""
    _require(request)
    name, said = text(form, "file"), str(form.get("text") or "").replace("\r\n", "\n")
    try:
        save_own_text(shop_of(request).folder, name, said)
    except InputError as error:
        page = _page(request, {}, {name: str(error)})
        shown = replace(page, own=replace(page.own, texts={**page.own.texts, name: said}))
        return show(request, shown, status=422)
    return go_to("/settings", saved="1")


@router.get("/settings/forget")
def forget_page(request: Request) -> HTMLResponse:
    """Whether what closed jobs taught is really to be set aside."""
    _require(request)
    return show(request, ForgetPage(show_learned(folder=shop_of(request).folder).jobs))


@router.post("/settings/forget")
def forget(request: Request, form: CheckedForm) -> Response:
    """Set it aside; the file is kept beside under another name."""
    _require(request)
    if text(form, "sure") == "yes":
        forget_learned(shop_of(request).folder)
    return go_to("/settings", saved="1" if text(form, "sure") == "yes" else "")


def _require(request: Request) -> None:
    if visitor_of(request).role != "technician":
        raise RefusedError("Settings are the technician's", instead="asking him")


def _page(
    request: Request,
    typed: Mapping[str, str] | None = None,
    problems: Mapping[str, str] | None = None,
) -> SettingsPage:
    shop = shop_of(request)
    now = settings(shop)
    typed = typed or {}
    learned, why_not = None, ""
    try:
        learned = show_learned(folder=shop.folder)
    except BeltsideError as error:
        why_not = str(error)
    earlier = [
        (name, setting_history(shop, name)[:-1][::-1])
        for name, one in now.items()
        if one.version > 1
    ]
    return SettingsPage(
        now,
        {
            name: typed.get(name, "" if one.value is None else str(one.value))
            for name, one in now.items()
        },
        earlier,
        WORDS,
        RATE_WORDS,
        UNITS,
        [(name, LANGUAGE_NAMES[name]) for name in LANGUAGES],
        own_values(shop.folder),
        typed,
        learned,
        why_not,
        MOST_MOVED,
        problems or {},
    )
