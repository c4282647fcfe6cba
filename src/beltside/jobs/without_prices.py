"""The record as a helper has it: no price comes out, none goes in, nothing is taken off."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.jobs.entries import Body, Change, Clash, Entry, JobSheet
from beltside.jobs.record import Record

HIDDEN: Final[Mapping[str, Mapping[str, Any]]] = {
    "part-used": {"price": None},
    "outcome": {"charged": None, "currency": ""},
    "estimate": {"offer": {}, "says": ""},
    "approval": {"agreement": {}, "signature": ""},
    "proof": {"sheet": {}},
}
"""Fields that hold a price, by kind, and what stands there instead."""
NOT_HIS: Final = frozenset({"estimate", "approval", "proof", "setting"})
"""Kinds a helper does not write at all."""


class HelperError(InputError):
    """A helper may not do this."""


class WithoutPrices(Record):
    """As `Record`; what a helper changes keeps the prices that he does not see."""

    @classmethod
    def of(cls, record: Record) -> WithoutPrices:
        """The same record for a helper."""
        return cls(record.database, now=record._now, listeners=record._listeners)

    # Reading ------------------------------------------------------------------------------------

    def sheet(self, job_id: str) -> JobSheet:
        return _sheet(super().sheet(job_id))

    def entry(self, entry_id: str) -> Entry:
        return without_prices(super().entry(entry_id))

    def entries_of_kind(self, kind: str, *, limit: int = 1000) -> list[Entry]:
        return [without_prices(one) for one in super().entries_of_kind(kind, limit=limit)]

    def entries_with_file(self, sha256: str) -> list[Entry]:
        return [without_prices(one) for one in super().entries_with_file(sha256)]

    def version(self, entry_id: str, version: int) -> Entry:
        return without_prices(super().version(entry_id, version))

    def history(self, entry_id: str) -> list[Entry]:
        return [without_prices(one) for one in super().history(entry_id)]

    def changes(self, job_id: str) -> list[Entry]:
        return [without_prices(one) for one in super().changes(job_id)]

    # Writing ------------------------------------------------------------------------------------

    def new_job(
        self, entries: Iterable[tuple[str, Body]] = (), *, by: str, job_id: str | None = None
    ) -> JobSheet:
        given = list(entries)
        for kind, body in given:
            _his(kind, body)
        return _sheet(super().new_job(given, by=by, job_id=job_id))

    def add(
        self,
        job_id: str | None,
        kind: str,
        body: Body,
        *,
        by: str,
        entry_id: str | None = None,
        files: Iterable[str] = (),
    ) -> Entry:
        _his(kind, body)
        return without_prices(
            super().add(job_id, kind, body, by=by, entry_id=entry_id, files=files)
        )

    def change(
        self,
        entry_id: str,
        body: Body,
        *,
        by: str,
        based_on: int | None = None,
        files: Iterable[str] = (),
        refuse_clash: bool = False,
    ) -> Change:
        now = super().entry(entry_id)
        _his(now.kind, body)
        if now.kind in HIDDEN:
            # What he had before him held no prices: they are those of the version he started from.
            versions = {one.version: one.body for one in super().history(entry_id)}
            had = versions.get(now.version if based_on is None else based_on, now.body)
            hidden = HIDDEN[now.kind]
            body = {**body, **{name: had[name] for name in hidden if name in had}}
        made = super().change(
            entry_id, body, by=by, based_on=based_on, files=files, refuse_clash=refuse_clash
        )
        return replace(made, entry=without_prices(made.entry))

    def remove(self, entry_id: str, *, by: str) -> Entry:
        raise HelperError("A helper takes nothing off the sheet", instead="asking the technician")

    def bring_back(self, entry_id: str, version: int, *, by: str) -> Entry:
        raise HelperError("A helper brings no earlier value back", instead="asking the technician")


def without_prices(entry: Entry) -> Entry:
    """The entry with its prices taken out, those of a clash too."""
    hidden = HIDDEN.get(entry.kind)
    if hidden is None:
        return entry
    body = {name: hidden.get(name, value) for name, value in entry.body.items()}
    clashes = tuple(
        Clash(one.field, None, None, one.other_by, one.other_version)
        if one.field in hidden
        else one
        for one in entry.clashes
    )
    return replace(entry, body=body, clashes=clashes)


def _sheet(sheet: JobSheet) -> JobSheet:
    return replace(sheet, entries=tuple(map(without_prices, sheet.entries)))


def _his(kind: str, body: Body) -> None:
    """Refuse what a helper does not write."""
    if kind in NOT_HIS:
        raise HelperError(f"A helper writes no {kind}", instead="asking the technician")
    given = [name for name, empty in HIDDEN.get(kind, {}).items() if body.get(name, empty) != empty]
    if given:
        raise HelperError(f"A helper enters no {', '.join(given)}", instead="the same without it")
