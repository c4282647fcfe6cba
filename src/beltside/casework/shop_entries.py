"""What stands on a job, entry by entry: read, changed by hand, against the version it was based on.

Only what a person writes is changed so. What was worked out is worked out again, and what two
people signed is made anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from beltside.base.errors import InputError, nearest
from beltside.casework.formats.entries import ENTRY_KINDS
from beltside.casework.shop import FieldProblemsError, Shop, rewrite, sheet_of, write
from beltside.casework.shop_listen import ask_to_listen
from beltside.jobs.entries import Change, Entry

BY_HAND: Final[Mapping[str, frozenset[str]]] = {
    **{
        kind: frozenset(ENTRY_KINDS[kind].model_fields)
        for kind in ("owner", "car", "complaint", "observation", "note", "part-used", "reminder")
    },
    "take": frozenset(ENTRY_KINDS["take"].model_fields) - {"file"},
    "photo": frozenset(ENTRY_KINDS["photo"].model_fields) - {"file"},
    "finding": frozenset({"minutes"}),
    "step-tick": frozenset({"minutes", "note"}),
    "torque-tick": frozenset({"torque_nm", "angle_deg", "source"}),
    "outcome": frozenset({"note", "charged", "currency"}),
}
"""Kinds of entries that are changed by hand, and which of their fields."""


def entry_on_job(shop: Shop, job_id: str, entry_id: str) -> Entry:
    """An entry of a job as it is now, removed or not.

    Raises
    ------
    MissingError
        When there is no such job or entry.
    InputError
        When the entry is on another job.
    """
    job = sheet_of(shop, job_id).job
    entry = shop.record.entry(entry_id)
    if entry.job_id != job.id:
        raise InputError(
            f"{entry_id} is not on job {job.number}", instead="one that its history shows"
        )
    return entry


def versions_of(shop: Shop, job_id: str, entry_id: str) -> list[Entry]:
    """Every version of an entry of a job, oldest first; raises as `entry_on_job`."""
    return shop.record.history(entry_on_job(shop, job_id, entry_id).id)


def change_entry(
    shop: Shop,
    job_id: str,
    entry_id: str,
    typed: Mapping[str, Any],
    *,
    based_on: int | None = None,
    refuse_clash: bool = False,
) -> Change:
    """Change fields of an entry that a person wrote; those left out stay.

    Parameters
    ----------
    based_on
        The version the writer had before him; what somebody else wrote since is joined with it.
    refuse_clash
        Write nothing when both changed the same field to different values.

    Raises
    ------
    MissingError
        When there is no such job, entry or version.
    ClashError
        With `refuse_clash`.
    FieldProblemsError
        With what is wrong beside each field; nothing is changed then.
    InputError
        When the entry is on another job, taken off, or not changed by hand.
    """
    entry = entry_on_job(shop, job_id, entry_id)
    allowed = BY_HAND.get(entry.kind)
    if allowed is None:
        raise InputError(
            f"a {entry.kind} is not changed by hand",
            allowed=", ".join(BY_HAND),
            instead="making it anew; the earlier one stays readable",
        )
    if entry.removed:
        raise InputError(
            f"this {entry.kind} was taken off the sheet", instead="bringing it back first"
        )
    wrong = {name: _not_here(entry.kind, name, allowed) for name in typed if name not in allowed}
    if wrong:
        raise FieldProblemsError(entry.kind, typed, wrong)
    if based_on is not None and based_on != entry.version:
        # Refuses a version that never was.
        shop.record.version(entry.id, based_on)
    changed = rewrite(
        shop,
        entry.id,
        typed,
        based_on=based_on,
        refuse_clash=refuse_clash,
        files=typed.get("files") or (),
    )
    if entry.kind == "take":
        ask_to_listen(shop, sheet_of(shop, str(entry.job_id)), changed.entry)
    return changed


def change_single(
    shop: Shop,
    job_id: str,
    kind: str,
    typed: Mapping[str, Any],
    *,
    based_on: int | None = None,
    refuse_clash: bool = False,
) -> Change:
    """Write what a job has once: its owner, car or complaint; as `change_entry`.

    `based_on` 0 says that the writer had none before him: what he left empty then stays as
    somebody else has written it meanwhile.
    """
    job = sheet_of(shop, job_id)
    there = job.newest(kind)
    if there is None:
        return Change(write(shop, job.job.id, kind, typed))
    if based_on == 0:
        based_on = None
        typed = {name: value for name, value in typed.items() if value not in ("", None, [], False)}
    return change_entry(
        shop, job.job.id, there.id, typed, based_on=based_on, refuse_clash=refuse_clash
    )


def _not_here(kind: str, name: str, allowed: frozenset[str]) -> str:
    if name in ENTRY_KINDS[kind].model_fields:
        return "is not changed by itself: take it back and write it anew"
    close = nearest(name, allowed)
    return "there is no such field" + (f"; the nearest is {close}" if close else "")
