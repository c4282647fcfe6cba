"""What stays in view on every page of a job: the car, the words, the answer, the next thing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fastapi import Request

from beltside.casework.shop import JobSheet, sheet_of
from beltside.casework.shop_view import JobView, view_of
from beltside.web.pages import shop_of


@dataclass(frozen=True)
class JobFrame:
    """The frame of a job's pages.

    Attributes
    ----------
    number
        The job's number, as in its address.
    car, words
        The car and the owner's words; empty when nothing was said.
    answer
        The present answer in a sentence.
    probability
        Of the leading suspect, 0 to 1; None on a closed job, whose answer is no guess any more.
    next_words, next_href, next_minutes
        The one thing to do next, where, and how long it takes; empty when nothing is left.
    """

    number: int
    car: str
    words: str
    answer: str
    probability: float | None
    next_words: str
    next_href: str
    next_minutes: int | None


# Where each thing to do next is done; `{number}` is the job's.
_DONE_AT: Final[Mapping[str, str]] = {
    "words": "/job/{number}/complaint",
    "take": "/job/{number}/take",
    "drive-sheet": "/job/{number}/drive",
    "check": "/job/{number}/find",
    "plan": "/job/{number}/plan",
    "step": "/job/{number}/plan",
    "estimate": "/job/{number}/agree/offer",
    "approval": "/job/{number}/agree",
    "take-after": "/job/{number}/take?stage=after",
    "comparison": "/job/{number}/compare",
    "hold-test": "/job/{number}/hold",
    "close": "/job/{number}/close",
    "reminder": "/reminders",
}


def open_job(request: Request, number: int) -> tuple[JobSheet, JobFrame]:
    """A job's sheet and the frame of its pages.

    Raises
    ------
    MissingError
        When there is no such job.
    """
    shop = shop_of(request)
    sheet = sheet_of(shop, str(number))
    return sheet, frame_of(view_of(shop, sheet))


def frame_of(view: JobView) -> JobFrame:
    """The frame of a job's pages from the job at a glance."""
    ahead = view.next
    return JobFrame(
        view.line.number,
        view.line.car,
        view.line.words,
        view.answer,
        None if view.line.stage == "closed" else view.probability,
        ahead.says,
        _DONE_AT.get(ahead.what, f"/job/{{number}}#{ahead.stage}").format(number=view.line.number)
        if ahead.what
        else "",
        None if ahead.minutes is None else max(1, round(ahead.minutes)),
    )
