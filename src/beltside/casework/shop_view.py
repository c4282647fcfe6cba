"""A job at a glance: the present answer, the next thing to do, and each stage in one sentence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from beltside.base.errors import BeltsideError
from beltside.base.words import count_of
from beltside.casework.findings import check_on
from beltside.casework.shop import Shop, sheet_of
from beltside.casework.shop_case import sheet_on_job, shop_tables
from beltside.casework.shop_find import JobFind, find_now
from beltside.casework.shop_jobs import JobLine, job_line, reminders_of
from beltside.casework.shop_teardown import JobPlan, plan_of, suggested_template
from beltside.jobs.card import STAGES
from beltside.jobs.entries import Entry, JobSheet

SETTLED: Final = 0.5
"""From these odds on a suspect is called the likely one; below, it is only in front."""

AGREED_EARLY: Final = "agreed while a check was still worth its minutes"

TYPICAL_MINUTES: Final[Mapping[str, float]] = {
    "words": 3,
    "take": 3,
    "drive-sheet": 10,
    "plan": 3,
    "estimate": 3,
    "approval": 5,
    "take-after": 3,
    "comparison": 1,
    "hold-test": 15,
    "close": 3,
}
"""Minutes of what is no check and no step of a plan: common practice, no source."""

_OPENS_THE_COOLANT: Final = frozenset({"coolant-pump", "coolant-pump-tensioner", "thermostat"})
"""Plans that open the cooling system."""


@dataclass(frozen=True)
class Next:
    """The one thing to do next.

    Attributes
    ----------
    what
        "words", "take", "drive-sheet", "check", "plan", "estimate", "approval", "step",
        "take-after", "comparison", "close", "reminder" or "" when nothing is open.
    says
        In a sentence.
    minutes
        How long it takes [min]; None where it takes none.
    check, part, step
        Which check, on which part; which step of the plan.
    stage
        The stage it belongs to.
    """

    what: str
    says: str
    minutes: float | None = None
    check: str = ""
    part: str = ""
    step: str = ""
    stage: str = ""

    def to_json(self) -> dict[str, Any]:
        """Plain dict; minutes to 0.1."""
        return {
            "what": self.what,
            "says": self.says,
            "minutes": None if self.minutes is None else round(self.minutes, 1),
            "check": self.check,
            "part": self.part,
            "step": self.step,
            "stage": self.stage,
        }


@dataclass(frozen=True)
class StageView:
    """A stage of the chain: "open", "begun" or "done", and its result or what is open."""

    stage: str
    state: str
    says: str

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {"stage": self.stage, "state": self.state, "says": self.says}


@dataclass(frozen=True)
class JobView:
    """A job at a glance.

    Attributes
    ----------
    line
        As a list shows it.
    answer
        The present answer in a sentence, with its odds in tenths.
    suspect, name, probability
        The likeliest suspect; its probability, 0 to 1.
    tenths
        The odds as words: "7 in 10", "under 1 in 10".
    next
        What to do now.
    stages
        The eight stages in their order.
    missing
        What is missing or left out, a sentence each.
    listening
        Whether takes are still being listened to.
    find, plan
        What they were read from; `plan` is None while there is none.
    due
        Reminders of this job that are due.
    """

    line: JobLine
    answer: str
    suspect: str
    name: str
    probability: float
    tenths: str
    next: Next
    stages: tuple[StageView, ...]
    missing: tuple[str, ...]
    listening: bool
    find: JobFind
    plan: JobPlan | None = None
    due: tuple[str, ...] = field(default=())

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "job": self.line.to_json(),
            "answer": self.answer,
            "suspect": self.suspect,
            "name": self.name,
            "probability": round(self.probability, 4),
            "in_ten": self.tenths,
            "next": self.next.to_json(),
            "stages": [one.to_json() for one in self.stages],
            "missing": list(self.missing),
            "listening": self.listening,
            "suspects": self.find.result.to_json()["suspects"],
            "due": list(self.due),
        }


def in_ten(probability: float) -> str:
    """Odds as a fraction of ten, never rounded to a false certainty.

    >>> in_ten(0.68), in_ten(0.03), in_ten(0.97)
    ('7 in 10', 'under 1 in 10', 'over 9 in 10')
    """
    tenths = round(10.0 * probability)
    if tenths < 1:
        return "under 1 in 10"
    return "over 9 in 10" if probability > 0.95 else f"{min(tenths, 9)} in 10"


def job_view(shop: Shop, job_id: str, *, today: date | None = None) -> JobView:
    """A job at a glance; takes not listened to yet are left to the workers.

    Raises
    ------
    MissingError
        When there is no such job.
    """
    return view_of(shop, sheet_of(shop, job_id), today=today)


def view_of(shop: Shop, job: JobSheet, *, today: date | None = None) -> JobView:
    """As `job_view`."""
    found = find_now(shop, job)
    plan, plan_problem = _plan(shop, job)
    top = found.result.suspects[0]
    tenths = in_ten(top.probability)
    due = tuple(one.words for one in reminders_of(job, today=today) if one.is_due)
    stages = _stages(job, found, plan, plan_problem, tenths)
    return JobView(
        job_line(job.job),
        _answer(job, found, tenths),
        top.id,
        top.name,
        top.probability,
        tenths,
        _next(shop, job, found, plan, due),
        stages,
        found.missing,
        found.listening,
        found,
        plan,
        due,
    )


def _plan(shop: Shop, job: JobSheet) -> tuple[JobPlan | None, str]:
    if job.newest("plan") is None:
        return None, ""
    try:
        return plan_of(shop, job), ""
    except BeltsideError as error:
        return None, str(error)


def _answer(job: JobSheet, found: JobFind, tenths: str) -> str:
    outcome = _body(job.newest("outcome"))
    cause = str(outcome.get("cause") or "")
    if outcome.get("closed") is True:
        said = f"It was the {_in_words(cause)}" if cause else "Closed"
        cured = outcome.get("cured")
        if cured is None:
            return f"{said}."
        return f"{said}, and the noise is gone." if cured else f"{said}, but the noise is not gone."
    if not job.of_kind("take") and not job.of_kind("finding"):
        return "Nothing was heard or checked yet: every suspect is open."
    top = found.result.suspects[0]
    wordings = {"none": "nothing is wrong", "other": "something not listed here"}
    wording = wordings.get(top.id, f"the {top.name}")
    if found.listening and not job.of_kind("finding"):
        return "The takes are being listened to: every suspect is open."
    if top.probability < SETTLED:
        return f"Not settled yet; in front {wording}: {tenths}."
    return f"Most likely {wording}: {tenths}."


def _next(
    shop: Shop, job: JobSheet, found: JobFind, plan: JobPlan | None, due: tuple[str, ...]
) -> Next:
    outcome = _body(job.newest("outcome"))
    if outcome.get("closed") is True:
        if due:
            return Next("reminder", f"Due now: {due[0]}", stage="record")
        return Next("", "Nothing is open on this job.", stage="record")
    agreed = bool(job.of_kind("approval"))
    begun = bool(job.of_kind("step-tick") or job.of_kind("part-used"))
    if not (plan or agreed or begun or job.newest("plan")):
        early = _before_plan(shop, job, found)
        if early is not None:
            return early
    if not begun and not agreed:
        if not job.of_kind("estimate"):
            return _typical("estimate", "Work out what it costs", "agree")
        return _typical("approval", "Ask for the owner's OK", "agree")
    if plan is not None and plan.next is not None:
        step = plan.next
        return Next(
            "step", step.title, step.expected_min, part=step.thing, step=step.id, stage="work"
        )
    tests = job.of_kind("hold-test")
    if tests and not tests[-1].body.get("says"):
        return _typical("hold-test", "Go on with the hold test", "prove")
    if not tests and _coolant_was_out(job):
        return _typical("hold-test", "Pump the cooling system up and watch the gauge", "prove")
    before, after = _takes(job, "before"), _takes(job, "after")
    if before and not after:
        return _typical("take-after", "Record again as before the repair", "prove")
    if after and not job.of_kind("comparison"):
        return _typical("comparison", "Compare before and after", "prove")
    return _typical("close", "Say what it was, and close the job", "record")


def _before_plan(shop: Shop, job: JobSheet, found: JobFind) -> Next | None:
    if not _body(job.newest("complaint")).get("words"):
        return _typical("words", "Write down what the owner says", "complaint")
    if not _takes(job, "before") and not job.of_kind("finding"):
        return _typical("take", "Record the engine from the front, belt on", "listen")
    if _measure(job)[0] in ("open", "begun"):
        return _typical("drive-sheet", "Measure the pulleys and enter the drive", "measure")
    step = found.result.next_step
    if step is None or step.do == "hand over":
        says = step.says if step is not None else "No check is left that is worth its minutes"
        return Next("close", says, stage="record")
    if step.do == "check":
        best = found.result.next_checks[0]
        name = shop_tables(shop).catalogue.check(best.check).name
        return Next(
            "check",
            check_on(name, best.part),
            best.minutes,
            check=best.check,
            part=best.part,
            stage="find",
        )
    if step.do == "release":
        return Next("close", step.says, TYPICAL_MINUTES["close"], stage="record")
    template = suggested_template(shop, job)
    says = "Plan the repair"
    if template:
        says = f"Plan the repair (a plan for the {template.replace('-', ' ')} is at hand)"
    return _typical("plan", says, "agree")


def _coolant_was_out(job: JobSheet) -> bool:
    """Whether the cooling system was open: by the plan, or by what was drained and filled."""
    asked = {one.body["about"] for one in job.of_kind("coolant")}
    return bool(asked & {"drain", "fill"}) or (
        _body(job.newest("plan")).get("template") in _OPENS_THE_COOLANT
    )


def _typical(what: str, says: str, stage: str) -> Next:
    return Next(what, says, TYPICAL_MINUTES[what], stage=stage)


def _body(entry: Entry | None) -> Mapping[str, Any]:
    return {} if entry is None else entry.body


def _takes(job: JobSheet, stage: str) -> list[Entry]:
    return [one for one in job.of_kind("take") if (one.body.get("stage") or "before") == stage]


# The stages --------------------------------------------------------------------------------------


def _stages(
    job: JobSheet, found: JobFind, plan: JobPlan | None, plan_problem: str, tenths: str
) -> tuple[StageView, ...]:
    made = {
        "complaint": _complaint(job),
        "listen": _listen(job, found),
        "find": _find(job, found, tenths),
        "measure": _measure(job),
        "agree": _agree(job, plan_problem),
        "work": _work(job, plan),
        "prove": _prove(job),
        "record": _record(job),
    }
    return tuple(StageView(stage, *made[stage]) for stage in STAGES)


def _complaint(job: JobSheet) -> tuple[str, str]:
    words = str(_body(job.newest("complaint")).get("words") or "")
    seen = len(job.of_kind("observation"))
    looked = f"{count_of(seen, 'thing')} seen when looking it over"
    if not words and seen:
        return "begun", f"The owner's words are missing; {looked}."
    if not words:
        return "open", "The owner's words are missing."
    short = words if len(words) <= 120 else words[:117].rstrip() + "..."
    quoted = f"\u201c{short}\u201d"
    return "done", f"{quoted}; {looked}" if seen else quoted


def _listen(job: JobSheet, found: JobFind) -> tuple[str, str]:
    takes = _takes(job, "before")
    if not takes:
        return "open", "No recording yet."
    count = count_of(len(takes), "take")
    off = any(one.body.get("belt") == "off" for one in takes)
    said = f"{count}, one with the belt off" if off else f"{count}, none with the belt off"
    speeds = [one.rpm_median for one in found.result.crank.values() if one is not None]
    if found.listening:
        return "begun", f"{said}; still being listened to."
    if speeds:
        known = f"crank speed known in {len(speeds)}, idle about {min(speeds):.0f} rpm"
        return "done", f"{said}; {known}."
    return "done", f"{said}."


def _find(job: JobSheet, found: JobFind, tenths: str) -> tuple[str, str]:
    findings = job.of_kind("finding")
    top, *rest = found.result.suspects
    if not findings and not found.result.listens:
        return "open", "No check was done and no recording could be weighed yet."
    ahead = f"{top.name[0].upper()}{top.name[1:]}"
    said = f"{ahead}: {tenths}"
    if rest:
        said = f"{ahead}: {tenths}, then {rest[0].name} ({in_ten(rest[0].probability)})"
    said = f"{said}; {count_of(len(findings), 'finding')}"
    unsettled = found.result.next_step is None or found.result.next_step.do == "check"
    if _body(job.newest("outcome")).get("closed") is True:
        # What it was is known now; the odds stay as they were.
        return "done", f"{said}."
    if unsettled and job.of_kind("approval"):
        return "done", f"{said}; {AGREED_EARLY}."
    return "begun" if unsettled else "done", f"{said}."


def _measure(job: JobSheet) -> tuple[str, str]:
    if job.newest("drive-sheet") is None:
        return "open", "No drive sheet yet."
    drive, _, _ = sheet_on_job(job)
    # A sheet of the engine alone gives the crank's speed; the odds wait for the pulleys.
    bare = drive is not None and not drive.pulleys
    said = ["Engine entered, no pulleys yet" if bare else "Drive sheet entered"]
    strums = [str(one.body["says"]) for one in job.of_kind("strum") if one.body.get("says")]
    if strums:
        said.append(strums[-1].rstrip("."))
    return "begun" if bare else "done", "; ".join(said) + "."


def _agree(job: JobSheet, plan_problem: str) -> tuple[str, str]:
    approval, offer = job.newest("approval"), job.newest("estimate")
    if approval is not None:
        body = approval.body
        agreed = body.get("agreement") or {}
        total = (agreed.get("option") or {}).get("total") if isinstance(agreed, dict) else None
        if not total:
            return "done", f"{body['name']} agreed to {body['option']}."
        money = f"{total} {agreed.get('currency', '')}".rstrip()
        return "done", f"{body['name']} agreed to {body['option']}, {money}."
    if offer is not None:
        return "begun", f"{offer.body.get('says') or 'Estimate made'}; the owner's OK is open."
    if job.newest("plan") is not None:
        if plan_problem:
            return "begun", f"Planned; no estimate yet. It can't be worked out: {plan_problem}"
        return "begun", "Planned; no estimate yet."
    return "open", "No plan and no estimate yet."


def _work(job: JobSheet, plan: JobPlan | None) -> tuple[str, str]:
    ticks = [one for one in job.of_kind("step-tick") if one.body.get("state") == "done"]
    parts = job.of_kind("part-used")
    torques = job.of_kind("torque-tick")
    if not (ticks or parts or torques):
        return "open", "Not begun."
    said = [f"{count_of(len(ticks), 'step')} done"]
    if parts:
        said.append(f"{count_of(len(parts), 'part')} used")
    if torques:
        said.append(f"{count_of(len(torques), 'fastener')} tightened")
    left = plan.minutes_left if plan is not None else 0.0
    all_done = ", ".join(said)
    if left > 0.0:
        return "begun", f"{all_done}; about {left:.0f} min left."
    return "done", f"{all_done}."


def _prove(job: JobSheet) -> tuple[str, str]:
    said = []
    tests = [one for one in job.of_kind("hold-test") if one.body.get("says")]
    if tests:
        said.append(str(tests[-1].body["says"]).rstrip("."))
    elif job.of_kind("hold-test"):
        said.append("hold test running")
    comparison = job.newest("comparison")
    if comparison is not None and comparison.body.get("says"):
        said.append(str(comparison.body["says"]).rstrip("."))
    if not said and _takes(job, "after"):
        return "begun", "Recorded after the repair; not compared yet."
    if not said:
        return "open", "Nothing proved yet."
    return ("done" if comparison is not None else "begun"), "; ".join(said) + "."


def _record(job: JobSheet) -> tuple[str, str]:
    body = _body(job.newest("outcome"))
    if body.get("closed") is not True:
        return "open", "Not closed."
    cured = {True: "cured", False: "not cured"}.get(body.get("cured"), "nobody said if cured")  # type: ignore[arg-type]
    cause = _in_words(str(body.get("cause") or "")) or "no cause named"
    if body.get("came_back"):
        return "done", f"Closed: {cause}, {cured}; it came back."
    return "done", f"Closed: {cause}, {cured}."


def _in_words(suspect: str) -> str:
    """A suspect's name of part and fault as it is spoken."""
    return suspect.replace(".", " ").replace("-", " ")
