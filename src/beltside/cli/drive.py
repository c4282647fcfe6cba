"""The command `beltside drive`. Thin: parse, call `casework`, print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.problems import require_file
from beltside.cli.screen import write_json


def drive(
    sheet: Annotated[Path, typer.Argument(metavar="SHEET", help="The drive sheet (TOML).")],
    crank_rpm: Annotated[
        float | None,
        typer.Option(
            "--crank-rpm", metavar="RPM", help="Crank speed for the slip; idle when left out."
        ),
    ] = None,
    load: Annotated[
        str, typer.Option("--load", metavar="LOAD", help="light, or heavy: everything on.")
    ] = "light",
    tension: Annotated[
        float | None,
        typer.Option("--tension-n", metavar="N", help="Tension of the standing belt, in N."),
    ] = None,
    friction: Annotated[
        float | None,
        typer.Option("--friction", metavar="F", help="Friction of rubber on the pulleys; 0.35."),
    ] = None,
    without: Annotated[
        list[str] | None,
        typer.Option("--without", metavar="PART", help="Bypass this pulley; may be repeated."),
    ] = None,
    diameter: Annotated[
        list[str] | None,
        typer.Option(
            "--diameter", metavar="PART=MM", help="Another pulley in its place; may be repeated."
        ),
    ] = None,
    length: Annotated[
        float | None,
        typer.Option("--length-mm", metavar="MM", help="Try a belt of this effective length."),
    ] = None,
    stock: Annotated[
        str,
        typer.Option("--stock-mm", metavar="MM,MM", help="Belt lengths to be had, in mm."),
    ] = "",
    moved: Annotated[
        float | None,
        typer.Option(
            "--moved",
            metavar="WAY",
            help="How far the tensioner has moved on since the belt was new, in degrees (arm) or "
            "mm (slot).",
        ),
    ] = None,
    us: Annotated[
        bool, typer.Option("--us", help="Show inches, pounds-force and foot-pounds.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")
    ] = False,
    pictures: Annotated[
        Path | None,
        typer.Option(
            "--pictures",
            metavar="DIR",
            help="Draw the drive to scale into this folder, as PNG to look at and SVG to keep.",
        ),
    ] = None,
) -> None:
    """Belt path, length, ratios, wraps, spans, slip, tensioner and alignment of a drive."""
    require_file(sheet, "a drive sheet")
    diameters = dict(_part_and_mm(text) for text in diameter or ())
    lengths = [_millimetres(text, "--stock-mm") for text in stock.split(",") if text.strip()]
    from beltside.casework.drive import drive as work_out

    result = work_out(
        sheet,
        crank_rpm=crank_rpm,
        load=load,
        tension_n=tension,
        friction=friction,
        without=without or (),
        diameters_mm=diameters,
        length_mm=length,
        stock_mm=lengths,
        moved=moved,
    )
    saved: list[Path] = []
    if pictures is not None:
        from beltside.proof.drive_picture import save_drive_picture

        saved = save_drive_picture(result, pictures, sheet.stem)
    if as_json:
        write_json({**result.to_json(), "pictures": [str(path) for path in saved]})
        return
    from beltside.cli.drive_show import show_drive

    show_drive(result, saved, us=us)


def _part_and_mm(text: str) -> tuple[str, float]:
    part, equals, value = text.partition("=")
    if not equals or not part.strip():
        raise InputError(f"--diameter {text}", allowed="PART=MM", instead="--diameter idler=76")
    return part.strip(), _millimetres(value, "--diameter")


def _millimetres(text: str, option: str) -> float:
    try:
        return float(text.strip().removesuffix("mm"))
    except ValueError:
        raise InputError(
            f'{option}: "{text.strip()}" is no length', allowed="a number of mm"
        ) from None
