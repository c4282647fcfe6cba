"""Readings of a hold test: a CSV file, or lines typed one by one.

The format: docs/formats.md.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from beltside.base.errors import InputError, LimitError, nearest
from beltside.casework.coolant_text_file import read_text
from beltside.casework.coolant_values import read_gauge_kpa, read_minutes, read_temperature_c
from beltside.coolant.hold_readings import MOST_READINGS, Reading
from beltside.coolant.pressure import KPA_PER, read_pressure_kpa

_TIME: Final = {"time": 1.0, "time_min": 1.0, "minutes": 1.0, "time_s": 1 / 60.0, "seconds": 1 / 60}
_PRESSURE: Final = {
    "pressure": 0.0,
    "pressure_kpa": 1.0,
    "kpa": 1.0,
    "pressure_bar": KPA_PER["bar"],
    "bar": KPA_PER["bar"],
    "pressure_psi": KPA_PER["psi"],
    "psi": KPA_PER["psi"],
    "pressure_kgf_cm2": KPA_PER["kgf/cm2"],
}
_TEMPERATURE: Final = ("engine", "engine_c", "engine_f", "air", "air_c", "air_f")
COLUMNS: Final = (*_TIME, *_PRESSURE, *_TEMPERATURE)


def load_hold_readings(path: Path) -> list[Reading]:
    """Readings from a CSV file with a heading: time and pressure, perhaps engine and air.

    Commas, semicolons (then decimal commas are read) or tabs between; lines with # are left out.

    Raises
    ------
    InputError
        When the file is not there or a line can't be read: it names the line.
    LimitError
        When the file is larger than 1 MB or has more than 5,000 readings.
    """
    text = read_text(path, "a CSV file of readings")
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise InputError(f"{path.name} is empty", allowed="a heading and a line for each reading")
    if len(lines) > MOST_READINGS + 1:
        raise LimitError(
            f"{path.name} has {len(lines) - 1} readings", allowed=f"up to {MOST_READINGS}"
        )
    between = next((sign for sign in ";\t," if sign in lines[0][1]), ",")
    head = [cell.strip().lower() for cell in next(csv.reader([lines[0][1]], delimiter=between))]
    _require_head(path.name, head)
    readings = []
    for number, line in lines[1:]:
        cells = next(csv.reader([line], delimiter=between))
        if len(cells) != len(head):
            raise InputError(
                f"{path.name}, line {number}: {len(cells)} cells under {len(head)} columns",
                allowed="one cell for each column",
                instead="semicolons between the cells, if commas stand for decimals",
            )
        try:
            readings.append(
                _reading(dict(zip(head, (cell.strip() for cell in cells), strict=True)))
            )
        except InputError as error:
            raise InputError(
                f"{path.name}, line {number}: {error.given}",
                allowed=error.allowed,
                instead=error.instead,
            ) from None
    return readings


def _require_head(name: str, head: Sequence[str]) -> None:
    for column in head:
        if column not in COLUMNS:
            raise InputError(
                f'{name}: its first line has a column "{column}"',
                allowed=", ".join(COLUMNS),
                instead=nearest(column, COLUMNS) or "time_min,pressure_kpa as the first line",
            )
    for wanted, words in ((_TIME, "time"), (_PRESSURE, "pressure")):
        count = sum(column in wanted for column in head)
        if count != 1:
            raise InputError(
                f"{name} has {count} columns of {words}",
                allowed=f"one of {', '.join(wanted)}",
            )


def _reading(cells: dict[str, str]) -> Reading:
    minutes = kpa = 0.0
    temperatures: dict[str, float] = {}
    for column, cell in cells.items():
        if column in _TIME:
            minutes = (
                read_minutes(cell)
                if ":" in cell or column == "time"
                else _number(cell, column) * _TIME[column]
            )
        elif column in _PRESSURE:
            kpa = (
                read_pressure_kpa(cell)
                if column == "pressure"
                else _number(cell, column) * _PRESSURE[column]
            )
        elif cell:
            place, _, unit = column.partition("_")
            temperatures[place] = read_temperature_c(cell, column, us=unit == "f")
    return Reading(minutes, kpa, temperatures.get("engine"), temperatures.get("air"))


def _number(cell: str, column: str) -> float:
    try:
        return float(cell.replace(",", "."))
    except ValueError:
        raise InputError(f'{column} is "{cell}"', allowed="a number") from None


def read_typed(text: str, *, us: bool = False) -> Reading:
    """A reading as typed: "TIME PRESSURE" or "TIME=PRESSURE", perhaps with engine and air.

    TIME is "1:30", "90s" or minutes; a bare PRESSURE is kPa, or psi with `us`.

    >>> read_typed("1:30=107 kPa").gauge_kpa
    107.0
    """
    time, sign, rest = text.partition("=")
    if not sign:
        time, _, rest = text.strip().partition(" ")
    cells = [cell.strip() for cell in rest.split("/")]
    if not rest.strip() or len(cells) > 3:
        raise InputError(
            f'the reading is "{text}"',
            allowed="TIME=PRESSURE, perhaps TIME=PRESSURE/ENGINE/AIR",
            instead='"1:30=107" or "1:30=107/25C/20C"',
        )
    kpa = read_gauge_kpa(cells[0], us=us)
    engine, air = (
        read_temperature_c(cell, us=us) if cell else None for cell in (*cells[1:], "", "")[:2]
    )
    return Reading(read_minutes(time), kpa, engine, air)
