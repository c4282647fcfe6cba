"""Phones: trusting this server, pairing, the list of paired phones, signing out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from beltside.base.errors import InputError
from beltside.casework.shop_access import (
    CODE_MINUTES,
    Access,
    NewCode,
    end_access,
    links,
    make_code,
    pair,
    pairing_done,
    phones,
    sign_out,
)
from beltside.web.doorkeeper import set_cookie
from beltside.web.forms import CheckedForm, text
from beltside.web.pages import Page, go_to, shop_of, show
from beltside.web.phones_door import PhonesDoor
from beltside.web.texts import text_
from beltside.web.visitors import SECURE_COOKIE, RefusedError, visitor_of

router = APIRouter()

ROLES: Final = (
    ("technician", text_("Technician: everything")),
    ("helper", text_("Helper: no prices, takes nothing off, no settings")),
)
ROLE_WORDS: Final[Mapping[str, str]] = {
    "technician": text_("technician"),
    "helper": text_("helper"),
    "owner": text_("owner"),
}
STATE_WORDS: Final[Mapping[str, str]] = {
    "holds": text_("may come in"),
    "over": text_("over: its time has run out"),
    "revoked": text_("locked out"),
    "signed out": text_("signed out"),
}
LINK_WORDS: Final[Mapping[str, str]] = {
    "holds": text_("leads to the sheet"),
    "over": text_("over: its time has run out"),
    "revoked": text_("taken back"),
}


@dataclass(frozen=True)
class Listed:
    """A phone or link on the list: the record's row, its state, and its job's number if it has one.

    `state` is a key of `STATE_WORDS`.
    """

    access: Access
    state: str
    job_number: int | None = None


@dataclass(frozen=True)
class Trust:
    """What a phone is shown to trust: addresses, QR code, name and fingerprint of the authority.

    `reached` is whether the computer has an address on a local network at all.
    """

    address: str
    qr: str
    authority: str
    fingerprint: str
    until: datetime
    others: Sequence[str]
    reached: bool


@dataclass(frozen=True)
class PhonesPage(Page):
    """Letting a phone in, and those that were.

    `trust` is None while the door for phones is shut. `typed` and `problem` belong to the form for
    a new phone.
    """

    template = "phones.html"
    trust: Trust | None
    phones: Sequence[Listed]
    links: Sequence[Listed]
    roles: Sequence[tuple[str, str]]
    role_words: Mapping[str, str]
    state_words: Mapping[str, str]
    link_words: Mapping[str, str]
    typed: Mapping[str, str]
    problem: str


@dataclass(frozen=True)
class PhoneCodePage(Page):
    """A one-time code, as a QR code and to be typed. It stands on this page and nowhere else."""

    template = "phone_code.html"
    code: NewCode
    address: str
    qr: str
    minutes: int
    role_words: Mapping[str, str]


@dataclass(frozen=True)
class TrustPage(Page):
    """How a phone learns to trust this server; for a phone that is not paired yet.

    `trust` is None while the door for phones is shut.
    """

    template = "trust.html"
    trust: Trust | None


@dataclass(frozen=True)
class PairPage(Page):
    """Where a phone gives its code; of a paired one, how it is paired and how it signs out."""

    template = "pair.html"
    typed: str
    problem: str
    role_words: Mapping[str, str]


@router.get("/phones")
def phones_page(request: Request) -> HTMLResponse:
    """Phones and links."""
    return show(request, _page(request))


@router.post("/phones/code")
def new_code(request: Request, form: CheckedForm) -> Response:
    """A code to pair a phone with."""
    door = _door(request)
    typed = {"name": text(form, "name"), "role": text(form, "role")}
    try:
        if door is None:
            raise InputError("No phone comes in now", instead="`beltside serve --phones`")
        made = make_code(shop_of(request), typed["name"], typed["role"])
    except InputError as error:
        return show(request, _page(request, typed, str(error)), status=422)
    from beltside.proof.qr import qr_address

    address = f"{door.address}/pair/{made.code}"
    page = PhoneCodePage(made, address, qr_address(address), CODE_MINUTES, ROLE_WORDS)
    return show(request, page)


@router.get("/phones/code/{code_id}")
def code_used(request: Request, code_id: str) -> JSONResponse:
    """What became of a code; its page asks."""
    return JSONResponse({"state": pairing_done(shop_of(request), code_id)})


@router.post("/phones/{access_id}/end")
def end(request: Request, access_id: str, form: CheckedForm) -> Response:
    """Lock a phone out, or take a link back; it holds from the next request on."""
    shop = shop_of(request)
    ended = end_access(shop, access_id)
    if ended.job_id is not None and text(form, "from") == "job":
        return go_to(f"/job/{shop.record.job(ended.job_id).number}/link", saved="1")
    return go_to("/phones", saved="1")


@router.get("/trust")
def trust_page(request: Request) -> HTMLResponse:
    """How to trust this server."""
    return show(request, TrustPage(_trust(request)))


@router.get("/trust/authority.crt")
def authority(request: Request) -> Response:
    """The certificate to be trusted, in the form phones take in (DER)."""
    door = _door(request)
    if door is None:
        raise InputError("There is no door for phones", instead="`beltside serve --phones`")
    return Response(
        door.authority.der,
        media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="beltside-authority.crt"'},
    )


@router.get("/pair")
def pair_page(request: Request) -> HTMLResponse:
    """Type a code."""
    return show(request, PairPage("", "", ROLE_WORDS))


@router.get("/pair/{code}")
def pair_page_with_code(request: Request, code: str) -> HTMLResponse:
    """As the QR code opens it. Looking at it does not use the code up: previews may."""
    return show(request, PairPage(code[:20], "", ROLE_WORDS))


@router.post("/pair")
def pair_now(request: Request, form: CheckedForm) -> Response:
    """Use the code up and begin a session under a key that nobody had before."""
    shop = request.app.state.shop
    visitor = visitor_of(request)
    if visitor.here:
        raise RefusedError("This computer needs no pairing", instead="the phone to be paired")
    typed = text(form, "code")
    try:
        token, phone = pair(shop, typed)
    except InputError as error:
        return show(request, PairPage(typed[:20], str(error), ROLE_WORDS), status=422)
    if visitor.phone:
        sign_out(shop, visitor.key)
    answer = go_to("/")
    left_s = int((phone.expires_at - phone.made_at).total_seconds())
    answer.headers["Set-Cookie"] = set_cookie(SECURE_COOKIE, token, secure=True, max_age_s=left_s)
    return answer


@router.post("/sign-out")
def sign_out_now(request: Request, form: CheckedForm) -> Response:
    """End this phone's session. Recordings that still wait in its browser stay there."""
    del form
    visitor = visitor_of(request)
    if visitor.here:
        raise RefusedError("This computer is not signed in", instead="ending Beltside")
    sign_out(request.app.state.shop, visitor.key)
    answer = go_to("/pair")
    answer.headers["Set-Cookie"] = set_cookie(SECURE_COOKIE, "", secure=True, max_age_s=0)
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


def _door(request: Request) -> PhonesDoor | None:
    door: PhonesDoor | None = request.app.state.phones
    return door


def _trust(request: Request) -> Trust | None:
    from beltside.proof.qr import qr_address

    door = _door(request)
    if door is None:
        return None
    address = f"{door.address}/trust"
    others = [
        f"https://{host}:{door.port}"
        for host in door.certificate.names
        if host not in ("localhost", "127.0.0.1") and not address.startswith(f"https://{host}:")
    ]
    return Trust(
        address,
        qr_address(address),
        door.authority.name,
        door.authority.fingerprint,
        door.authority.certificate.not_valid_after_utc,
        others,
        bool(door.addresses),
    )


def listed(request: Request, access: Access) -> Listed:
    """A phone or link as lists show it."""
    now = datetime.now(access.made_at.tzinfo)
    state = access.how_ended or ("holds" if access.holds_at(now) else "over")
    number = None
    if access.job_id is not None:
        number = shop_of(request).record.job(access.job_id).number
    return Listed(access, state, number)


def _page(
    request: Request, typed: Mapping[str, str] | None = None, problem: str = ""
) -> PhonesPage:
    shop = shop_of(request)
    return PhonesPage(
        _trust(request),
        [listed(request, one) for one in phones(shop)],
        [listed(request, one) for one in links(shop)],
        ROLES,
        ROLE_WORDS,
        STATE_WORDS,
        LINK_WORDS,
        typed or {"name": "", "role": "technician"},
        problem,
    )
