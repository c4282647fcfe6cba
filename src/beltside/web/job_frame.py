"""What stays in view on every page of a job: the car, the words, the answer, the next thing."""

from __future__ import annotations

from dataclasses import dataclass


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
