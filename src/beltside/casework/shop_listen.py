"""What is heard in a take of a job: listened to once in the background, and kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from beltside.base.errors import BeltsideError, InputError, RecordingError
from beltside.casework.crank_speed import CrankSpeed, find_crank
from beltside.casework.drive_orders import with_path
from beltside.casework.formats.drive_sheet import drive_sheet_from_text
from beltside.casework.kept_pictures import pictures_from_json, pictures_to_json
from beltside.casework.listen import file_warnings, listen_result
from beltside.casework.results import ListenResult, Progress
from beltside.casework.shipped import fingerprint_nuisance
from beltside.casework.shop import Shop, rewrite, sheet_of
from beltside.casework.shop_analysis import WorkState, analyse_now, ask, state_of
from beltside.casework.shop_case import sheet_on_job, stand_in, take_names
from beltside.casework.sound_said import listen_from_json
from beltside.casework.sound_vector import VECTOR_VERSION, sound_vector
from beltside.casework.take_measures import take_measures
from beltside.casework.take_print import take_print
from beltside.casework.takes import HEARING_VERSION, Conditions, HeardTake, crank_sound, hear
from beltside.jobs.entries import Entry, JobSheet
from beltside.media import open_recording
from beltside.sound.fingerprint import Fingerprint

LISTEN: Final = "listen"
LISTEN_VERSION: Final = 100 * HEARING_VERSION + 1
"""Hundreds count what is heard, ones what is kept of it."""
NO_ENGINE: Final = "there is no drive sheet yet, so the engine is not known"


def ask_to_listen(shop: Shop, job: JobSheet, entry: Entry) -> WorkState:
    """Have a take listened to in the background, unless that is done or under way."""
    subject = str(entry.body["file"])
    return ask(shop, LISTEN, LISTEN_VERSION, subject, listen_settings(job, entry), job.job.id)


def ask_for_all(shop: Shop, job: JobSheet) -> None:
    """Have all takes of a job listened to: after its drive sheet changed."""
    for entry in job.of_kind("take"):
        ask_to_listen(shop, job, entry)


def listen_settings(job: JobSheet, entry: Entry) -> dict[str, Any]:
    """All that what is heard in a take depends on."""
    """All that what is heard in a take depends on."""
    _, text, _ = sheet_on_job(job)
    return {
        "file": entry.body["file"],
        "sheet": text,
        "crank_rpm": entry.body.get("crank_rpm"),
    }


@dataclass(frozen=True)
class TakeHeard:
    """What was heard in a take, or how far listening is.

    Attributes
    ----------
    entry, name
        The take.
    work
        "done", "waiting", "working", "failed", "cancelled" or "not asked"; its progress and
        problem.
    listen
        What was heard, with pictures, once done.
    fingerprint
        To compare it with other takes by, once done.
    """

    entry: Entry
    name: str
    work: WorkState
    listen: ListenResult | None = None
    fingerprint: Fingerprint | None = None

    def to_json(self) -> dict[str, Any]:
        """Plain dict; without pictures."""
        return {
            "take": self.entry.id,
            "name": self.name,
            "state": self.work.state,
            "progress": round(self.work.share, 3),
            "doing": self.work.doing,
            "problem": self.work.problem,
            "listen": self.listen.to_json() if self.listen else None,
        }


def take_heard(shop: Shop, job_id: str, take: str, *, wait: bool = False) -> TakeHeard:
    """What was heard in a take; listens now with `wait`, else asks the workers to.

    Parameters
    ----------
    take
        The take's entry, its number on the sheet or its name.

    Raises
    ------
    InputError
        When there is no such take.
    RecordingError, LimitError
        With `wait`, when the recording can't be used.
    """
    job = sheet_of(shop, job_id)
    entry = take_of(job, take)
    name = take_names(job)[entry.id]
    settings = listen_settings(job, entry)
    subject = str(entry.body["file"])
    if wait:
        analyse_now(shop, LISTEN, LISTEN_VERSION, subject, settings, job.job.id)
    state = state_of(shop, LISTEN, LISTEN_VERSION, subject, settings)
    if state.state == "not asked":
        state = ask_to_listen(shop, job, entry)
    if state.result is None:
        return TakeHeard(entry, name, state)
    plain = state.result
    listen = replace(
        listen_from_json(plain["listen"]),
        file=name,
        pictures=pictures_from_json(plain["pictures"]),
    )
    return TakeHeard(entry, name, state, listen, Fingerprint.from_json(plain["fingerprint"]))


def take_of(job: JobSheet, take: str) -> Entry:
    """A take of a job by its entry, its number on the sheet, or its name.

    Raises
    ------
    InputError
        When there is none such; says which there are.
    """
    takes = job.of_kind("take")
    names = take_names(job)
    for entry in takes:
        if take in (entry.id, names[entry.id]):
            return entry
    if take.isdecimal() and 1 <= int(take) <= len(takes):
        return takes[int(take) - 1]
    raise InputError(
        f'there is no take "{take}" on this job',
        allowed=", ".join(f"{n}: {names[one.id]}" for n, one in enumerate(takes, start=1))
        or "a take first: this job has none",
    )


def listen_to_one(shop: Shop, settings: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Listen to one recording: what was heard, its pictures, its fingerprint."""
    toml = settings["sheet"]
    notes: tuple[str, ...] = ()
    sheet = stand_in()
    if toml is not None:
        read = drive_sheet_from_text(toml)
        completed = with_path(read.sheet)
        sheet, notes = completed.sheet, (*read.notes, *completed.notes)
    try:
        with open_recording(shop.files.path(settings["file"])) as recording:
            progress("reading the take", 0.0)
            sound = crank_sound(recording)
            progress("finding the crank speed", 0.3)
            crank = (
                CrankSpeed(None, 0.0, NO_ENGINE, "sound")
                if toml is None
                else find_crank(sound, sheet, stated_rpm=settings["crank_rpm"])
            )
            heard_s = max(sound.duration_s, 1e-9)
            hearing = hear(
                recording,
                crank.track,
                lambda at_s: progress("listening", min(0.5 + 0.3 * at_s / heard_s, 0.8)),
            )
            said = (*notes, *file_warnings(recording))
            progress("listening for likeness", 0.8)
            print_of = take_print(recording, crank, hearing)
    except BeltsideError as error:
        # Stored files go by their hash, which tells a person nothing.
        named = error.given.replace(str(settings["file"]), "this file")
        raise RecordingError(
            named[0].upper() + named[1:], allowed=error.allowed, instead=error.instead
        ) from error
    progress("explaining lines", 0.95)
    conditions = Conditions("take", crank_rpm=settings["crank_rpm"])
    listen = listen_result(
        HeardTake(conditions, crank, hearing), take_measures(hearing, sheet), sheet, said
    )
    _keep_for_takes(shop, settings, print_of)
    return {
        "listen": listen.to_json(),
        "pictures": pictures_to_json(listen.pictures),
        "fingerprint": print_of.to_json(),
    }


def _keep_for_takes(shop: Shop, settings: Mapping[str, Any], print_of: Fingerprint) -> None:
    """Keep the sound for every take with this recording, heard in this way."""
    vector = sound_vector(print_of, fingerprint_nuisance())
    if vector is None:
        return
    for entry in shop.record.entries_with_file(str(settings["file"])):
        if entry.kind != "take" or entry.job_id is None:
            continue
        if listen_settings(sheet_of(shop, entry.job_id), entry) == dict(settings):
            shop.record.sounds.add(entry.id, VECTOR_VERSION, vector)


def change_take(
    shop: Shop, job_id: str, take: str, typed: Mapping[str, Any], *, based_on: int | None = None
) -> Entry:
    """Change the conditions of a take; it is listened to again where that matters.

    `based_on` is the version the writer had before him, see `rewrite`.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each field; nothing is changed then.
    """
    job = sheet_of(shop, job_id)
    entry = rewrite(shop, take_of(job, take).id, typed, based_on=based_on).entry
    ask_to_listen(shop, sheet_of(shop, job.job.id), entry)
    return entry
