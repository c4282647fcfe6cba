"""The command `beltside pulleys`. Thin: parse, call `casework`, print."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beltside.base.errors import InputError
from beltside.base.words import count_of
from beltside.cli.problems import require_file
from beltside.cli.screen import page, working, write_json

if TYPE_CHECKING:
    from beltside.casework.photo_pulleys import FrontResult, Suggestions


def pulleys(
    photo: Annotated[
        Path | None,
        typer.Argument(metavar="[PHOTO]", help="A picture of the front of the engine."),
    ] = None,
    taps: Annotated[
        Path | None,
        typer.Option("--taps", metavar="FILE", help="The rims in it (TOML)."),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="FILE", help="Write the drive sheet here."),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")
    ] = False,
    pictures: Annotated[
        Path | None,
        typer.Option("--pictures", metavar="DIR", help="Write the front view as PNG and SVG."),
    ] = None,
) -> None:
    """Measure pulleys in a photo; without --taps, suggest rims to put names to."""
    if photo is None and taps is None:
        raise InputError("neither a photo nor taps", allowed="PHOTO, --taps FILE, or both")
    if photo is not None:
        require_file(photo, "a picture of the front of the engine")
        if photo.suffix.lower() == ".toml":
            raise InputError(
                f"{photo} is given as the photo, and looks like a rim file",
                allowed="a picture",
                instead=f"--taps {photo}, with the photo before it if there is one",
            )
    if taps is not None:
        require_file(taps, "a rim file")
    if taps is None:
        if sheet is not None or pictures is not None:
            raise InputError("rims without names make no drive sheet", instead="--taps FILE too")
        assert photo is not None
        with working("nothing was changed"):
            from beltside.casework.photo_pulleys import suggest_rims

            found = suggest_rims(photo)
        _show_suggestions(found, as_json)
        return
    with working("nothing was changed"):
        from beltside.casework.photo_pulleys import measure_front, write_sheet

        result = measure_front(taps, photo)
        if sheet is not None:
            write_sheet(result, sheet)
    saved: list[Path] = []
    if pictures is not None:
        from beltside.proof.front_picture import save_front

        saved = save_front(result, pictures)
    if as_json:
        write_json({**result.to_json(), "pictures": [str(path) for path in saved]})
        return
    _show(result, sheet, saved)


def _show_suggestions(found: Suggestions, as_json: bool) -> None:
    if as_json:
        write_json(found.to_json())
        return
    with page() as out:
        count = len(found.ellipses)
        if not count:
            out.print("No round shape stands out.", style="bold")
            out.print("Tap 5 or more points on each rim in a rim file.")
            return
        out.print(f"# {count_of(count, 'round shape')} found, largest first.")
        out.print("# Put the parts' names in belt order, and leave out what is no pulley.")
        out.print(found.toml, soft_wrap=True)


def _show(result: FrontResult, sheet: Path | None, saved: Sequence[Path]) -> None:
    from beltside.cli.text import bullets, picture_names

    with page() as out:
        out.print(
            f"{count_of(len(result.pulleys), 'pulley')}; a tilt of {result.tilt_deg:.0f} degrees "
            "is undone.",
            style="bold",
        )
        for one in result.pulleys:
            if one.diameter_mm is not None:
                size = (
                    f"{one.diameter_mm:.1f} mm ({one.diameter_low_mm:.1f} to "
                    f"{one.diameter_high_mm:.1f}), at {one.x_mm:.0f}, {one.y_mm:.0f} mm "
                    f"(+-{1.645 * (one.place_sigma_mm or 0.0):.1f}), "
                )
            else:
                size = ""
            how = "edge in the photo" if one.sharpened else count_of(one.taps, "point")
            out.print(
                f"  {one.part}: {size}size ratio {one.ratio:.3f} ({one.ratio_low:.3f} to "
                f"{one.ratio_high:.3f}), {how}"
            )
        out.print("  Ranges hold 9 of 10 times. Places are from the crank, right and up.")
        if sheet is not None:
            out.print(f"\nDrive sheet written: {sheet}")
        elif result.sheet:
            out.print("\nDRIVE SHEET", style="bold")
            out.print(result.sheet)
        if result.no_sheet:
            out.print(f"\nNo drive sheet: {result.no_sheet}.")
        bullets(out, "Warnings", result.warnings)
        picture_names(out, saved)
        bullets(
            out,
            "Caution",
            ["Engine off and key out before you reach in to measure or hold a rule."],
        )
