"""An owner's link: made by the technician, and the one sheet it opens."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from beltside.base.errors import InputError
from beltside.casework.shop_access import LINK_DAYS, Access, linked_sheet, links, make_link
from beltside.casework.shop_proof import clips_of, handed_out
from beltside.web.forms import CheckedForm, text
from beltside.web.job_frame import JobFrame, open_job
from beltside.web.pages import Page, shop_of, show
from beltside.web.routes.phones import LINK_WORDS, Listed, listed
from beltside.web.visitors import visitor_of

router = APIRouter()

# The sheet is a file of its own with its own styles and its own switch between two sounds. It is
# shown as if it came from nowhere: it has no cookies, reaches no page of ours and loads nothing.
SHEET_POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "img-src data:",
        "media-src data:",
        "style-src 'unsafe-inline'",
        "script-src 'unsafe-inline'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
        "object-src 'none'",
        "sandbox allow-scripts",
    )
)
_PRIVATE: Final[Mapping[str, str]] = {"Referrer-Policy": "no-referrer"}


@dataclass(frozen=True)
class OwnerLinkPage(Page):
    """Make a link for the owner; those made so far.

    `handed` is when the sheet was handed out, "" when it was not; `open_for_phones` whether the
    link can be reached at all now. `address` and `qr` belong to the link just made: they stand
    here once.
    """

    template = "owner_link.html"
    frame: JobFrame
    handed: str
    open_for_phones: bool
    days: Sequence[int]
    address: str
    qr: str
    made: Access | None
    links: Sequence[Listed]
    link_words: Mapping[str, str]
    problem: str


@dataclass(frozen=True)
class OwnerSheetPage(Page):
    """What the owner sees first: the outcome, its figures, and the way to the whole sheet.

    `big` are number, unit, name and range.
    """

    template = "owner_sheet.html"
    headline: str
    car: str
    shop_name: str
    big: Sequence[tuple[str, str, str, str]]
    not_tested: Sequence[str]
    cautions: Sequence[str]
    handed: str
    until: str
    token: str


@router.get("/job/{number}/link")
def link_page(request: Request, number: int) -> HTMLResponse:
    """Links of a job."""
    return show(request, _page(request, number))


@router.post("/job/{number}/link")
def new_link(request: Request, number: int, form: CheckedForm) -> Response:
    """A new link; its address is shown once."""
    from beltside.proof.qr import qr_address

    sheet, _ = open_job(request, number)
    days = text(form, "days")
    door = request.app.state.phones
    try:
        if door is None:
            raise InputError("No link leads here now", instead="`beltside serve --phones`")
        made = make_link(shop_of(request), sheet.job.id, int(days) if days.isdecimal() else 0)
    except InputError as error:
        return show(request, _page(request, number, problem=str(error)), status=422)
    address = f"{door.address}/sheet/{made.token}"
    return show(request, _page(request, number, address, qr_address(address), made.access))


@router.get("/sheet/{token}")
def owner_page(request: Request, token: str) -> Response:
    """The sheet at a glance."""
    from beltside.proof.sheet_words import big_figures

    access, sheet = linked_sheet(request.app.state.shop, token)
    answer = show(
        request,
        OwnerSheetPage(
            sheet.headline,
            sheet.car,
            sheet.shop,
            big_figures(sheet, us=visitor_of(request).us_units),
            sheet.not_tested,
            sheet.cautions,
            sheet.time.strftime("%Y-%m-%d"),
            access.expires_at.strftime("%Y-%m-%d %H:%M UTC"),
            token,
        ),
    )
    answer.headers.update(_PRIVATE)
    return answer


@router.get("/sheet/{token}/sheet.html")
def owner_html(request: Request, token: str) -> Response:
    """The whole sheet, with its sounds."""
    from beltside.proof.sheet_html import proof_html

    shop = request.app.state.shop
    _, sheet = linked_sheet(shop, token)
    html = proof_html(sheet, clips_of(shop, sheet, wait=False), us=visitor_of(request).us_units)
    return HTMLResponse(html, headers={**_PRIVATE, "Content-Security-Policy": SHEET_POLICY})


@router.get("/sheet/{token}/sheet.pdf")
def owner_pdf(request: Request, token: str) -> Response:
    """The whole sheet, on paper."""
    from beltside.proof.sheet_pdf import proof_pdf

    _, sheet = linked_sheet(request.app.state.shop, token)
    return Response(
        proof_pdf(sheet, us=visitor_of(request).us_units),
        media_type="application/pdf",
        headers={**_PRIVATE, "Content-Disposition": 'attachment; filename="proof-sheet.pdf"'},
    )


def _page(
    request: Request,
    number: int,
    address: str = "",
    qr: str = "",
    made: Access | None = None,
    problem: str = "",
) -> OwnerLinkPage:
    sheet, frame = open_job(request, number)
    shop = shop_of(request)
    kept = handed_out(shop, sheet.job.id)
    return OwnerLinkPage(
        frame,
        "" if kept is None else kept[1].time.strftime("%Y-%m-%d %H:%M UTC"),
        request.app.state.phones is not None,
        LINK_DAYS,
        address,
        qr,
        made,
        [listed(request, one) for one in links(shop, sheet.job.id)],
        LINK_WORDS,
        problem,
    )
