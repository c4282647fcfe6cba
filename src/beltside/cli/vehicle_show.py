"""A car's number and label as text for a person: the answer first, then what it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from beltside.cli.screen import page
from beltside.cli.text import add_row, bullets, columns, heading, say
from beltside.proof.wording import full_stop

if TYPE_CHECKING:
    from rich.console import Console

    from beltside.casework.vehicle import VehicleResult


def show_vehicle(result: VehicleResult) -> None:
    """Print what the number, the label or both say."""
    with page() as out:
        say(out, _answer(result), style="bold")
        _number(out, result)
        _typos(out, result)
        _label(out, result)
        bullets(out, "Warnings", result.warnings)


def _answer(result: VehicleResult) -> str:
    said = []
    vin, family = result.vin, result.family
    if vin is not None and (vin.typos is not None or vin.model_year.certainty == "doubtful"):
        said.append("This number was misread or mistyped.")
    if result.model_year is None:
        said.append("Model year: can't tell from this.")
    else:
        said.append(f"Model year {result.model_year}, {result.certainty}.")
    if family is not None:
        found = family.displacement
        if found is None:
            said.append("Displacement: can't tell from this.")
        else:
            litres = f"{found.litres:.3g} litres"
            if found.written.endswith(" litres"):
                litres = found.written
            said.append(f"Displacement {litres}, {found.certainty}.")
    return " ".join(said)


def _number(out: Console, result: VehicleResult) -> None:
    vin = result.vin
    if vin is None:
        return
    heading(out, "Number", vin.vin)
    table = columns("left", "wrap")
    add_row(table, "check digit", full_stop(vin.check.says))
    add_row(table, "model year", full_stop(vin.model_year.says))
    add_row(table, "area", vin.region or "can't tell")
    country = vin.country or "can't tell"
    add_row(table, "country", f"{country}: of the maker's code, not always of the plant")
    add_row(table, "maker's code", vin.maker_code + (" (a small maker)" if vin.small_maker else ""))
    add_row(table, "attributes", f"{vin.attributes}: what they mean only the maker says")
    if vin.plant is not None:
        add_row(table, "plant", vin.plant)
    if vin.serial is None:
        add_row(table, "this car", f"{vin.indicator}: how it is made up only the maker says")
    else:
        add_row(table, "serial", vin.serial)
    out.print(table)
    if not vin.check.mandatory and result.provenance.inputs["north_american"] is None:
        say(out, "Built elsewhere but made for North America? Add --north-american.")


def _typos(out: Console, result: VehicleResult) -> None:
    typos = None if result.vin is None else result.vin.typos
    if typos is None:
        return
    if not typos.total:
        heading(out, "Probably meant")
        say(out, "No single slip explains it: more than one character is wrong.")
        return
    heading(out, "Probably meant", "likeliest first; look at these characters on the car")
    table = columns("left", "left", "wrap")
    for one in typos.shown:
        year = "year: can't tell" if one.model_year.year is None else str(one.model_year.year)
        add_row(table, one.vin, year, full_stop(one.says))
    out.print(table)
    rest = typos.total - len(typos.shown)
    if rest:
        say(out, f"{typos.total} numbers fit in all; {rest} less likely ones are not shown.")


def _label(out: Console, result: VehicleResult) -> None:
    family = result.family
    if family is None:
        return
    heading(out, "Engine family", family.family)
    table = columns("left", "wrap")
    add_row(table, "model year", full_stop(family.year_says))
    add_row(table, "displacement", full_stop(family.displacement_says))
    found = family.displacement
    if found is not None:
        add_row(table, "", f"By its last digit {found.low_l:.4g} to {found.high_l:.4g} litres.")
    add_row(table, "class", f"{family.sector}: {family.sector_says}")
    add_row(table, "maker's code", family.maker_code)
    add_row(table, "maker's own", f"{family.own_code}: what it means only the maker says")
    out.print(table)
