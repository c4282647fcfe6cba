"""Logs of step times: a CSV file that a spreadsheet can write."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from beltside.base.errors import InputError, LimitError, nearest
from beltside.casework.formats.problems import FileProblemsError, Problem
from beltside.teardown.learning import SLOWEST, Logged

COLUMNS: Final = ("technician", "job", "thing", "phase", "minutes")
OPTIONAL: Final = ("planned_minutes",)
LARGEST_BYTES: Final = 1_000_000
PHASES: Final = ("apart", "refit")


def load_log(path: Path, planned_min: Mapping[tuple[str, str], float]) -> list[Logged]:
    """The rows of a log whose steps are planned.

    Parameters
    ----------
    path
        A CSV file with the columns technician, job, thing, phase ("apart" or "refit"), minutes and,
        optionally, planned_minutes; commas or semicolons, decimal points (or commas, with
        semicolons).
    planned_min
        (thing, phase) to planned minutes, for rows without planned_minutes. Rows of things that
        are not there, or for which no minutes are planned, are left out.

    Raises
    ------
    InputError
        When the file is missing or is no such table, or as `FileProblemsError` naming every row
        that is off.
    LimitError
        When it is larger than 1 MB.
    """
    if not path.is_file():
        raise InputError(f"{path} is not there", allowed="a CSV file of step times")
    data = path.read_bytes()
    if len(data) > LARGEST_BYTES:
        raise LimitError(f"{path.name} is larger than 1 MB", allowed="a log of step times")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is not UTF-8 text", allowed="a CSV file") from None
    first = text.partition("\n")[0]
    semicolons = ";" in first
    reader = csv.DictReader(io.StringIO(text), delimiter=";" if semicolons else ",")
    columns = [name.strip() for name in reader.fieldnames or []]
    for name in COLUMNS:
        if name not in columns:
            close = nearest(name, columns)
            raise InputError(
                f'{path.name} has no column "{name}"',
                allowed=", ".join((*COLUMNS, *OPTIONAL)),
                instead=f'calling "{close}" "{name}"' if close else "",
            )
    reader.fieldnames = columns
    rows: list[Logged] = []
    problems: list[Problem] = []
    for number, row in enumerate(reader, start=1):
        one = _row(path.name, number, row, planned_min, semicolons, problems)
        if one is not None:
            rows.append(one)
    if problems:
        raise FileProblemsError(problems[:100])
    return rows


def _row(
    file: str,
    number: int,
    row: Mapping[str, str | None],
    planned_min: Mapping[tuple[str, str], float],
    semicolons: bool,
    problems: list[Problem],
) -> Logged | None:
    cells = {name: (row.get(name) or "").strip() for name in (*COLUMNS, *OPTIONAL)}
    if not any(cells.values()):
        return None

    def off(column: str, allowed: str) -> None:
        problems.append(Problem(file, ("row", number, column), f'"{cells[column]}"', allowed))

    phase = cells["phase"].lower()
    if phase not in PHASES:
        off("phase", '"apart" or "refit"')
    for column in ("technician", "job", "thing"):
        if not cells[column]:
            off(column, "a name")
    minutes = _number(cells["minutes"], semicolons)
    if minutes is None or minutes <= 0.0:
        off("minutes", "minutes above 0")
    planned: float | None = planned_min.get((cells["thing"], phase), 0.0)
    if cells["planned_minutes"]:
        planned = _number(cells["planned_minutes"], semicolons)
        if planned is None or planned <= 0.0:
            off("planned_minutes", "minutes above 0")
    if minutes is None or minutes <= 0.0 or not planned or planned <= 0.0:
        return None
    if not 1.0 / SLOWEST <= minutes / planned <= SLOWEST:
        off("minutes", f"between a {SLOWEST:g}th and {SLOWEST:g} times the {planned:g} min planned")
        return None
    return Logged(cells["technician"], cells["job"], cells["thing"], phase, planned, minutes)


def _number(text: str, semicolons: bool) -> float | None:
    try:
        value = float(text.replace(",", ".") if semicolons else text)
    except ValueError:
        return None
    return value if value == value and abs(value) < 1e9 else None
