"""The command `beltside bolts match`. Thin: parse, call `casework`, print."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beltside.cli.problems import require_file
from beltside.cli.screen import page, working, write_json

if TYPE_CHECKING:
    from rich.console import Console

    from beltside.casework.match_parts import MatchResult, PairResult

_FLAT = (
    "A picture shows a flat face only. Lay the parts on each other before you bolt; the maker's "
    "service data stands above this."
)
_PART = "a part file (TOML), or a photo of the part"


def match(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="The old part: TOML file or photo.")],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="The new part: TOML file or photo.")],
    gasket: Annotated[
        Path | None, typer.Option("--gasket", metavar="FILE", help="The gasket, likewise.")
    ] = None,
    disc_mm: Annotated[
        float | None,
        typer.Option(
            "--disc-mm",
            metavar="MM",
            help="For photos: diameter of the round thing lying beside the part.",
        ),
    ] = None,
    scatter_mm: Annotated[
        float,
        typer.Option("--scatter-mm", metavar="MM", help="Scatter of the makers' holes."),
    ] = 0.3,
    wrong_mm: Annotated[
        float,
        typer.Option(
            "--wrong-mm", metavar="MM", help="A hole so far off must not pass as fitting."
        ),
    ] = 1.5,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")
    ] = False,
    pictures: Annotated[
        Path | None,
        typer.Option("--pictures", metavar="DIR", help="Write the overlay as PNG and SVG."),
    ] = None,
) -> None:
    """Lay the holes of old part, new part and gasket on each other: do they agree?"""
    for path in (old, new, gasket):
        if path is not None:
            require_file(path, _PART)
    with working("nothing was changed"):
        from beltside.casework.match_parts import match_parts

        result = match_parts(
            old, new, gasket=gasket, disc_mm=disc_mm, scatter_mm=scatter_mm, wrong_mm=wrong_mm
        )
    saved: list[Path] = []
    if pictures is not None:
        from beltside.proof.match_picture import save_match

        saved = save_match(result, pictures)
    if as_json:
        write_json({**result.to_json(), "pictures": [str(path) for path in saved]})
        return
    _show(result, saved)


def _show(result: MatchResult, saved: Sequence[Path]) -> None:
    from beltside.cli.text import bullets, picture_names

    with page() as out:
        out.print(f"{result.verdict[0].upper()}{result.verdict[1:]}.", style="bold")
        for pair in result.pairs:
            _pair(out, pair)
        bullets(out, "Warnings", result.warnings)
        picture_names(out, saved)
        bullets(out, "Caution", [_FLAT])


def _pair(out: Console, pair: PairResult) -> None:
    out.print(f"\n{pair.first.name} ON {pair.second.name}: {pair.verdict}", style="bold")
    for reason in pair.reasons:
        out.print(f"  {reason[0].upper()}{reason[1:]}.")
    for number, one in enumerate(pair.match.orientations):
        said = {"fits": "fits", "open": "may fit", "off": "nearest"}[one.state]
        side = f", {pair.second.name} turned over" if one.flipped else ""
        out.print(
            f"  {said}: turned by {round(one.turn_deg)} degrees{side}; {one.rms_mm:.2f} mm left "
            "over on average"
        )
        if number == 0:
            for hole in one.residuals:
                size = (
                    ""
                    if hole.diameter_difference_mm is None
                    else f", size {hole.diameter_difference_mm:+.1f} mm"
                )
                out.print(
                    f"    hole {hole.old + 1} on {hole.new + 1}: off {hole.off_mm:.2f} mm "
                    f"(measured within {hole.sigma_mm:.2f} mm){size}"
                )
    gap = pair.gap
    if gap.clear and pair.gap_on_second is not None:
        here, there = (k + 1 for k in pair.gap_on_second)
        out.print(
            f"  To lay it by hand: the widest gap is between holes {gap.first + 1} and "
            f"{gap.second + 1} of {pair.first.name} ({gap.length_mm:.0f} mm, the next is "
            f"{gap.next_mm:.0f} mm); on {pair.second.name} between {here} and {there}."
        )
    else:
        out.print("  No gap between neighbours stands out; mark a hole on both parts.")
    if pair.outline is not None:
        out.print(f"  Outlines cover each other by {100.0 * pair.outline.share:.0f} %.")
    for k, port in enumerate(pair.ports, start=1):
        out.print(f"  Port {k} is covered by {100.0 * port.of_old:.0f} %.")
    for height in pair.heights:
        out.print(
            f"  {height.what}: {height.old_mm:g} and {height.new_mm:g} mm, "
            f"{'agree' if height.agrees else 'DIFFER'}."
        )
    for part in (pair.first, pair.second):
        out.print(f"  {part.name}: {part.how}.")
