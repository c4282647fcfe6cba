"""The car is back: linked to the earlier job, compared with the hand-over, and learned from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.casework.compare import VERSION as COMPARE_VERSION
from beltside.casework.results import Progress
from beltside.casework.shop import Entry, JobSheet, Shop, sheet_of
from beltside.casework.shop_analysis import analyse_now
from beltside.casework.shop_case import NO_SHEET, sheet_on_job, take_names
from beltside.casework.shop_jobs import came_back, remind
from beltside.casework.shop_learning import learn_from
from beltside.casework.shop_listen import take_of
from beltside.casework.shop_measure import COMPARE

LEVEL_AFTER_DAYS: Final = 7
LISTEN_AFTER_KM: Final = 500.0
"""Common practice, no source."""


@dataclass(frozen=True)
class Earlier:
    """The job that this one goes on from, and how it was handed over.

    Attributes
    ----------
    job
        The earlier job.
    why
        What the owner says now.
    hand_over
        The take it was handed over with; None when there is none.
    cause
        What the cause was thought to be.
    """

    job: JobSheet
    why: str
    hand_over: Entry | None
    cause: str


@dataclass(frozen=True)
class SinceHandOver:
    """A take of today beside the hand-over take of the earlier job.

    Attributes
    ----------
    says
        In a sentence.
    louder_db, low, high
        How much louder it is now than at hand-over, with its range [dB]; None when not comparable.
    why_not
        Why they can't be compared.
    result
        The whole comparison; its "before" is the hand-over, "after" today.
    """

    says: str
    louder_db: float | None
    low: float | None
    high: float | None
    why_not: tuple[str, ...]
    result: Mapping[str, Any]

    def to_json(self) -> dict[str, Any]:
        """Plain dict."""
        return {
            "says": self.says,
            "louder_db": {"value": self.louder_db, "low": self.low, "high": self.high},
            "why_not": list(self.why_not),
            "comparison": dict(self.result),
        }


def begin_comeback(
    shop: Shop, job_id: str, words: str = "", *, new_id: str | None = None
) -> JobSheet:
    """Open a job for a car that is back; the earlier one counts as not cured from now on.

    Raises
    ------
    InputError
        When the earlier job is not closed.
    """
    new = came_back(shop, job_id, words, new_id=new_id)
    _learn_as(shop, sheet_of(shop, job_id), cured=False)
    return new


def earlier_of(shop: Shop, job: JobSheet) -> Earlier | None:
    """The job that this one goes on from; None when it is no comeback."""
    link = job.newest("comeback")
    if link is None:
        return None
    earlier = sheet_of(shop, str(link.body["earlier_job"]))
    outcome = earlier.newest("outcome")
    return Earlier(
        earlier,
        str(link.body.get("why") or ""),
        hand_over_take(earlier),
        str(outcome.body.get("cause") or "") if outcome is not None else "",
    )


def hand_over_take(job: JobSheet) -> Entry | None:
    """The take a job was handed over with: the marked one, else the last after the repair."""
    after = [one for one in job.of_kind("take") if one.body.get("stage") == "after"]
    marked = [one for one in job.of_kind("take") if one.body.get("hand_over")]
    found = marked or after
    return found[-1] if found else None


def since_hand_over(
    shop: Shop, job_id: str, take: str = "", *, progress: Progress | None = None
) -> SinceHandOver:
    """Compare a take of today with the one the car was handed over with.

    Parameters
    ----------
    take
        The take of today; the newest one made as the hand-over was, without.

    Raises
    ------
    InputError
        When the job is no comeback, or a take or the drive sheet is missing.
    RecordingError, LimitError
        When a recording can't be used.
    """
    job = sheet_of(shop, job_id)
    earlier = earlier_of(shop, job)
    if earlier is None:
        raise InputError(f"job {job.job.number} goes on from no earlier one", allowed="a comeback")
    then = earlier.hand_over
    if then is None:
        raise InputError(f"job {earlier.job.job.number} has no take from after its repair")
    takes = job.of_kind("take")
    if not takes:
        raise InputError("there is no recording of today yet", instead="recording one")
    now = take_of(job, take) if take else max(takes, key=lambda one: _alike(then, one))
    _, toml, _ = sheet_on_job(job)
    if toml is None:
        raise InputError(NO_SHEET, instead="entering the drive sheet, at least its [engine]")
    settings = {
        "sheet": toml,
        "before": _side(then, f"hand-over of job {earlier.job.job.number}"),
        "after": _side(now, take_names(job)[now.id]),
    }
    found = analyse_now(shop, COMPARE, COMPARE_VERSION, job.job.id, settings, job.job.id, progress)
    result: Mapping[str, Any] = found["result"]
    quieter = result["quieter_db"]
    value = quieter["value"]
    if not result["comparable"] or value is None:
        reasons = tuple(str(one) for one in result["why_not"])
        says = "Today's take can't be compared with the hand-over."
        if reasons:
            says = f"Today's take can't be compared with the hand-over: {reasons[0]}"
        return SinceHandOver(says, None, None, None, reasons, result)
    low, high = (None if quieter[end] is None else -quieter[end] for end in ("high", "low"))
    return SinceHandOver(_louder_words(-value, low, high), -value, low, high, (), result)


def settle(shop: Shop, job: JobSheet) -> str:
    """What the closed comeback says of the earlier job, and let the odds learn it.

    The same cause again: the earlier finding was right, the part failed again. Another cause: the
    earlier one was wrong, and stays learned as not cured.

    Returns
    -------
    str
        In a sentence; "" when there is nothing to say.
    """
    says, same = judged(shop, job)
    earlier = earlier_of(shop, job)
    if says and earlier is not None:
        _learn_as(shop, earlier.job, cured=same)
    return says


def judged(shop: Shop, job: JobSheet) -> tuple[str, bool]:
    """What a closed comeback says of the earlier job, and whether that was found rightly.

    Nothing is changed; "" when there is nothing to say.
    """
    earlier = earlier_of(shop, job)
    outcome = job.newest("outcome")
    if earlier is None or outcome is None or not earlier.cause:
        return "", False
    cause, cured = outcome.body.get("cause"), outcome.body.get("cured")
    if not outcome.body.get("closed") or not cause or cured is None:
        return "", False
    number = earlier.job.job.number
    if cause != earlier.cause:
        return f"Another cause than in job {number}: that one counts as not cured.", False
    if cured is True:
        return f"The same cause as in job {number}: it was found rightly, and failed again.", True
    return f"The cause of job {number} was put right again and the noise is still there.", False


def remind_after(shop: Shop, job_id: str, *, today: date | None = None) -> list[Entry]:
    """Write down what is usual after a repair: the level after a heat cycle, a listen at 500 km.

    Nothing is written that stands there already; the level only where coolant was touched, the
    listen only where the odometer was read.
    """
    job = sheet_of(shop, job_id)
    today = today or datetime.now(UTC).date()
    there = {str(one.body["words"]) for one in job.of_kind("reminder")}
    made = []
    level = "Check the coolant level, engine cold after a drive"
    if level not in there and (job.of_kind("coolant") or job.of_kind("hold-test")):
        due = (today + timedelta(days=LEVEL_AFTER_DAYS)).isoformat()
        made.append(remind(shop, job.job.id, level, due=due))
    car = job.newest("car")
    distance = car.body.get("distance_km") if car is not None else None
    listen = "Listen again at idle, as at the hand-over"
    if listen not in there and distance is not None:
        made.append(remind(shop, job.job.id, listen, due_km=float(distance) + LISTEN_AFTER_KM))
    return made


def _learn_as(shop: Shop, job: JobSheet, *, cured: bool) -> None:
    """Let the odds learn a closed job with another end than the one it was closed with."""
    entries = tuple(
        replace(one, body={**one.body, "cured": cured}) if one.kind == "outcome" else one
        for one in job.entries
    )
    learn_from(shop, JobSheet(job.job, entries))


def _side(take: Entry, name: str) -> dict[str, Any]:
    return {"file": take.body["file"], "name": name, "crank_rpm": take.body.get("crank_rpm")}


def _alike(then: Entry, now: Entry) -> tuple[int, datetime]:
    same = sum(
        then.body.get(name) == now.body.get(name) for name in ("place", "belt", "load", "raised")
    )
    return same, now.created_at


def _louder_words(value: float, low: float | None, high: float | None) -> str:
    """How much louder than at hand-over.

    >>> _louder_words(6.2, 5.0, 7.4)
    '6.2 dB louder than at the hand-over (5.0 to 7.4).'
    >>> _louder_words(0.3, -0.8, 1.4)
    'About as loud as at the hand-over: between 0.8 dB quieter and 1.4 dB louder.'
    """
    if low is not None and high is not None and low < 0.0 < high:
        return (
            f"About as loud as at the hand-over: between {-low:.1f} dB quieter and "
            f"{high:.1f} dB louder."
        )
    says = f"{abs(value):.1f} dB quieter than at the hand-over"
    if value >= 0.0:
        says = f"{value:.1f} dB louder than at the hand-over"
    if low is None or high is None:
        return f"{says}."
    near, far = sorted((abs(low), abs(high)))
    return f"{says} ({near:.1f} to {far:.1f})."
