"""The commands `beltside coolant ...`. Thin: parse, call `casework`, print."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.screen import write, write_json

if TYPE_CHECKING:
    from beltside.casework.coolant_answer import CoolantAnswer
    from beltside.casework.coolant_mix import Glycol

coolant_app = typer.Typer(
    help="Coolant: mixture, cap, hold test, fill, belt-off clock, draining.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Json = Annotated[bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")]
Pictures = Annotated[
    Path | None,
    typer.Option(
        "--pictures", metavar="DIR", help="Write the picture into this folder, as PNG and SVG."
    ),
]
Us = Annotated[
    bool, typer.Option("--us", help="US units: bare figures are °F, quarts, psi and feet.")
]
GlycolName = Annotated[str, typer.Option("--glycol", metavar="KIND", help="ethylene or propylene.")]
Altitude = Annotated[
    str, typer.Option("--altitude", metavar="HEIGHT", help='Height above sea: "1500 m", "5000 ft".')
]


def _glycol(word: str) -> Glycol:
    plain = word.strip().lower()
    if plain in ("ethylene", "eg", "meg"):
        return "ethylene"
    if plain in ("propylene", "pg", "mpg"):
        return "propylene"
    raise InputError(f'"{word}" is no glycol known here', allowed="ethylene or propylene")


def show(answer: CoolantAnswer, as_json: bool, pictures: Path | None) -> None:
    """Print an answer, its picture written first when one was asked for."""
    saved: list[Path] = []
    if pictures is not None and answer.picture is not None:
        from beltside.proof.coolant_pictures import save_coolant_picture

        saved = save_coolant_picture(answer, pictures)
    if as_json:
        write_json({**answer.to_json(), "pictures": [str(path) for path in saved]})
        return
    from beltside.cli.coolant_show import answer_text

    write(answer_text(answer, saved), sys.stdout)


def optional(
    text: str | None, read: Callable[..., float], what: str, us: bool = False
) -> float | None:
    """The value read from `text`, None when it was not given."""
    return None if text is None else read(text, what, us=us)


@coolant_app.command(short_help="Strength, freezing and boiling from one reading.")
def mix(
    glycol: GlycolName = "ethylene",
    sg: Annotated[
        float | None, typer.Option("--sg", help="Hydrometer: specific gravity; needs --at.")
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="TEMP", help="Temperature at the hydrometer.")
    ] = None,
    sg_reference: Annotated[
        str | None,
        typer.Option(
            "--sg-reference",
            metavar="TEMP",
            help="Of water for the hydrometer; 60F when not given.",
        ),
    ] = None,
    refractive_index: Annotated[
        float | None, typer.Option("--index", help="Refractive index at 20 °C.")
    ] = None,
    freeze: Annotated[
        str | None,
        typer.Option("--freeze", metavar="TEMP", help='Freezing scale: "-34C" or "-30F".'),
    ] = None,
    scale: Annotated[
        str | None, typer.Option("--scale", help="Which glycol that scale is for.")
    ] = None,
    concentrate: Annotated[
        str | None, typer.Option("--concentrate", metavar="AMOUNT", help="Poured; with --water.")
    ] = None,
    water: Annotated[
        str | None, typer.Option("--water", metavar="AMOUNT", help="Poured with it.")
    ] = None,
    volume_percent: Annotated[
        float | None, typer.Option("--volume-percent", help="Glycol, as stated.")
    ] = None,
    mass_percent: Annotated[
        float | None, typer.Option("--mass-percent", help="Glycol, as stated.")
    ] = None,
    resolution: Annotated[
        float | None,
        typer.Option("--resolution", help="Half the tool's range, in the reading's own unit."),
    ] = None,
    cap: Annotated[
        str | None, typer.Option("--cap", metavar="MARK", help='The cap\'s mark: "1.1", "16 psi".')
    ] = None,
    altitude: Altitude = "0",
    thermostat: Annotated[
        str | None, typer.Option("--thermostat", metavar="TEMP", help="Where it opens.")
    ] = None,
    capacity: Annotated[
        str | None, typer.Option("--capacity", metavar="AMOUNT", help="Of the whole system.")
    ] = None,
    cold: Annotated[
        str | None, typer.Option("--cold", metavar="TEMP", help="For the expansion; 20 °C.")
    ] = None,
    hot: Annotated[
        str | None, typer.Option("--hot", metavar="TEMP", help="For the expansion; 95 °C.")
    ] = None,
    hardness: Annotated[
        float | None, typer.Option("--hardness", help="Of the water poured, ppm as CaCO3.")
    ] = None,
    us: Us = False,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Say how strong the coolant is, and where it freezes and boils, from one tool's reading."""
    from beltside.casework.coolant_mix import MixReading, mix_answer
    from beltside.casework.coolant_values import read_litres, read_metres, read_temperature_c

    reference_c = optional(sg_reference, read_temperature_c, "the reference", us)
    reading = MixReading(
        specific_gravity=sg,
        at_c=optional(at, read_temperature_c, "the temperature at the hydrometer", us),
        refractive_index=refractive_index,
        freezing_c=optional(freeze, read_temperature_c, "the freezing reading", us),
        scale=None if scale is None else _glycol(scale),
        concentrate_l=optional(concentrate, read_litres, "the concentrate", us),
        water_l=optional(water, read_litres, "the water", us),
        volume_percent=volume_percent,
        mass_percent=mass_percent,
        resolution=resolution,
    )
    if reference_c is not None:
        from dataclasses import replace

        reading = replace(reading, reference_c=reference_c)
    answer = mix_answer(
        _glycol(glycol),
        reading,
        cap=cap,
        altitude_m=read_metres(altitude, "the altitude", us=us),
        thermostat_c=optional(thermostat, read_temperature_c, "the thermostat", us),
        capacity_l=optional(capacity, read_litres, "the capacity", us),
        cold_c=20.0 if cold is None else read_temperature_c(cold, "cold", us=us),
        hot_c=95.0 if hot is None else read_temperature_c(hot, "hot", us=us),
        hardness_ppm=hardness,
        us=us,
    )
    show(answer, as_json, pictures)


@coolant_app.command(short_help="What to drain and pour to reach a strength.")
def adjust(
    capacity: Annotated[str, typer.Option("--capacity", metavar="AMOUNT", help="Whole system.")],
    now: Annotated[float, typer.Option("--now", metavar="PERCENT", help="Strength by volume.")],
    target: Annotated[
        float, typer.Option("--target", metavar="PERCENT", help="Strength wanted, by volume.")
    ] = 50.0,
    stays: Annotated[
        str,
        typer.Option(
            "--stays", metavar="AMOUNT", help="What block and heater keep after a full drain."
        ),
    ] = "0",
    product: Annotated[
        float,
        typer.Option(
            "--product", metavar="PERCENT", help="What is poured: 100 concentrate, 50 premix."
        ),
    ] = 100.0,
    shelf: Annotated[
        list[str] | None,
        typer.Option(
            "--shelf", metavar="SIZE[=PRICE]", help='Containers of it: "5=24.50"; repeat.'
        ),
    ] = None,
    water_shelf: Annotated[
        list[str] | None,
        typer.Option("--water-shelf", metavar="SIZE[=PRICE]", help="Of distilled water; repeat."),
    ] = None,
    currency: Annotated[str, typer.Option("--currency", help="Written behind the price.")] = "",
    glycol: GlycolName = "ethylene",
    us: Us = False,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Say how much to drain and what to pour so that the whole system has the strength wanted."""
    from beltside.casework.coolant_change import adjust_answer
    from beltside.casework.coolant_values import read_litres

    def read_shelf(rows: list[str] | None) -> list[tuple[float, float | None]]:
        found: list[tuple[float, float | None]] = []
        for row in rows or []:
            size, _, price = row.partition("=")
            try:
                cost = float(price.replace(",", ".")) if price else None
            except ValueError:
                raise InputError(
                    f'a container "{row}"', allowed="SIZE or SIZE=PRICE", instead="5=24.50"
                ) from None
            found.append((read_litres(size, "a container", us=us), cost))
        return found

    answer = adjust_answer(
        _glycol(glycol),
        capacity_l=read_litres(capacity, "the capacity", us=us),
        stays_l=read_litres(stays, "what stays", us=us),
        now_percent=now,
        target_percent=target,
        product_percent=product,
        shelf=read_shelf(shelf),
        water_shelf=read_shelf(water_shelf),
        currency=currency,
        us=us,
    )
    show(answer, as_json, pictures)


@coolant_app.command(short_help="Put the old coolant back, top it up, or renew it.")
def reuse(
    family: Annotated[
        str | None, typer.Option("--family", help="IAT, OAT, HOAT, Si-OAT or P-HOAT.")
    ] = None,
    top_up: Annotated[
        str | None, typer.Option("--top-up", metavar="FAMILY", help="What would be added.")
    ] = None,
    years: Annotated[float | None, typer.Option("--years", help="Its age.")] = None,
    km: Annotated[float | None, typer.Option("--km", help="Its distance.")] = None,
    miles: Annotated[float | None, typer.Option("--miles", help="Its distance, in miles.")] = None,
    ph: Annotated[float | None, typer.Option("--ph", help="From the test strip.")] = None,
    reserve: Annotated[
        str | None, typer.Option("--reserve", help="Alkalinity: low, middle or high.")
    ] = None,
    looks: Annotated[
        list[str] | None,
        typer.Option(
            "--look",
            help="clear, colour-changed, cloudy, rust, oil-film, sludge, particles; repeat.",
        ),
    ] = None,
    volume_percent: Annotated[
        float | None, typer.Option("--volume-percent", help="Its strength.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Say whether coolant that came out may go back in, and why."""
    from beltside.casework.coolant_change import reuse_answer

    if km is not None and miles is not None:
        raise InputError("both --km and --miles", allowed="one of them")
    answer = reuse_answer(
        family=family,
        top_up_family=top_up,
        age_years=years,
        distance_km=km if miles is None else 1.609344 * miles,
        ph=ph,
        reserve=reserve,
        looks=looks or [],
        volume_percent=volume_percent,
    )
    show(answer, as_json, None)


@coolant_app.command(short_help="How far to pump under this cap.")
def cap(
    mark: Annotated[
        str, typer.Argument(metavar="MARK", help='As stamped: "108 kPa", "1.1", "16 psi".')
    ],
    altitude: Altitude = "0",
    glycol: GlycolName = "ethylene",
    volume_percent: Annotated[
        float, typer.Option("--volume-percent", help="Strength of the mix.")
    ] = 50.0,
    pressure: Annotated[
        str | None, typer.Option("--pressure", help="A gauge reading to hold against it.")
    ] = None,
    us: Us = False,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Turn a cap's mark into the gauge reading to pump to, in every unit, and the boiling point."""
    from beltside.casework.coolant_cap import cap_answer
    from beltside.casework.coolant_values import read_metres

    answer = cap_answer(
        mark,
        altitude_m=read_metres(altitude, "the altitude", us=us),
        kind=_glycol(glycol),
        volume_percent=volume_percent,
        pressure_kpa=None if pressure is None else _pressure(pressure, us),
        us=us,
    )
    show(answer, as_json, pictures)


def _pressure(text: str, us: bool) -> float:
    from beltside.casework.coolant_values import read_gauge_kpa

    return read_gauge_kpa(text, us=us)
