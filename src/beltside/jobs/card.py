"""The card of a job: what a list shows of it, worked out from its entries.

Kinds and keys read here (casework checks them when they are written):
`owner` name; `car` plate, vin, name; `complaint` words; `outcome` cause, cured, closed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Final

STAGES: Final = (
    "complaint",
    "listen",
    "find",
    "measure",
    "agree",
    "work",
    "prove",
    "record",
)
CLOSED: Final = "closed"

STAGE_OF_KIND: Final[Mapping[str, str]] = {
    "owner": "complaint",
    "car": "complaint",
    "complaint": "complaint",
    "observation": "complaint",
    "take": "listen",
    "finding": "find",
    "drive-sheet": "measure",
    "strum": "measure",
    "alignment": "measure",
    "plan": "agree",
    "estimate": "agree",
    "approval": "agree",
    "step-tick": "work",
    "torque-tick": "work",
    "part-used": "work",
    "part-match": "work",
    "coolant": "prove",
    "hold-reading": "prove",
    "hold-test": "prove",
    "comparison": "prove",
    "outcome": "record",
}

CARD_KINDS: Final = ("owner", "car", "complaint", "outcome")
"""The kinds whose bodies the card looks into."""


@dataclass(frozen=True)
class Card:
    """What a list of jobs shows; empty text where nothing was said.

    Attributes
    ----------
    stage
        The furthest stage anything was written for, or "closed".
    owner, plate, vin, car, complaint
        As typed.
    cause
        The suspect found to be the cause, `part.fault`, once somebody said so.
    cured
        Whether the noise is gone; None while nobody said.
    take_count
        Takes that are not removed.
    """

    stage: str
    owner: str = ""
    plate: str = ""
    vin: str = ""
    car: str = ""
    complaint: str = ""
    cause: str = ""
    cured: bool | None = None
    take_count: int = 0

    def to_plain(self) -> dict[str, Any]:
        """Plain values for the database and for pages."""
        return asdict(self)


def card_from(entries: Iterable[tuple[str, Mapping[str, Any]]]) -> Card:
    """The card of a job from the kind and body of each entry that is not removed, oldest first.

    >>> card_from([("owner", {"name": "A. Berg"}), ("take", {"place": "front"})]).stage
    'listen'
    """
    newest: dict[str, Mapping[str, Any]] = {}
    furthest = 0
    takes = 0
    for kind, body in entries:
        newest[kind] = body
        takes += kind == "take"
        stage = STAGE_OF_KIND.get(kind)
        if stage is not None:
            furthest = max(furthest, STAGES.index(stage))
    outcome = newest.get("outcome", {})
    car = newest.get("car", {})
    cured = outcome.get("cured")
    return Card(
        stage=CLOSED if outcome.get("closed") is True else STAGES[furthest],
        owner=_text(newest.get("owner", {}), "name"),
        plate=_text(car, "plate"),
        vin=_text(car, "vin"),
        car=_text(car, "name"),
        complaint=_text(newest.get("complaint", {}), "words"),
        cause=_text(outcome, "cause"),
        cured=cured if isinstance(cured, bool) else None,
        take_count=takes,
    )


def _text(body: Mapping[str, Any], key: str) -> str:
    value = body.get(key)
    return value if isinstance(value, str) else ""
