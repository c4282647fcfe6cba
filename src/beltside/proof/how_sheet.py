"""The how-it-was-done sheet, on paper and as one HTML file, with its photos made small."""

from __future__ import annotations

import base64
import io
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt
from PIL import Image

from beltside.proof.sheet_html import templates
from beltside.proof.sheet_words import as_typed, row
from beltside.proof.typeset import pdf_of

if TYPE_CHECKING:
    from beltside.casework.shop_how import HowPhoto, HowSheet, HowStep

Pixels = npt.NDArray[np.uint8]

LONGEST_SIDE_PX: Final = 720
JPEG_QUALITY: Final = 78
CAUTION: Final = (
    "This tells how one car was done. Torques, capacities and the order of work of another car "
    "stand in its maker's service data. Support the car on stands; let the engine cool; take the "
    "battery's earth lead off first."
)


def how_pdf(sheet: HowSheet, photos: Mapping[str, Pixels], *, us: bool = False) -> bytes:
    """The sheet as PDF/A-2b; the same sheet and photos give the same bytes.

    Parameters
    ----------
    photos
        Pixels by SHA-256, shape (height, width, 3), uint8; a photo without pixels is left out.
    us
        US units and Letter paper.
    """
    moment = datetime.fromisoformat(sheet.made_on).replace(tzinfo=UTC)
    beside = {f"{sha256}.jpg": small_jpeg(pixels) for sha256, pixels in photos.items()}
    values = {
        **_values(sheet, photos, us=us),
        "paper": "us-letter" if us else "a4",
        "moment": dict(
            zip(("year", "month", "day"), map(int, sheet.made_on.split("-")), strict=True)
        ),
    }
    moment = datetime.fromisoformat(sheet.made_on).replace(tzinfo=UTC)
    return pdf_of("how.typ", values, moment, beside)


def how_html(sheet: HowSheet, photos: Mapping[str, Pixels], *, us: bool = False) -> str:
    """The sheet as one self-contained HTML file; it names no outside address."""
    data = {sha256: _data(pixels) for sha256, pixels in photos.items()}
    values = _values(sheet, photos, us=us)
    for photo in (*values["photos"], *(one for step in values["steps"] for one in step["photos"])):
        photo["data"] = data[photo["file"].removesuffix(".jpg")]
    return templates().get_template("how.html").render(d=values)


def small_jpeg(pixels: Pixels) -> bytes:
    """A picture as JPEG, at most 720 pixels a side, with nothing written beside it."""
    image = Image.fromarray(pixels)
    image.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return out.getvalue()


def _values(sheet: HowSheet, photos: Mapping[str, Pixels], *, us: bool) -> dict[str, Any]:
    timed = sum(one.minutes is not None for one in sheet.steps)
    what = as_typed(sheet.what)
    return {
        "title": f"How job {sheet.job_number} was done",
        "kind": f"How it was done · job {sheet.job_number} · {sheet.made_on}",
        "headline": what or "How it was done",
        "car": as_typed(sheet.car) or "Car without a name",
        "owner": as_typed(sheet.owner),
        "total": f"{sheet.minutes:.0f}" if timed else "",
        "total_note": f"in {timed} of {len(sheet.steps)} steps",
        "footer": f"How job {sheet.job_number} was done · {sheet.made_on}",
        "steps": [_step(number, step, photos) for number, step in enumerate(sheet.steps, start=1)],
        "torque": [_row(line, us) for line in sheet.torque],
        "clips": [_row(line, us) for line in sheet.clips],
        "parts": [as_typed(one) for one in sheet.parts],
        "photos": _photos(sheet.photos, photos),
        "missing": [as_typed(one) for one in sheet.missing],
        "caution": CAUTION,
    }


def _step(number: int, step: HowStep, photos: Mapping[str, Pixels]) -> dict[str, Any]:
    facts = []
    if step.state != "done":
        facts.append(("State:", "begun" if step.state == "started" else step.state))
    if step.tools:
        facts.append(("Tools:", ", ".join(step.tools)))
    if step.torque:
        facts.append(("Torque:", step.torque.removeprefix("torque: ")))
    facts += [("Caution:", one) for one in step.cautions]
    planned = step.planned_minutes
    return {
        "number": str(number),
        "title": as_typed(step.title[:1].upper() + step.title[1:]),
        "done": step.state == "done",
        "minutes": "" if step.minutes is None else _minutes(step.minutes),
        "planned": "" if planned is None else _minutes(planned),
        "facts": [{"label": label, "words": as_typed(words)} for label, words in facts],
        "note": as_typed(step.note),
        "photos": _photos(step.photos, photos),
    }


def _minutes(minutes: float) -> str:
    return "under 1" if 0.0 < minutes < 0.95 else f"{minutes:.0f}"


def _photos(shown: tuple[HowPhoto, ...], photos: Mapping[str, Pixels]) -> list[dict[str, str]]:
    return [
        {
            "file": f"{one.sha256}.jpg",
            "caption": as_typed(one.caption),
            "alt": as_typed(one.caption) or "photo without a caption",
        }
        for one in shown
        if one.sha256 in photos
    ]


def _row(line: Any, us: bool) -> dict[str, str]:
    found = row(line, us=us)
    return {
        "label": found.label,
        "words": found.words,
        "number": found.number,
        "unit": found.unit,
        "source": found.source,
    }


def _data(pixels: Pixels) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(small_jpeg(pixels)).decode("ascii")
