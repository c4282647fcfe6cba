"""The command `beltside strum`. Thin: parse, call `casework`, print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.problems import require_file
from beltside.cli.screen import working, write_json


def strum(
    takes: Annotated[
        list[Path],
        typer.Argument(metavar="TAKE", help="Recordings of one span, plucked, engine off."),
    ],
    sheet: Annotated[
        Path | None,
        typer.Option("--drive", metavar="SHEET", help="The drive sheet: spans, ribs, belt mass."),
    ] = None,
    span: Annotated[
        str | None,
        typer.Option("--span", metavar="PART,PART", help="The span that was plucked."),
    ] = None,
    span_mm: Annotated[
        float | None,
        typer.Option("--span-mm", metavar="MM", help="Its free length by rule, in mm."),
    ] = None,
    ribs: Annotated[
        int | None, typer.Option("--ribs", metavar="COUNT", help="Ribs of the belt.")
    ] = None,
    mass: Annotated[
        float | None,
        typer.Option("--mass-g-per-m", metavar="G", help="Mass of a metre of belt, in g."),
    ] = None,
    target: Annotated[
        str | None,
        typer.Option("--target-n", metavar="LOW-HIGH", help="Tension wanted, in N: 300-360."),
    ] = None,
    us: Annotated[bool, typer.Option("--us", help="Show inches and pounds-force.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")
    ] = False,
) -> None:
    """The belt's tension from the note of a plucked span."""
    for take in takes:
        require_file(take, "a recording")
    if sheet is not None:
        require_file(sheet, "a drive sheet")
    with working("nothing was changed") as progress:
        progress("listening", 0.1)
        from beltside.casework.strum import strum as listen_to

        result = listen_to(
            takes,
            sheet=sheet,
            span=None if span is None else _pair(span),
            span_mm=span_mm,
            ribs=ribs,
            mass_g_per_m=mass,
            target_n=None if target is None else _range(target),
        )
    if as_json:
        write_json(result.to_json())
        return
    from beltside.cli.drive_show import show_strum

    show_strum(result, us=us)


def _pair(text: str) -> tuple[str, str]:
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 2 or not all(parts):
        raise InputError(f'--span "{text}"', allowed="two parts", instead="--span crank,alternator")
    return parts[0], parts[1]


def _range(text: str) -> tuple[float, float]:
    low, dash, high = text.partition("-")
    try:
        return float(low), float(high) if dash else float(low)
    except ValueError:
        raise InputError(
            f'--target-n "{text}"', allowed="LOW-HIGH in N", instead="--target-n 300-360"
        ) from None
