"""Bearings by number, from a table handed in as plain values (drive/bearings.toml)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from beltside.base.errors import InputError, nearest
from beltside.drive.check import bearing_problems, key_path
from beltside.drive.sheet import Bearing

_KEYS = {"balls": int, "ball_mm": float, "pitch_mm": float, "contact_deg": float}
_SURE = ("published", "memory")


@dataclass(frozen=True)
class TableBearing:
    """A bearing of the table: geometry, where it is from, and "published" or "memory"."""

    bearing: Bearing
    source: str
    sure: str


BearingTable = Mapping[str, TableBearing]


def parse_bearing_table(table: Mapping[str, object]) -> dict[str, TableBearing]:
    """Check a bearing table as read from TOML.

    Parameters
    ----------
    table
        Number to a mapping with `balls`, `ball_mm`, `pitch_mm`, `source`, `sure` and, if it is
        not zero, `contact_deg`.

    Raises
    ------
    InputError
        Naming everything that is wrong with the table.

    >>> row = {"balls": 8, "ball_mm": 6.746, "pitch_mm": 28.5, "source": "s", "sure": "memory"}
    >>> parse_bearing_table({"6203": row})["6203"].bearing.balls
    8
    """
    problems: list[str] = []
    bearings: dict[str, TableBearing] = {}
    for number, row in table.items():
        found = _row_problems(number, row)
        problems += found
        if found or not isinstance(row, Mapping):
            continue
        bearings[number] = TableBearing(
            bearing=Bearing(
                balls=int(row["balls"]),
                ball_mm=float(row["ball_mm"]),
                pitch_mm=float(row["pitch_mm"]),
                contact_deg=float(row.get("contact_deg", 0.0)),
                number=number,
            ),
            source=str(row["source"]),
            sure=str(row["sure"]),
        )
        for problem in bearing_problems((number,), bearings[number].bearing):
            problems.append(f"{key_path(problem.where)}: {problem.given}")
    if problems:
        raise InputError(
            "the bearing table has problems: " + "; ".join(problems),
            allowed="per number: balls, ball_mm, pitch_mm, contact_deg (optional), source, and "
            'sure = "published" or "memory"',
        )
    return bearings


def find_bearing(number: str, table: BearingTable) -> TableBearing:
    """The bearing of that number; sealing and clearance suffixes are passed over.

    Raises
    ------
    InputError
        When the number is not in the table; names the nearest.

    >>> row = {"balls": 8, "ball_mm": 6.746, "pitch_mm": 28.5, "source": "s", "sure": "memory"}
    >>> find_bearing("6203-2RS C3", parse_bearing_table({"6203": row})).bearing.pitch_mm
    28.5
    """
    text = number.strip().upper()
    basic = re.match(r"\d+", text)
    for key in (text, basic[0] if basic else ""):
        if key in table:
            return table[key]
    close = nearest(text, table)
    raise InputError(
        f'bearing number "{number}" is not in the table',
        allowed=", ".join(table),
        instead=(f'"{close}", or ' if close else "")
        + "its geometry: bearing = { balls = 8, ball_mm = 6.75, pitch_mm = 28.5 }",
    )


def _row_problems(number: str, row: object) -> list[str]:
    if not isinstance(row, Mapping):
        return [f"{number} is not a group of keys"]
    problems = [
        f"{number}.{key} is not a known key"
        + (f" (nearest: {close})" if (close := nearest(str(key), _KEYS)) else "")
        for key in row
        if key not in _KEYS and key not in ("source", "sure")
    ]
    for key, kind in _KEYS.items():
        value = row.get(key, 0.0 if key == "contact_deg" else None)
        wanted = (int,) if kind is int else (int, float)
        if isinstance(value, bool) or not isinstance(value, wanted):
            problems.append(f"{number}.{key} must be a number, not {value!r}")
    if not isinstance(row.get("source"), str):
        problems.append(f"{number}.source must say where the geometry is from")
    if row.get("sure") not in _SURE:
        problems.append(f'{number}.sure must be "published" or "memory"')
    return problems
