"""What stays in view on every page of a job: the car, the words, the answer, the next thing."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import Request

from beltside.casework.shop import JobSheet, sheet_of
from beltside.web.pages import shop_of
from beltside.web.texts import text_


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
        Of the leading suspect, 0 to 1; None while nothing speaks for any.
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


def open_job(request: Request, number: int) -> tuple[JobSheet, JobFrame]:
    """A job's sheet and the frame of its pages.

    Raises
    ------
    MissingError
        When there is no such job.
    """
    shop = shop_of(request)
    sheet = sheet_of(shop, str(number))
    return sheet, frame_of(sheet)


def frame_of(sheet: JobSheet) -> JobFrame:
    """The frame of a job's pages."""
    card = sheet.job.card
    href = f"/job/{sheet.job.number}/take"
    words = text_("Record a take")
    return JobFrame(
        sheet.job.number, card.car or card.plate, card.complaint, "", None, words, href, 2
    )
