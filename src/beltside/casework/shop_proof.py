"""The proof sheet of a job: gathered from its record as of a moment, and kept when handed out."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import UTC, datetime
from typing import Any, Final

from beltside.base.errors import BeltsideError
from beltside.casework.proof_clips import Clips, clips_from, sound_of_pair
from beltside.casework.proof_coolant import coolant_section
from beltside.casework.proof_sections import (
    agreed_section,
    car_words,
    complaint_section,
    correction_section,
    owner_cautions,
    watch_section,
)
from beltside.casework.proof_sheet import Figure, Line, ProofSheet, Said, Section, sheet_from_json
from beltside.casework.proof_sound import Compared, charts_of, compared, sound_section
from beltside.casework.settings import settings
from beltside.casework.shop import Shop, checked, sheet_of
from beltside.casework.shop_coolant import end_hold, hold_now
from beltside.casework.shop_find import find_now
from beltside.casework.shop_measure import compare_on_job
from beltside.jobs.entries import Entry, JobSheet

ALWAYS_UNTESTED: Final = (
    "This sheet speaks of the belt end of the engine and its cooling system; nothing else on the "
    "car was looked at."
)
CLEARLY_DB: Final = 3.0
"""From so much quieter on, for sure, anybody hears it, and the headline says so [dB]; common
practice, no source."""
_SUSPECT_UNKNOWN: Final = "The cause was not written down"


def proof_of(
    shop: Shop, job_id: str, *, at: datetime | None = None, wait: bool = False
) -> ProofSheet:
    """Everything on the owner's sheet, from what the record held at a moment.

    Parameters
    ----------
    job_id
        The job's name or number.
    at
        The moment, with its zone; now when left out.
    wait
        Listen to takes that nobody listened to yet, so that the odds rest on them.

    Raises
    ------
    MissingError
        When there is no such job.
    """
    moment = (at or datetime.now(UTC)).astimezone(UTC)
    job = job_as_of(shop, job_id, moment)
    own = {name: one.value for name, one in settings(shop).items()}
    sound = compared(shop, job)
    sound_part, sound_gaps = sound_section(shop, job, sound)
    coolant_part, coolant_gaps = coolant_section(job)
    correction, correction_gaps = correction_section(job)
    agreed, agreed_gaps = agreed_section(job)
    cause, cause_gaps = _cause(shop, job, wait=wait)
    gaps = [
        *cause_gaps,
        *correction_gaps,
        *sound_gaps,
        *coolant_gaps,
        *agreed_gaps,
        ALWAYS_UNTESTED,
    ]
    parts = (
        complaint_section(job),
        cause,
        correction,
        sound_part,
        coolant_part,
        watch_section(job),
        agreed,
    )
    return ProofSheet(
        job_id=job.job.id,
        job_number=job.job.number,
        made_at=moment.isoformat(timespec="microseconds"),
        shop=whole(str(own.get("shop") or "")),
        shop_address=whole(str(own.get("address") or "")),
        technician=whole(str(own.get("technician") or "")),
        owner=whole(str(_body(job, "owner").get("name") or "")),
        car=whole(car_words(_body(job, "car"))),
        headline=_headline(_body(job, "outcome"), sound),
        sections=tuple(_whole_section(one) for one in parts),
        not_tested=tuple(map(whole, dict.fromkeys(gaps))),
        cautions=tuple(map(whole, owner_cautions(job))),
        charts=charts_of(shop, job, sound, wait=wait),
        takes=sound.files if sound is not None else ("", ""),
    )


def hand_out(
    shop: Shop, job_id: str, *, at: datetime | None = None, wait: bool = True
) -> ProofSheet:
    """The sheet, and its copy kept on the job, so that a paper can be held against it later.

    Takes that nobody compared are compared first, and hold tests judged by all their readings.
    What has not changed since the last one was handed out is not written again: that one is
    given, with its time.
    """
    if wait and at is None:
        _compare(shop, sheet_of(shop, job_id))
        _judge_holds(shop, sheet_of(shop, job_id))
    sheet = proof_of(shop, job_id, at=at, wait=wait)
    last = handed_out(shop, sheet.job_id)
    if last is not None and _timeless(last[1]) == _timeless(sheet):
        return last[1]
    plain = sheet.to_json()
    body = checked("proof", {"made_at": sheet.made_at, "digest": plain["digest"], "sheet": plain})
    shop.record.add(sheet.job_id, "proof", body, by=shop.by)
    return sheet


def _compare(shop: Shop, job: JobSheet) -> None:
    """Compare before and after where nobody has yet and both were recorded."""
    if compared(shop, job) is None:
        with contextlib.suppress(BeltsideError):
            compare_on_job(shop, job.job.id)


def _judge_holds(shop: Shop, job: JobSheet) -> None:
    """Write the verdict of every hold test that was read on since it was judged, or never was.

    So that nothing handed out says "not settled" of a test that is, or "tight" of one whose later
    readings fell. A test whose readings make no sense together stays as it is.
    """
    for test in job.of_kind("hold-test"):
        with contextlib.suppress(BeltsideError):
            now = hold_now(shop, job.job.id, test.id)
            if now.answer is None:
                continue
            kept, read = test.body.get("result") or {}, now.answer.to_json()
            if any(kept.get(name) != read.get(name) for name in _JUDGED):
                end_hold(shop, job.job.id, test.id)


_JUDGED: Final = ("verdict", "probability_leaking", "probability_matters")


def clips_of(shop: Shop, sheet: ProofSheet, *, wait: bool = True) -> Clips | None:
    """Two short clips before and after for a sheet; None when they can't be had.

    Parameters
    ----------
    wait
        Make them when nobody has yet.
    """
    job = job_as_of(shop, sheet.job_id, sheet.time)
    sound = compared(shop, job)
    if sound is None or not sound.comparable or sound.before is None or sound.after is None:
        return None
    return clips_from(sound_of_pair(shop, job, sound.before, sound.after, wait=wait))


def handed_out(shop: Shop, job_id: str) -> tuple[Entry, ProofSheet] | None:
    """The sheet handed out last, and its entry; None when there was none."""
    entry = sheet_of(shop, job_id).newest("proof")
    return None if entry is None else (entry, sheet_from_json(entry.body["sheet"]))


def job_as_of(shop: Shop, job_id: str, at: datetime) -> JobSheet:
    """A job as it stood at a moment, from the versions written until then."""
    job = sheet_of(shop, job_id).job
    newest: dict[str, Entry] = {}
    for entry in shop.record.changes(job.id):
        if entry.at <= at:
            newest[entry.id] = entry
    return JobSheet(job, tuple(entry for entry in newest.values() if not entry.removed))


def decided_at(job: JobSheet) -> datetime | None:
    """When it was decided what to do: the owner's OK, else the first work written down."""
    for kinds in (("approval",), ("step-tick", "part-used", "torque-tick"), ("outcome",)):
        moments = [entry.created_at for kind in kinds for entry in job.of_kind(kind)]
        if moments:
            return min(moments)
    return None


def _cause(shop: Shop, job: JobSheet, *, wait: bool) -> tuple[Section, list[str]]:
    """What the cause was, and how likely it was thought when work was decided on."""
    outcome = _body(job, "outcome")
    cause = str(outcome.get("cause") or "")
    lines: list[Line] = []
    gaps = []
    decided = decided_at(job)
    odds, names = _odds(shop, job, decided, wait=wait)
    if cause:
        lines.append(Said("Cause", names.get(cause, _plain_suspect(cause))))
    else:
        gaps.append(f"{_SUSPECT_UNKNOWN}.")
    lines += odds
    cured = outcome.get("cured")
    if cured is not None:
        words = "The noise is gone" if cured else "The noise is still there"
        lines.append(Said("After the repair", words, "as the technician wrote"))
    elif cause:
        gaps.append("Nobody wrote down whether the noise is gone.")
    if outcome.get("note"):
        lines.append(Said("Note", str(outcome["note"])))
    missing = "" if lines else f"{_SUSPECT_UNKNOWN}, and nothing was recorded to tell it from."
    return Section("cause", "Cause", tuple(lines), missing), gaps


def _odds(
    shop: Shop, job: JobSheet, decided: datetime | None, *, wait: bool
) -> tuple[list[Line], dict[str, str]]:
    """The leading suspects at the moment of decision; those kept with an earlier sheet first."""
    then = job_as_of(shop, job.job.id, decided) if decided is not None else job
    if not (then.of_kind("take") or then.of_kind("finding")):
        return [], {}
    try:
        found = find_now(shop, then, wait=wait)
    except BeltsideError as error:
        return [Said("Odds", f"could not be worked out: {error}")], {}
    ranked = sorted(found.result.suspects, key=lambda one: -one.probability)
    names = {one.id: one.name for one in ranked}
    takes = 0 if found.listening else len(found.result.crank)
    checks = len(found.finding_entries)
    rests = " and ".join(
        _count(number, noun)
        for number, noun in ((takes, "recording"), (checks, "hand check"))
        if number
    )
    when = "when the work was decided on" if decided is not None else "now"
    source = f"odds {when}" + (f", from {rests}" if rests else ", before any test")
    cause = str(_body(job, "outcome").get("cause") or "")
    shown = ranked[:2]
    if cause and cause not in {one.id for one in shown}:
        shown = [*shown, *(one for one in ranked if one.id == cause)]
    lines: list[Line] = [
        Figure(
            f"{one.name[:1].upper()}{one.name[1:]}",
            round(100.0 * one.probability, 1),
            "in 100",
            source=source,
        )
        for one in shown
    ]
    # What was thought then stays as it was, whatever later jobs taught.
    for entry in reversed(job.of_kind("proof")):
        kept = sheet_from_json(entry.body["sheet"]).section("cause").lines
        same = [one for one in kept if isinstance(one, Figure) and one.source == source]
        if same and decided is not None and decided_on(decided) in kept:
            return [*same, decided_on(decided)], names
    return [*lines, decided_on(decided)] if decided else lines, names


def decided_on(decided: datetime) -> Said:
    """The line that says when the work was decided on."""
    return Said("Decided on", decided.strftime("%Y-%m-%d %H:%M UTC"))


def _headline(outcome: Mapping[str, Any], sound: Compared | None) -> str:
    """The outcome in one sentence."""
    quieter = sound.quieter() if sound is not None else None
    if outcome.get("cured") is True:
        said = "The noise is gone"
        if quieter is not None and quieter.value is not None and (quieter.low or 0.0) >= CLEARLY_DB:
            return f"{said}: the engine is {quieter.value:.0f} dB quieter than before."
        return f"{said}, as the technician hears it."
    if outcome.get("cured") is False:
        return "The noise is still there."
    if outcome.get("closed"):
        return "The job is closed. Whether the noise is gone was not written down."
    return "This job is not finished."


def _timeless(sheet: ProofSheet) -> dict[str, Any]:
    return {**sheet.content(), "made_at": ""}


def _body(job: JobSheet, kind: str) -> Mapping[str, Any]:
    entry = job.newest(kind)
    return {} if entry is None else entry.body


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("s" if number != 1 else "")


def _plain_suspect(suspect: str) -> str:
    part, _, fault = suspect.partition(".")
    return f"{part} {fault}".replace("-", " ").strip()


def whole(text: str) -> str:
    """Text of whole characters: half a surrogate pair, as broken phones type it, is replaced."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def _whole_section(section: Section) -> Section:
    return Section(
        section.key, section.title, tuple(_whole_line(line) for line in section.lines),
        section.missing,
    )  # fmt: skip


def _whole_line(line: Line) -> Line:
    texts: dict[str, Any] = {
        field.name: whole(value)
        for field in fields(line)
        if isinstance(value := getattr(line, field.name), str) and field.name != "unit"
    }
    return replace(line, **texts)
