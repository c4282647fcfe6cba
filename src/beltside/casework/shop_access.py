"""Who gets in from another device: pairing phones, their list, owners' links, a helper's record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final

from beltside.base.errors import InputError
from beltside.casework.shop import MissingError, Shop
from beltside.jobs.access import Access as Access
from beltside.jobs.access import AccessBook, new_code, new_token, plain_code
from beltside.jobs.without_prices import HelperError as HelperError
from beltside.jobs.without_prices import WithoutPrices

if TYPE_CHECKING:
    from beltside.casework.proof_sheet import ProofSheet

ROLES: Final = ("technician", "helper")
CODE_MINUTES: Final = 5
PHONE_DAYS: Final = 30
"""A paired phone is paired anew after this, used or not."""
LINK_DAYS: Final = (1, 7, 30)
MOST_NAME: Final = 60

Clock = Callable[[], datetime]


def _utc_now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True)
class NewCode:
    """A code to pair a phone with; it is shown once and nowhere kept."""

    code: str
    access: Access

    @property
    def spaced(self) -> str:
        """The code in two groups, as it is read aloud and typed."""
        return f"{self.code[:4]}-{self.code[4:]}"


@dataclass(frozen=True)
class NewLink:
    """An owner's link; its token is shown once and nowhere kept."""

    token: str
    access: Access


def access_book(shop: Shop, *, now: Clock = _utc_now) -> AccessBook:
    """The ways into a shop's record."""
    return AccessBook(shop.record.database, now=now)


def for_helper(shop: Shop) -> Shop:
    """The shop as a helper has it: prices neither come out nor go in, nothing is taken off."""
    return replace(shop, record=WithoutPrices.of(shop.record))


def make_code(shop: Shop, name: str, role: str, *, now: Clock = _utc_now) -> NewCode:
    """A one-time code to pair a phone with; it holds five minutes.

    Raises
    ------
    InputError
        When the name is empty or too long, or there is no such role.
    """
    name = " ".join(name.split())
    if not name or len(name) > MOST_NAME or not name.isprintable():
        raise InputError(
            "The phone needs a name; it stands beside what is written with it",
            allowed=f"1 to {MOST_NAME} characters",
            instead="whose phone it is",
        )
    if role not in ROLES:
        raise InputError(f"There is no role {role!r}", allowed=" or ".join(ROLES))
    code = new_code()
    access = access_book(shop, now=now).make(
        "code",
        code,
        role=role,
        name=name,
        by=shop.by,
        holds_for=timedelta(minutes=CODE_MINUTES),
    )
    return NewCode(code, access)


def pair(shop: Shop, typed_code: str, *, now: Clock = _utc_now) -> tuple[str, Access]:
    """Use a code up: the token of the phone's session, and the phone.

    Raises
    ------
    InputError
        When the code is unknown, used or too old; which of these is not said.
    """
    token = new_token()
    phone = access_book(shop, now=now).exchange(
        plain_code(typed_code), token, holds_for=timedelta(days=PHONE_DAYS)
    )
    if phone is None:
        raise InputError(
            "This code does not pair a phone",
            allowed=f"a code not older than {CODE_MINUTES} minutes, once",
            instead="a new one from the page Phones on the computer",
        )
    return token, phone


def phone_of(shop: Shop, token: str, *, now: Clock = _utc_now) -> Access | None:
    """The paired phone that holds a token; None when it may not come in."""
    return access_book(shop, now=now).holder("phone", token)


def phones(shop: Shop, *, now: Clock = _utc_now) -> list[Access]:
    """All paired phones, the newest first."""
    return access_book(shop, now=now).listed("phone")


def pairing_done(shop: Shop, code_id: str, *, now: Clock = _utc_now) -> str:
    """What became of a code: "open", "used" or "over"."""
    for code in access_book(shop, now=now).listed("code"):
        if code.id == code_id:
            if code.how_ended == "used":
                return "used"
            return "open" if code.holds_at(now()) else "over"
    return "over"


def access_to_json(access: Access, *, now: Clock = _utc_now) -> dict[str, Any]:
    """A phone or link as plain values; times ISO 8601. What it holds of its secret stays out."""
    state = access.how_ended or ("holds" if access.holds_at(now()) else "over")
    return {
        "id": access.id,
        "name": access.name,
        "role": access.role,
        "state": state,
        "made_at": access.made_at.isoformat(),
        "made_by": access.made_by,
        "expires_at": access.expires_at.isoformat(),
        "seen_at": access.seen_at.isoformat() if access.seen_at else None,
        "ended_at": access.ended_at.isoformat() if access.ended_at else None,
        "job": access.job_id,
    }


def end_access(shop: Shop, access_id: str, *, now: Clock = _utc_now) -> Access:
    """Let a phone, code or link in no more, from its next request on."""
    return access_book(shop, now=now).end(access_id, "revoked")


def sign_out(shop: Shop, token: str, *, now: Clock = _utc_now) -> None:
    """End a phone's session at its own wish; unknown ones are let be."""
    book = access_book(shop, now=now)
    phone = book.holder("phone", token)
    if phone is not None:
        book.end(phone.id, "signed out")


def end_all_access(shop: Shop, *, now: Clock = _utc_now) -> int:
    """End all phones, codes and links, as after a backup was restored; how many there were."""
    return access_book(shop, now=now).end_all()


def make_link(shop: Shop, job_id: str, days: int, *, now: Clock = _utc_now) -> NewLink:
    """A link for the owner to the sheet handed out last, and to nothing else.

    Raises
    ------
    InputError
        When no sheet was handed out, or for another number of days.
    """
    if days not in LINK_DAYS:
        raise InputError(
            f"A link does not hold {days} days", allowed=", ".join(map(str, LINK_DAYS))
        )
    sheet = shop.record.sheet(job_id)
    handed = sheet.newest("proof")
    if handed is None:
        raise InputError("No sheet of this job was handed out yet", instead="handing it out first")
    owner = sheet.newest("owner")
    token = new_token()
    access = access_book(shop, now=now).make(
        "link",
        token,
        role="owner",
        name=str(owner.body.get("name") or "") if owner is not None else "",
        by=shop.by,
        holds_for=timedelta(days=days),
        job_id=job_id,
        entry_id=handed.id,
    )
    return NewLink(token, access)


def links(shop: Shop, job_id: str | None = None, *, now: Clock = _utc_now) -> list[Access]:
    """Owners' links, of one job or of all, the newest first."""
    return access_book(shop, now=now).listed("link", job_id=job_id)


def linked_sheet(shop: Shop, token: str, *, now: Clock = _utc_now) -> tuple[Access, ProofSheet]:
    """The one sheet that a link shows.

    Raises
    ------
    MissingError
        When the link is unknown, over or revoked, or its sheet was taken off.
    """
    from beltside.casework.proof_sheet import sheet_from_json

    access = access_book(shop, now=now).holder("link", token)
    if access is None or access.entry_id is None:
        raise MissingError(
            "This link leads to no sheet, or no more", instead="asking the workshop for a new one"
        )
    entry = shop.record.entry(access.entry_id)
    if entry.removed:
        raise MissingError("The sheet was taken back", instead="asking the workshop")
    return access, sheet_from_json(entry.body["sheet"])
