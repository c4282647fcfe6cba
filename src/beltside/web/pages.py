"""What every page has: its declared fields, the frame around it, and how it becomes HTML."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cache
from importlib.resources import files
from typing import Any, ClassVar, Final

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context, select_autoescape
from jinja2.runtime import Context

from beltside.base.errors import BeltsideError
from beltside.casework.shop import Shop
from beltside.casework.shop_access import for_helper
from beltside.web.changed_words import field_words
from beltside.web.texts import LANGUAGES, said, translator
from beltside.web.texts.figures import field_figure, figure
from beltside.web.visitors import Visitor, form_token, visitor_of

FRAME_NAMES: Final = frozenset(
    {"t", "page", "visitor", "form_token", "static", "language", "languages", "path", "saved"}
)
"""What the frame gives every template besides the page's own fields."""


@dataclass(frozen=True)
class Page:
    """One page: a template and the fields it may use, each under its own name.

    A test compares what a template asks for with what its page declares.
    """

    template: ClassVar[str] = ""


@cache
def templates() -> Environment:
    """The templates; a name that is not given is an error and never an empty place."""
    environment = Environment(
        loader=PackageLoader("beltside.web", "templates"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["static"] = static_address
    environment.filters["said"] = _in_language
    environment.filters["figure"] = _figure
    environment.filters["in_field"] = _in_field
    environment.filters["field"] = _field
    return environment


@pass_context
def _field(context: Context, field: str) -> str:
    """The name of a field of the record in words, with its unit, in the language of the page."""
    return field_words(field, lambda words: said(words, context["language"]))


@pass_context
def _in_language(context: Context, sentence: str) -> str:
    """A sentence of a computing room in the language of the page; nothing stays nothing."""
    return said(sentence, context["language"]) if sentence else ""


@pass_context
def _figure(context: Context, words: object, *values: object) -> str:
    """A number as the language of the page writes it; with values, those in a "%.1f" of theirs."""
    return figure(str(words) % values if values else str(words), context["language"])


@pass_context
def _in_field(context: Context, value: object) -> str:
    """What stands in a field for a number, as the language of the page writes it."""
    return field_figure(str(value), context["language"])


@cache
def static_address(name: str) -> str:
    """The address of a file of ours; it changes with its bytes, so that it may be kept."""
    data = files("beltside.web").joinpath("static", *name.split("/")).read_bytes()
    return f"/static/{name}?{hashlib.sha256(data).hexdigest()[:12]}"


def show(request: Request, page: Page, *, status: int = 200) -> HTMLResponse:
    """The page as HTML."""
    visitor = visitor_of(request)
    names = {field.name: getattr(page, field.name) for field in fields(page)}
    html = (
        templates()
        .get_template(page.template)
        .render(
            **names,
            page=page,
            t=translator(visitor.language),
            visitor=visitor,
            language=visitor.language,
            languages=LANGUAGES,
            form_token=form_token(request),
            path=request.url.path,
            saved=request.query_params.get("saved", ""),
        )
    )
    return HTMLResponse(html, status_code=status)


def go_to(address: str, *, saved: str = "") -> RedirectResponse:
    """After a form: see the page it leads to, so that going back does not send it again."""
    if saved:
        address += ("&" if "?" in address else "?") + f"saved={saved}"
    return RedirectResponse(address, status_code=303)


def shop_of(request: Request) -> Shop:
    """The open record, in the hand of who asks; a helper's holds no prices."""
    shop: Shop = request.app.state.shop
    visitor = visitor_of(request)
    shop = shop.as_writer(visitor.name or shop.by)
    return shop if visitor.sees_prices else for_helper(shop)


@dataclass(frozen=True)
class ProblemPage(Page):
    """What went wrong, in the words of the error, and what would work.

    `typed` holds what was typed into the form it went wrong with, so that it is not lost.
    """

    template = "problem.html"
    title: str
    given: str
    allowed: str
    instead: str
    back: str
    typed: Mapping[str, str] = field(default_factory=dict)


def problem_page(
    title: str, error: BeltsideError, back: str = "/", typed: Mapping[str, str] | None = None
) -> ProblemPage:
    """The page that tells an error, with what was typed."""
    return ProblemPage(title, error.given, error.allowed, error.instead, back, typed or {})


def plain_fields(form: Mapping[str, Any]) -> dict[str, str]:
    """The text fields of a form, without the frame's own."""
    return {
        name: value
        for name, value in form.items()
        if isinstance(value, str) and not name.startswith("_")
    }


__all__ = ["Page", "Visitor", "go_to", "problem_page", "shop_of", "show"]
