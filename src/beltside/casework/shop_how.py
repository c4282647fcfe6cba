"""How a job was done, to teach and for the next time: steps in order, with what it took.

The owner, the plate and the vehicle number are left out unless asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from beltside.base.errors import BeltsideError
from beltside.base.words import count_of
from beltside.casework.proof_sections import torqued
from beltside.casework.proof_sheet import Figure, Line, Said
from beltside.casework.shop import Shop, sheet_of
from beltside.casework.shop_case import take_names
from beltside.casework.shop_proof import whole
from beltside.casework.shop_teardown import plan_of
from beltside.casework.teardown_results import StepView
from beltside.jobs.entries import Entry, JobSheet
from beltside.media.picture import read_picture

MOST_PHOTOS: Final = 60


@dataclass(frozen=True)
class HowPhoto:
    """A stored picture and what it shows."""

    sha256: str
    caption: str

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {"file": self.sha256, "caption": self.caption}


@dataclass(frozen=True)
class HowStep:
    """A step as it was done.

    Attributes
    ----------
    title
        The step in words.
    state
        "done", "started" or "went wrong".
    minutes
        How long it took [min]; None when nobody said.
    planned_minutes
        What the plan expected [min]; None for a step of no plan.
    tools, cautions
        From the plan.
    torque
        From the plan, in words with its source.
    note
        Where it fought back.
    photos
        Taken at this step.
    """

    title: str
    state: str
    minutes: float | None
    planned_minutes: float | None = None
    tools: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    torque: str = ""
    note: str = ""
    photos: tuple[HowPhoto, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "title": self.title,
            "state": self.state,
            "minutes": self.minutes,
            "planned_minutes": self.planned_minutes,
            "tools": list(self.tools),
            "cautions": list(self.cautions),
            "torque": self.torque,
            "note": self.note,
            "photos": [one.to_json() for one in self.photos],
        }


@dataclass(frozen=True)
class HowSheet:
    """How a job was done.

    Attributes
    ----------
    job_number, made_on
        The job, and the day it was last changed, ISO 8601.
    car
        The kind of car; with plate and number only when asked for.
    owner
        Empty unless asked for.
    what
        What was put right.
    steps
        In the order they were done.
    torque
        Fasteners tightened, each with its last torque.
    parts
        What went in.
    clips
        Recordings with their conditions.
    photos
        Those of no step.
    missing
        What was not written down, a sentence each.
    """

    job_number: int
    made_on: str
    car: str
    owner: str
    what: str
    steps: tuple[HowStep, ...]
    torque: tuple[Line, ...]
    parts: tuple[str, ...]
    clips: tuple[Said, ...]
    photos: tuple[HowPhoto, ...]
    missing: tuple[str, ...]

    @property
    def minutes(self) -> float:
        """Minutes of all steps that were timed."""
        return sum(one.minutes or 0.0 for one in self.steps)

    def all_photos(self) -> list[str]:
        """SHA-256 of every picture on it, each once."""
        shown = [*(photo for step in self.steps for photo in step.photos), *self.photos]
        return list(dict.fromkeys(one.sha256 for one in shown))

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "job": self.job_number,
            "made_on": self.made_on,
            "car": self.car,
            "owner": self.owner,
            "what": self.what,
            "minutes": self.minutes,
            "steps": [one.to_json() for one in self.steps],
            "torque": [one.to_json() for one in self.torque],
            "parts": list(self.parts),
            "clips": [one.to_json() for one in self.clips],
            "photos": [one.to_json() for one in self.photos],
            "missing": list(self.missing),
        }


def how_of(shop: Shop, job_id: str, *, with_owner: bool = False) -> HowSheet:
    """How a job was done, from its ticks, photos, torques, parts and recordings.

    Parameters
    ----------
    with_owner
        Whether owner, plate and vehicle number stand on it.

    Raises
    ------
    MissingError
        When there is no such job.
    """
    job = sheet_of(shop, job_id)
    missing: list[str] = []
    views = _views(shop, job)
    photos = _photos(job)
    steps = tuple(_step(entry, views, photos) for entry in _ticked(job))
    if not steps:
        missing.append("No step was ticked, so the order of work is not known.")
    untimed = sum(one.minutes is None for one in steps)
    if steps and untimed:
        missing.append(f"Not timed: {untimed} of {count_of(len(steps), 'step')}.")
    torque, unknown = torqued(job)
    if not torque:
        missing.append("No tightening torque was written down.")
    missing += [f"Where the torque of {name} comes from was not written down." for name in unknown]
    if not job.of_kind("photo"):
        missing.append("There are no photos.")
    shown = {photo.sha256 for step in steps for photo in step.photos}
    car = _body(job, "car")
    names = ("name", "model_year", *(("plate", "vin") if with_owner else ()))
    return HowSheet(
        job_number=job.job.number,
        made_on=job.job.changed_at.strftime("%Y-%m-%d"),
        car=whole(", ".join(str(car[name]) for name in names if car.get(name))),
        owner=whole(str(_body(job, "owner").get("name") or "")) if with_owner else "",
        what=_what(job),
        steps=steps,
        torque=tuple(torque),
        parts=tuple(_part(entry) for entry in job.of_kind("part-used")),
        clips=tuple(_clips(shop, job, missing)),
        photos=tuple(
            one for one in (p for some in photos.values() for p in some) if one.sha256 not in shown
        ),
        missing=tuple(missing),
    )


def photos_of(shop: Shop, sheet: HowSheet) -> dict[str, Any]:
    """Pixels of the sheet's pictures by SHA-256, shape (height, width, 3), uint8.

    Pictures are decoded, so that nothing a camera wrote beside them (place, time) goes along.
    Those that can't be read are left out; at most 60.
    """
    found: dict[str, Any] = {}
    for sha256 in sheet.all_photos()[:MOST_PHOTOS]:
        try:
            found[sha256] = read_picture(shop.files.path(sha256)).pixels
        except BeltsideError:
            continue
    return found


def _views(shop: Shop, job: JobSheet) -> dict[str, StepView]:
    try:
        plan = plan_of(shop, job)
    except BeltsideError:
        return {}
    found = {one.step.id: one.step for one in plan.steps}
    return {**{step.id: step for step in plan.whole.steps}, **found}


def _ticked(job: JobSheet) -> list[Entry]:
    """The newest tick of each step, in the order they were begun."""
    newest: dict[str, Entry] = {}
    for entry in job.of_kind("step-tick"):
        newest[str(entry.body["step"])] = entry
    return list(newest.values())


def _step(
    entry: Entry, views: Mapping[str, StepView], photos: Mapping[str, list[HowPhoto]]
) -> HowStep:
    body = entry.body
    name = str(body["step"])
    view = views.get(name)
    thing = name.partition(":")[2]
    minutes = body.get("minutes")
    note = str(body.get("note") or "")
    says = str(body.get("says") or "")
    if body["state"] == "went wrong" and says and says != note:
        note = " ".join(filter(None, [f"Went wrong: {says}.".replace("..", "."), note]))
    return HowStep(
        title=whole(view.title if view is not None else says or name),
        state=str(body["state"]),
        minutes=None if minutes is None else float(minutes),
        planned_minutes=None if view is None else round(view.expected_min, 1),
        tools=() if view is None else view.tools,
        cautions=() if view is None else view.cautions,
        torque="" if view is None else view.torque,
        note=whole(note),
        photos=(*photos.get(name, ()), *(photos.get(thing, ()) if _is_apart(name) else ())),
    )


def _is_apart(name: str) -> bool:
    """A photo named by its part alone stands at the step that takes the part off."""
    return name.startswith("apart:")


def _photos(job: JobSheet) -> dict[str, list[HowPhoto]]:
    """Photos by the step, or else the part, they belong to."""
    found: dict[str, list[HowPhoto]] = {}
    for entry in job.of_kind("photo"):
        body = entry.body
        caption = whole(str(body.get("caption") or ""))
        key = str(body.get("step") or body.get("part") or "")
        found.setdefault(key, []).append(HowPhoto(str(body["file"]), caption))
    return found


def _clips(shop: Shop, job: JobSheet, missing: list[str]) -> list[Said]:
    names = take_names(job)
    clips = []
    for entry in job.of_kind("take"):
        body = entry.body
        said = ["after the repair" if body.get("stage") == "after" else "before the repair"]
        if body.get("belt") in ("on", "off"):
            said.append(f"belt {body['belt']}")
        said.append(str(body.get("place") or "").replace("-", " "))
        if body.get("load"):
            said.append("with " + ", ".join(str(one) for one in body["load"]))
        if body.get("raised"):
            said.append("speed raised")
        try:
            shop.files.path(str(body["file"]))
        except BeltsideError:
            said.append("the recording is missing")
            missing.append(f"The recording {names[entry.id]} is missing from the record.")
        clips.append(Said(whole(names[entry.id]), whole(", ".join(filter(None, said)))))
    return clips


def _part(entry: Entry) -> str:
    body = entry.body
    quantity = float(body.get("quantity") or 1)
    unit = str(body.get("unit") or "")
    count = "" if quantity == 1 and unit in ("", "piece") else f"{quantity:g} {unit} ".lstrip()
    number = f" (no. {body['number']})" if body.get("number") else ""
    return whole(f"{count}{body['name']}{number}")


def _what(job: JobSheet) -> str:
    outcome = _body(job, "outcome")
    done = outcome.get("replaced") or ([outcome["cause"]] if outcome.get("cause") else [])
    if not done:
        done = _body(job, "plan").get("target") or []
    if not done and _body(job, "approval"):
        done = [_body(job, "approval")["option"]]
    words = ", ".join(str(one).replace(".", " ").replace("-", " ") for one in done)
    return whole(words[:1].upper() + words[1:])


def _body(job: JobSheet, kind: str) -> Mapping[str, Any]:
    entry = job.newest(kind)
    return {} if entry is None else entry.body


__all__ = ["Figure", "HowPhoto", "HowSheet", "HowStep", "how_of", "photos_of"]
