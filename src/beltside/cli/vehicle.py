"""The command `beltside vehicle`. Thin: parse, call `casework`, print."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from beltside.cli.screen import write_json


def vehicle(
    number: Annotated[
        str,
        typer.Argument(
            metavar="VIN-OR-LABEL",
            help="The vehicle identification number, or the engine family (test group) on the "
            "emissions label.",
        ),
    ],
    other: Annotated[
        str | None,
        typer.Argument(metavar="OTHER", help="The other one of the two, of the same car."),
    ] = None,
    year: Annotated[
        int | None,
        typer.Option("--year", metavar="YEAR", help="This year, when the clock is wrong."),
    ] = None,
    north_american: Annotated[
        bool | None,
        typer.Option(
            "--north-american/--elsewhere",
            help="Made for North America or not; by the number's first characters when left out.",
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")
    ] = False,
) -> None:
    """Say what a car's number or emissions label tells: check digit, model year, displacement."""
    from beltside.casework.vehicle import vehicle as read_vehicle

    result = read_vehicle(
        number,
        other,
        today_year=date.today().year if year is None else year,
        north_american=north_american,
    )
    if as_json:
        write_json(result.to_json())
        return
    from beltside.cli.vehicle_show import show_vehicle

    show_vehicle(result)
