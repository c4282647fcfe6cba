"""The figures of a strum as they are typed, and the spans of a job's drive to choose from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Final

from beltside.base.errors import BeltsideError
from beltside.casework.drive import drive_of_sheet
from beltside.casework.shop import FieldProblemsError, JobSheet
from beltside.casework.shop_case import sheet_on_job
from beltside.drive.tension import SPAN_RANGE_MM

MOST_N: Final = 5000.0
# Lowest and highest that is taken, and the unit.
LIMITS: Final[Mapping[str, tuple[float, float, str]]] = {
    "span_mm": (*SPAN_RANGE_MM, "mm"),
    "target_low_n": (1.0, MOST_N, "N"),
    "target_high_n": (1.0, MOST_N, "N"),
    "ribs": (2.0, 14.0, "ribs"),
    "mass_g_per_m": (10.0, 1000.0, "g/m"),
}


@dataclass(frozen=True)
class StrumFigures:
    """What is known of the plucked span: as `shop_measure.strum_on_job` takes it."""

    between: tuple[str, ...] = ()
    span_mm: float | None = None
    target_n: tuple[float, float] | None = None
    ribs: int | None = None
    mass_g_per_m: float | None = None

    def given(self) -> dict[str, Any]:
        """By name, for `strum_on_job` and `strum_again`."""
        return {field.name: getattr(self, field.name) for field in fields(self)}


def spans_on_job(job: JobSheet) -> list[tuple[str, str, float]]:
    """Spans of the job's drive: from, to, free length [mm]; none without positions."""
    sheet, _, _ = sheet_on_job(job)
    if sheet is None:
        return []
    try:
        return [(one.from_part, one.to_part, one.length_mm) for one in drive_of_sheet(sheet).spans]
    except BeltsideError:
        return []


def strum_figures(typed: Mapping[str, str]) -> StrumFigures:
    """Figures as typed: `span` as "part,part", and the names of `LIMITS`; empty for not known.

    A comma will do for the decimal point. One of the two targets alone stands for both.

    Raises
    ------
    FieldProblemsError
        With all that is wrong, field by field.
    """
    problems: dict[str, str] = {}
    found: dict[str, float | None] = {}
    for name, (low, high, unit) in LIMITS.items():
        found[name] = None
        text = typed.get(name, "").strip()
        if not text:
            continue
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            problems[name] = f'"{text}" is no number; {low:g} to {high:g} {unit} will do.'
            continue
        if not low <= value <= high or (name == "ribs" and value != int(value)):
            problems[name] = f"{text}: {low:g} to {high:g} {unit} will do."
        else:
            found[name] = value
    low_n, high_n = found["target_low_n"], found["target_high_n"]
    if low_n is not None and high_n is not None and low_n > high_n:
        problems["target_high_n"] = f"{high_n:g} N is less than the lowest, {low_n:g} N."
    between = tuple(part for part in typed.get("span", "").split(",") if part)
    if len(between) not in (0, 2):
        problems["span"] = "two pulleys, or none."
    if problems:
        raise FieldProblemsError("strum", typed, problems)
    lowest, highest = low_n or high_n, high_n or low_n
    return StrumFigures(
        between,
        found["span_mm"],
        None if lowest is None or highest is None else (lowest, highest),
        None if found["ribs"] is None else int(found["ribs"]),
        found["mass_g_per_m"],
    )
