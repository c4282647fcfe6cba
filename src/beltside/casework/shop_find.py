"""Find on a job: odds and the next check, from takes heard once and findings as they come."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from beltside.base.errors import InputError, nearest
from beltside.base.words import part_kind
from beltside.casework.drive_orders import with_path
from beltside.casework.find import assess, hear_usable, weighed_case
from beltside.casework.formats.drive_sheet import drive_sheet_from_text
from beltside.casework.formats.fields import as_part, as_word
from beltside.casework.results import FindResult, NextCheck, Progress
from beltside.casework.shop import Shop, checked, sheet_of, write
from beltside.casework.shop_analysis import WorkState, analyse_now, ask, state_of
from beltside.casework.shop_case import JobCase, case_of, setup_from_json, shop_tables
from beltside.casework.shop_likeness import NOTHING, Likeness, likeness_now, with_likeness
from beltside.casework.sound_said import SoundSaid, said_from_json
from beltside.casework.takes import HEARING_VERSION, Conditions
from beltside.jobs.entries import Entry, JobSheet
from beltside.suspects.catalogue import check_done

CASE_SOUND: Final = "case-sound"
CASE_SOUND_VERSION: Final = 100 * HEARING_VERSION
"""Hundreds count what is heard, ones what is kept of it."""


@dataclass(frozen=True)
class JobFind:
    """What find says of a job now.

    Attributes
    ----------
    result
        Odds, reasons, next checks.
    missing
        What is missing or was left out, a sentence each.
    finding_entries
        The entry behind each of `result.findings`.
    listening
        Whether takes are still to be listened to: the odds rest on the rest then.
    parts
        Pulleys of the drive.
    likeness
        What the noise is most like among the shop's own closed jobs.
    """

    result: FindResult
    missing: tuple[str, ...]
    finding_entries: tuple[str, ...]
    listening: bool
    parts: tuple[str, ...]
    likeness: Likeness = NOTHING

    def to_json(self) -> dict[str, Any]:
        """The JSON of `find`, with what is missing and what the noise is like."""
        plain = self.result.to_json()
        for finding, entry in zip(plain["findings"], self.finding_entries, strict=True):
            finding["entry"] = entry
        return {
            **plain,
            "missing": list(self.missing),
            "listening": self.listening,
            "likeness": self.likeness.to_json(),
        }


def find_on_job(
    shop: Shop,
    job_id: str,
    *,
    without: Iterable[str] = (),
    progress: Progress | None = None,
) -> FindResult:
    """Odds of every suspect of a job, its takes listened to where they are not yet.

    A job without drive sheet, takes or recordings gets odds from what there is; `warnings` begin
    with what is missing.

    Parameters
    ----------
    job_id
        The job's name or number.
    without
        Findings left out for once, by entry or by number on the sheet.

    Raises
    ------
    InputError
        When there is no such finding.
    """
    return find_now(
        shop, sheet_of(shop, job_id), without=without, wait=True, progress=progress
    ).result


def find_now(
    shop: Shop,
    job: JobSheet,
    *,
    without: Iterable[str] = (),
    wait: bool = False,
    progress: Progress | None = None,
) -> JobFind:
    """As `find_on_job`, with what is missing apart.

    Without `wait`, takes that were not listened to yet are put on the list of the workers and the
    odds rest on the rest for now.
    """
    read = case_of(shop, job, without=_findings_named(job, without))
    said, listening = SoundSaid(), False
    left_out: list[str] = []
    if read.takes and read.sheet_toml is not None:
        work = _sound(shop, job, read, wait, progress)
        plain, listening = work.result, work.state in ("waiting", "working")
        if work.state in ("failed", "cancelled"):
            why = work.problem or "the work was called off"
            left_out = [f"The takes could not be listened to: {why}"]
        if plain is not None:
            left_out = [f"{name} is left out: {why}" for name, why in plain["left_out"].items()]
            said = said_from_json(plain["said"])
    sheet = with_path(read.sheet)
    case = replace(read.case, notes=(*read.case.notes, *sheet.notes))
    likeness = likeness_now(shop, job, wait=wait, progress=progress)
    heard = with_likeness(weighed_case(said, sheet.sheet, read.tables, case), likeness)
    result = assess(heard, read.findings)
    missing = (*read.missing, *left_out)
    if listening:
        missing = (
            *missing,
            "The takes are still being listened to: the odds don't rest on them yet",
        )
    return JobFind(
        replace(result, warnings=(*missing, *result.warnings)),
        missing,
        read.finding_entries,
        listening,
        tuple(heard.parts),
        likeness,
    )


def _findings_named(job: JobSheet, named: Iterable[str]) -> list[str]:
    """Entries of findings given by entry, or by their number on the sheet."""
    findings = job.of_kind("finding")
    found = []
    for one in named:
        numbered = one.isdecimal() and 1 <= int(one) <= len(findings)
        entry = findings[int(one) - 1].id if numbered else one
        if entry not in {finding.id for finding in findings}:
            raise InputError(
                f'there is no finding "{one}" to leave out',
                allowed=f"1 to {len(findings)}, or its entry" if findings else "a finding first",
            )
        found.append(entry)
    return found


def _sound(
    shop: Shop, job: JobSheet, read: JobCase, wait: bool, progress: Progress | None
) -> WorkState:
    """What the takes say, from the kept result where there is one, or how far listening is."""
    assert read.sheet_toml is not None
    own = read.tables
    settings = {
        "sheet": read.sheet_toml,
        "takes": [take.to_json() for take in read.takes],
        # What an own catalogue changes; what closed jobs teach is added afterwards.
        "suspects": hashlib.sha256(
            json.dumps([one.id for one in own.taught.suspects]).encode()
        ).hexdigest(),
    }
    subject = job.job.id
    if wait:
        found = analyse_now(
            shop, CASE_SOUND, CASE_SOUND_VERSION, subject, settings, job.job.id, progress
        )
        return WorkState("done", 1.0, result=found)
    state = state_of(shop, CASE_SOUND, CASE_SOUND_VERSION, subject, settings)
    if state.state != "not asked":
        return state
    return ask(shop, CASE_SOUND, CASE_SOUND_VERSION, subject, settings, job.job.id)


def listen_together(shop: Shop, settings: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Listen to all takes of a job: what they say together, and which could not be read."""
    sheet = with_path(drive_sheet_from_text(settings["sheet"]).sheet).sheet
    takes = [
        (
            shop.files.path(take["file"]),
            Conditions(
                take["name"], take["belt"], take["part"], tuple(take["load"]), take["crank_rpm"]
            ),
            setup_from_json(take.get("setup")),
        )
        for take in settings["takes"]
    ]
    said, unusable = hear_usable(
        [path for path, _, _ in takes],
        [conditions for _, conditions, _ in takes],
        sheet,
        shop_tables(shop),
        setups=[setup for _, _, setup in takes],
        progress=progress,
    )
    # Stored files go by their hash, which tells a person nothing.
    left_out = {
        conditions.name: str(unusable[conditions.name]).replace(path.name, "this file")
        for path, conditions, _ in takes
        if conditions.name in unusable
    }
    return {"said": said.to_json(), "left_out": left_out}


# Takes and findings ------------------------------------------------------------------------------


def finding_made(
    shop: Shop,
    job_id: str,
    check: str,
    outcome: str,
    part: str = "",
    *,
    minutes: float | None = None,
    entry_id: str | None = None,
) -> Entry:
    """Write down what a check showed.

    Raises
    ------
    InputError
        When there is no such check or outcome here, or not on this part; says what would be.
    FieldProblemsError
        When a field is off.
    """
    job = sheet_of(shop, job_id)
    read = case_of(shop, job)
    part = as_part(part)
    parts = [pulley.part for pulley in read.sheet.pulleys]
    done = check_done(read.tables.catalogue, parts, as_word(check), part or None, as_word(outcome))
    return write(
        shop,
        job.job.id,
        "finding",
        {
            "check": done.check.id,
            "part": done.part or "",
            "outcome": done.outcome.word,
            "minutes": minutes,
        },
        entry_id=entry_id,
    )


def take_back_finding(shop: Shop, job_id: str, finding: str = "") -> Entry:
    """Take back a finding by its entry or its number on the sheet; the last one without.

    It stays readable and can be brought back.

    Raises
    ------
    InputError
        When there is no such finding.
    """
    findings = sheet_of(shop, job_id).of_kind("finding")
    if not findings:
        raise InputError("there is no finding to take back", allowed="a finding first")
    if not finding:
        chosen = findings[-1]
    else:
        numbered = finding.isdecimal() and 1 <= int(finding) <= len(findings)
        found = [findings[int(finding) - 1]] if numbered else []
        found += [entry for entry in findings if entry.id == finding]
        if not found:
            raise InputError(
                f"there is no finding {finding}",
                allowed=f"1 to {len(findings)}, or none for the last",
            )
        chosen = found[0]
    return shop.record.remove(chosen.id, by=shop.by)


def condition_holds(shop: Shop, job_id: str, name: str, holds: bool) -> Entry:
    """Write down whether a condition holds on this car: engine cold, belt off.

    Raises
    ------
    InputError
        When the catalogue knows no such condition; names the nearest.
    """
    job = sheet_of(shop, job_id)
    known = [one.id for one in shop_tables(shop).catalogue.conditions]
    word = as_word(name)
    if word not in known:
        raise InputError(
            f'"{name}" is not a condition',
            allowed=", ".join(known),
            instead=nearest(word, known) or "",
        )
    for entry in job.of_kind("condition"):
        if entry.body["name"] == word:
            body = checked("condition", {"name": word, "holds": holds})
            return shop.record.change(entry.id, body, by=shop.by).entry
    return write(shop, job.job.id, "condition", {"name": word, "holds": holds})


@dataclass(frozen=True)
class CheckCard:
    """A check as a card: what to do, what it can show, its minutes and its risks.

    `outcomes` are (word, what it looks like).
    """

    check: str
    name: str
    part: str
    minutes: float
    how: str
    why: str
    first: tuple[str, ...]
    outcomes: tuple[tuple[str, str], ...]
    hazard: str
    cautions: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain dict; minutes to 0.1."""
        return {
            "check": self.check,
            "name": self.name,
            "part": self.part,
            "minutes": round(self.minutes, 1),
            "how": self.how,
            "why": self.why,
            "first": list(self.first),
            "outcomes": [{"word": word, "says": says} for word, says in self.outcomes],
            "hazard": self.hazard,
            "cautions": list(self.cautions),
        }


def check_card(shop: Shop, job_id: str, check: str, part: str = "") -> CheckCard:
    """The card of one check of this car.

    Raises
    ------
    InputError
        When there is no such check here.
    """
    read = case_of(shop, sheet_of(shop, job_id))
    catalogue = read.tables.catalogue
    found = catalogue.check(as_word(check))
    parts = [pulley.part for pulley in read.sheet.pulleys]
    done = check_done(catalogue, parts, found.id, as_part(part) or None, found.outcomes[0].word)
    return CheckCard(
        found.id,
        found.name,
        done.part or "",
        found.minutes,
        found.how,
        "",
        (),
        tuple((one.word, one.says) for one in found.outcomes),
        found.hazard,
        found.cautions,
    )


def card_of(shop: Shop, one: NextCheck) -> CheckCard:
    """The card of a check that `find` proposes."""
    found = shop_tables(shop).catalogue.check(one.check)
    return CheckCard(
        one.check,
        found.name,
        one.part,
        one.minutes,
        one.how,
        one.why,
        one.first,
        tuple((outcome.word, outcome.says) for outcome in found.outcomes),
        one.hazard,
        one.cautions,
    )


def checks_of(shop: Shop, job: JobSheet) -> list[tuple[str, str, str]]:
    """Every check that can be done on this car: its word, the part ("" for none), its name.

    One that is done pulley by pulley stands once for each pulley of its kind, in the order of the
    belt; every usual part counts while there is no usable drive sheet.
    """
    read = case_of(shop, job)
    found: list[tuple[str, str, str]] = []
    for check in read.tables.catalogue.checks:
        parts = [
            pulley.part for pulley in read.sheet.pulleys if part_kind(pulley.part) in check.parts
        ]
        found += [(check.id, part, check.name) for part in (parts if check.parts else [""])]
    return found


def conditions_of(shop: Shop, job: JobSheet) -> list[tuple[str, str, bool, bool]]:
    """What some check of this car needs: its word, a sentence, whether it holds, whether that was
    said (and not only assumed)."""
    said = {entry.body["name"]: entry.body["holds"] for entry in job.of_kind("condition")}
    catalogue = case_of(shop, job).tables.catalogue
    done = {check for check, _, _ in checks_of(shop, job)}
    needed = {need for check in catalogue.checks if check.id in done for need in check.needs}
    return [
        (one.id, one.says, bool(said.get(one.id, one.assumed)), one.id in said)
        for one in catalogue.conditions
        if one.id in needed or one.id in said
    ]


def next_check(shop: Shop, job_id: str) -> CheckCard | None:
    """The card of the check most worth its minutes now; None when no check is."""
    found = find_now(shop, sheet_of(shop, job_id)).result
    return card_of(shop, found.next_checks[0]) if found.next_checks else None
