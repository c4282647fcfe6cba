"""Jobs as a table for the bookkeeper: CSV after RFC 4180 (2005).

A cell that a spreadsheet would take for a formula gets an apostrophe in front (OWASP, CSV
injection; from memory); the table then shows the text as it is.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.shop import JobSheet, Shop

COLUMNS: Final = (
    "job",
    "opened",
    "closed",
    "owner",
    "car",
    "plate",
    "vin",
    "complaint",
    "cause",
    "cured",
    "came_back",
    "minutes_worked",
    "parts_charged",
    "agreed",
    "charged",
    "currency",
)
MOST_JOBS: Final = 1_000_000
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def jobs_csv(
    shop: Shop,
    *,
    since: date | None = None,
    until: date | None = None,
    closed_only: bool = False,
) -> str:
    """The table: a line of names, a line for each job, by number; lines end with CR LF.

    Parameters
    ----------
    since, until
        Only jobs closed (or, if open, opened) on these days, both included.
    closed_only
        Whether open jobs are left out.

    Raises
    ------
    InputError
        When `since` is after `until`.
    """
    if since is not None and until is not None and since > until:
        raise InputError(f"from {since} until {until}", allowed="a first day and a later one")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for sheet in _sheets(shop):
        job = sheet.job
        if closed_only and job.closed_at is None:
            continue
        day = (job.closed_at or job.created_at).date()
        if (since is not None and day < since) or (until is not None and day > until):
            continue
        row = _row(sheet)
        writer.writerow([_safe(row[name]) for name in COLUMNS])
    return out.getvalue()


def _sheets(shop: Shop) -> Iterator[JobSheet]:
    for job in sorted(shop.record.jobs(limit=MOST_JOBS), key=lambda one: one.number):
        yield shop.record.sheet(job.id)


def _row(sheet: JobSheet) -> dict[str, str]:
    job = sheet.job
    car, owner, outcome, complaint = (
        _body(sheet, kind) for kind in ("car", "owner", "outcome", "complaint")
    )
    approval = sheet.newest("approval")
    agreement = approval.body.get("agreement") if approval is not None else None
    agreement = agreement if isinstance(agreement, Mapping) else {}
    option = agreement.get("option")
    minutes = [one.body.get("minutes") for one in sheet.of_kind("step-tick")]
    timed = [float(one) for one in minutes if one is not None]
    return {
        "job": str(job.number),
        "opened": job.created_at.date().isoformat(),
        "closed": job.closed_at.date().isoformat() if job.closed_at else "",
        "owner": str(owner.get("name") or ""),
        "car": str(car.get("name") or ""),
        "plate": str(car.get("plate") or ""),
        "vin": str(car.get("vin") or ""),
        "complaint": str(complaint.get("words") or ""),
        "cause": str(outcome.get("cause") or ""),
        "cured": _yes_no(outcome.get("cured")),
        "came_back": _yes_no(outcome.get("came_back")),
        "minutes_worked": f"{sum(timed):g}" if timed else "",
        "parts_charged": _sum(one.body.get("price") for one in sheet.of_kind("part-used")),
        "agreed": str(option.get("total") or "") if isinstance(option, Mapping) else "",
        "charged": str(outcome.get("charged") or ""),
        "currency": str(outcome.get("currency") or agreement.get("currency") or ""),
    }


def _sum(prices: Iterator[Any]) -> str:
    known = [Decimal(one) for one in prices if isinstance(one, str)]
    return str(sum(known, Decimal(0))) if known else ""


def _safe(text: str) -> str:
    """A cell that no spreadsheet takes for a formula; plain numbers stay numbers.

    >>> _safe("=1+1"), _safe("-4.10"), _safe("Vos"), _safe("-cmd")
    ("'=1+1", '-4.10', 'Vos', "'-cmd")
    """
    if not text.startswith(_FORMULA):
        return text
    try:
        number = Decimal(text)
    except InvalidOperation:
        return "'" + text
    return text if number.is_finite() and text.isascii() and text == text.strip() else "'" + text


def _yes_no(value: Any) -> str:
    return {True: "yes", False: "no"}.get(value, "") if isinstance(value, bool) else ""


def _body(sheet: JobSheet, kind: str) -> Mapping[str, Any]:
    entry = sheet.newest(kind)
    return {} if entry is None else entry.body
