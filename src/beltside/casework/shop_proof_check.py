"""A proof sheet held against the record: is it the one handed out, and what was altered?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.canonical_json import digest_of
from beltside.casework.proof_sheet import (
    ProofSheet,
    differences,
    read_code,
    sheet_from_json,
)
from beltside.casework.shop import Entry, MissingError, Shop, sheet_of
from beltside.casework.shop_forget import is_forgotten
from beltside.casework.shop_proof import proof_of

MOST_NAMED: Final = 200
_OF_TODAY: Final = frozenset({"shop", "shop_address", "technician", "charts", "digest"})
"""What does not stand on the job: the shop's own settings, pictures worked out of the sound."""


@dataclass(frozen=True)
class Altered:
    """A place where a sheet differs: its name, what stands there, what should."""

    where: str
    there: str
    should_be: str

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {"where": self.where, "there": self.there, "should_be": self.should_be}


@dataclass(frozen=True)
class ProofChecked:
    """What came of a check.

    Attributes
    ----------
    genuine
        Whether it is what the record says.
    job_number, made_at
        The job and the moment the sheet speaks of.
    says
        The result, a sentence each.
    altered
        Every place that differs.
    """

    genuine: bool
    job_number: int
    made_at: str
    says: tuple[str, ...]
    altered: tuple[Altered, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "genuine": self.genuine,
            "job": self.job_number,
            "made_at": self.made_at,
            "says": list(self.says),
            "altered": [one.to_json() for one in self.altered],
        }


def check_code(shop: Shop, text: str) -> ProofChecked:
    """Hold what a sheet's QR code says against the record.

    Raises
    ------
    InputError
        When it is no code of ours, or the record has no such job.
    """
    code = read_code(text)
    job = sheet_of(shop, str(code.job_number))
    kept = _handed_out(shop, job.job.id)
    for entry in kept:
        if entry.body["digest"] == code.digest:
            told = _told(shop, entry)
            same = code.made_at == entry.body["made_at"]
            if not same:
                told = (*told, "The time on it is not the one of that sheet.")
            return ProofChecked(same and not told[1:], code.job_number, code.made_at, told)
    for entry in kept:
        if entry.body["made_at"] == code.made_at:
            says = "A sheet of this time was handed out, but its figures were others."
            return ProofChecked(False, code.job_number, code.made_at, (says,))
    again = proof_of(shop, job.job.id, at=_moment(code.made_at))
    if again.digest == code.digest:
        says = "It was not kept as handed out, but its figures are what the record held then."
        return ProofChecked(True, code.job_number, code.made_at, (says,))
    says = "No such sheet was handed out, and the record held other figures at that time."
    return ProofChecked(False, code.job_number, code.made_at, (says,))


def check_sheet(shop: Shop, plain: Mapping[str, Any]) -> ProofChecked:
    """Hold the data of a sheet, as its file carries it, against the record.

    Raises
    ------
    InputError
        When it is no sheet of ours, or the record has no such job.
    """
    sheet = sheet_from_json(plain)
    content = sheet.content()
    stated = str(plain.get("digest") or "")
    digest = digest_of(content)
    says: list[str] = []
    altered: list[Altered] = []
    try:
        shop.record.job(sheet.job_id)
    except MissingError:
        raise MissingError(
            f"The record has no job {sheet.job_number} of this name ({sheet.job_id})",
            instead="the record of the shop that made the sheet",
        ) from None
    kept = _handed_out(shop, sheet.job_id)
    found = next((one for one in kept if one.body["digest"] == digest), None)
    # An altered sheet still has its time, or its digest, or is like one of the sheets.
    near = found or next(
        (
            one
            for one in kept
            if one.body["made_at"] == sheet.made_at or one.body["digest"] == stated
        ),
        None,
    )
    if near is not None:
        should = sheet_from_json(near.body["sheet"]).content()
        altered += _altered(content, should)
        if found is not None:
            says += _told(shop, found)
            if is_forgotten(shop, sheet.job_id):
                altered.clear()
        else:
            says.append("Figures were altered after it was handed out.")
    else:
        should = proof_of(shop, sheet.job_id, at=sheet.time).content()
        altered += _altered(
            {name: one for name, one in content.items() if name not in _OF_TODAY},
            {name: one for name, one in should.items() if name not in _OF_TODAY},
        )
        says.append(
            "No such sheet was handed out; its figures differ from what the record held then."
            if altered
            else "It was not kept as handed out, but its figures are what the record held then."
        )
    if stated != digest:
        altered.append(Altered("digest", stated, digest))
        if found is not None:
            says.append("The digest in the file is not that of its figures.")
    genuine = not altered and (found is None or len(says) == 1)
    return ProofChecked(
        genuine, sheet.job_number, sheet.made_at, tuple(says), tuple(altered[:MOST_NAMED])
    )


def _handed_out(shop: Shop, job_id: str) -> list[Entry]:
    """Every sheet ever handed out on a job, in every version, the newest first."""
    return [one for one in reversed(shop.record.changes(job_id)) if one.kind == "proof"]


def _told(shop: Shop, entry: Entry) -> tuple[str, ...]:
    """The sheet as handed out, and whether the record of that time still says the same."""
    when = entry.created_at.strftime("%Y-%m-%d %H:%M UTC")
    says = [f"This sheet was handed out on {when} by {entry.by}."]
    assert entry.job_id is not None
    if is_forgotten(shop, entry.job_id):
        # The copy has no owner any more: nothing but the digest is left to compare.
        return (f"{says[0]} The owner asked to be forgotten since: only its digest is kept.",)
    kept = sheet_from_json(entry.body["sheet"])
    if kept.digest != entry.body["digest"]:
        says.append("Its copy in the record is damaged: the digest there is another.")
    now = proof_of(shop, entry.job_id, at=kept.time)
    says += [
        f"The record now says otherwise for that time: {one.where} is {one.should_be}, "
        f"on the sheet {one.there}."
        for one in _altered(_lasting(kept), _lasting(now))
    ]
    return tuple(says)


def _lasting(sheet: ProofSheet) -> dict[str, Any]:
    """What must come out again from the entries of that time: no settings, pictures, odds."""
    content = {name: one for name, one in sheet.content().items() if name not in _OF_TODAY}
    content["sections"] = [one for one in content["sections"] if one["key"] != "cause"]
    return content


def _altered(is_there: Any, should_be: Any) -> list[Altered]:
    return [
        Altered(where, _short(there), _short(should))
        for where, there, should in differences(is_there, should_be)
    ]


def _short(value: Any) -> str:
    if value is None:
        return "nothing"
    text = value if isinstance(value, str) else str(value)
    return text if len(text) <= 200 else text[:200] + "..."


def _moment(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{text} is no moment", allowed="a code as it was printed") from error
