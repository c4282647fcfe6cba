"""`where`, `direction` and `similar`: where on the engine a noise sits, and what it is like."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from beltside.base.errors import InputError
from beltside.cli.problems import require_file, require_path
from beltside.cli.screen import page, working, write_json

if TYPE_CHECKING:
    from beltside.casework.where_results import DirectionResult, SimilarResult, WhereResult

Json = Annotated[bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")]
Sheet = Annotated[
    Path | None,
    typer.Option("--drive", metavar="SHEET", help="The drive sheet (TOML)."),
]
Part = Annotated[
    str | None,
    typer.Option(
        "--part", metavar="PART", help="The suspect: listen for this part's own lines or band."
    ),
]
BandText = Annotated[
    str | None,
    typer.Option("--band", metavar="LOW-HIGH", help="Listen in this band [Hz], such as 2000-6000."),
]
Pictures = Annotated[
    Path | None,
    typer.Option(
        "--pictures", metavar="DIR", help="Write the picture into this folder, as PNG and SVG."
    ),
]
Rpm = Annotated[
    float | None,
    typer.Option("--crank-rpm", metavar="RPM", help="Crank speed read off a dash or scan tool."),
]

PROBE: str = "Probe on a running engine: keep rod, hands, hair and sleeves away from belt and fan."
STAND: str = "Phone in front of a running engine: hands, sleeves and straps away from belt and fan."


def where(
    case: Annotated[
        Path, typer.Argument(metavar="CASE", help="The case: its TOML file, or its folder.")
    ],
    part: Part = None,
    band: BandText = None,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Compare the probe takes of a case: at which housing the suspect's own sound is loudest."""
    require_path(case, "a case")
    band_hz = band_of(band)
    with working("nothing was changed") as progress:
        from beltside.casework.where import where as where_in

        result = where_in(case, part=part, band_hz=band_hz, progress=progress)
    saved: list[Path] = []
    if pictures is not None:
        from beltside.proof.housing_picture import housing_drawing, save_drawing

        saved = [save_drawing(housing_drawing(result), pictures, "housing-map")]
    if as_json:
        write_json({**result.to_json(), "pictures": [str(path) for path in saved]})
        return
    _show_where(result, saved)


def direction(
    takes: Annotated[
        list[Path], typer.Argument(metavar="TAKE...", help="One or more stereo recordings.")
    ],
    mic_spacing_mm: Annotated[
        float | None,
        typer.Option(
            "--mic-spacing-mm", metavar="MM", help="Distance between the phone's two microphones."
        ),
    ] = None,
    stand_off_mm: Annotated[
        float | None,
        typer.Option("--stand-off-mm", metavar="MM", help="Distance from phone to pulleys."),
    ] = None,
    drive: Sheet = None,
    part: Part = None,
    band: BandText = None,
    at: Annotated[
        list[str] | None,
        typer.Option(
            "--at",
            metavar="PLACE",
            help="Where the phone was: a part in front of which it was held, or mm right of the "
            "crank; with ':' between when it was moved steadily (idler:alternator). Once for "
            "each take. In front of the crank when left out.",
        ),
    ] = None,
    held: Annotated[
        str,
        typer.Option(
            "--held", metavar="HOW", help="'across' (microphones left and right) or 'upright'."
        ),
    ] = "across",
    swap: Annotated[
        bool, typer.Option("--swap", help="Exchange left and right (upside-down phone).")
    ] = False,
    crank_rpm: Rpm = None,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Say from a stereo take which way the sound comes, and at which pulley that points."""
    for take in takes:
        require_file(take, "a recording")
    if drive is not None:
        require_file(drive, "a drive sheet")
    band_hz = band_of(band)
    with working("nothing was changed") as progress:
        from beltside.casework.direction import direction as direction_of
        from beltside.casework.phone_setup import Setup

        setup = Setup(mic_spacing_mm, stand_off_mm, held, tuple(at or ()), swap)
        result = direction_of(
            takes,
            setup,
            drive=drive,
            part=part,
            band_hz=band_hz,
            crank_rpm=crank_rpm,
            progress=progress,
        )
    saved: list[Path] = []
    if pictures is not None and drive is not None and result.can_tell:
        from beltside.casework.formats.drive_sheet import load_drive_sheet
        from beltside.casework.where import outline
        from beltside.proof.housing_picture import direction_drawing, save_drawing

        drawn = outline(load_drive_sheet(drive))
        if drawn.measured:
            saved = [save_drawing(direction_drawing(result, drawn), pictures, "direction")]
    if as_json:
        write_json({**result.to_json(), "pictures": [str(path) for path in saved]})
        return
    _show_direction(result, saved)


def similar(
    take: Annotated[Path, typer.Argument(metavar="TAKE", help="The recording in question.")],
    folder: Annotated[
        Path,
        typer.Option(
            "--folder",
            metavar="DIR",
            help="Takes with known causes, in sub-folders named by the cause.",
        ),
    ],
    drive: Sheet = None,
    crank_rpm: Rpm = None,
    most: Annotated[
        int, typer.Option("--most", metavar="N", help="How many of the nearest to show.")
    ] = 5,
    as_json: Json = False,
) -> None:
    """Give the takes with known causes that one take is most like, and how near they are."""
    require_file(take, "a recording")
    require_path(folder, "a folder of takes with known causes")
    if drive is not None:
        require_file(drive, "a drive sheet")
    with working("nothing was changed") as progress:
        from beltside.casework.similar import similar as similar_to

        result = similar_to(
            take, folder, drive=drive, crank_rpm=crank_rpm, most=most, progress=progress
        )
    if as_json:
        write_json(result.to_json())
        return
    _show_similar(result)


def band_of(text: str | None) -> tuple[float, float] | None:
    """A band typed as "2000-6000", "2k-6k" or "2000:6000".

    Raises
    ------
    InputError
        When it can't be read.

    >>> band_of("2k-6000 Hz")
    (2000.0, 6000.0)
    """
    if text is None:
        return None
    edges = text.lower().replace("hz", "").replace("–", "-").replace(":", "-").split("-")
    try:
        low, high = (
            float(edge.strip().removesuffix("k")) * (1000.0 if edge.strip().endswith("k") else 1.0)
            for edge in edges
        )
    except ValueError:
        low, high = 0.0, 0.0
    if not 0.0 < low < high < 1e5:
        raise InputError(
            f'the band "{text}"',
            allowed="two frequencies in Hz, the lower first",
            instead="2000-6000",
        )
    return low, high


def _rows(out: Any, rows: Iterable[Sequence[str]], right: Sequence[int] = ()) -> None:
    from rich.table import Table
    from rich.text import Text

    from beltside.proof.wording import printable

    rows = [tuple(row) for row in rows]
    if not rows:
        return
    table = Table.grid(padding=(0, 2, 0, 0))
    for column in range(len(rows[0])):
        table.add_column(justify="right" if column in right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(printable(cell)) for cell in row))
    out.print(table)


def _say(out: Any, text: str, *, bold: bool = False) -> None:
    from rich.text import Text

    from beltside.proof.wording import printable

    out.print(Text(printable(text), style="bold" if bold else ""))


def _part(out: Any, heading: str, sentences: Iterable[str]) -> None:
    from beltside.proof.where_wording import stopped

    sentences = list(sentences)
    if not sentences:
        return
    out.print()
    _say(out, heading.upper(), bold=True)
    _rows(out, (("-", stopped(sentence)) for sentence in sentences))


def _show_where(result: WhereResult, saved: Sequence[Path]) -> None:
    from beltside.proof.where_wording import (
        level_words,
        loudest_words,
        what_compared,
        where_answer,
    )
    from beltside.proof.wording import part_words

    with page() as out:
        _say(out, where_answer(result), bold=True)
        _say(out, what_compared(result))
        out.print()
        _say(out, "PLACES", bold=True)
        _rows(
            out,
            (
                (part_words(place.part), level_words(place), loudest_words(place))
                for place in result.places
            ),
        )
        out.print()
        _say(out, "HOW THE TAKES WERE LEVELLED", bold=True)
        _rows(
            out,
            (
                (
                    gain.file,
                    f"{gain.gain_db:+.1f} dB",
                    f"{gain.error_db:.1f} dB either way",
                    ", ".join(gain.references) or "no reference",
                )
                for gain in result.gains
            ),
        )
        _part(out, "Warnings", result.warnings)
        _part(out, "Pictures", (str(path) for path in saved))
        _part(out, "Caution", [PROBE])


def _show_direction(result: DirectionResult, saved: Sequence[Path]) -> None:
    from beltside.proof.where_wording import direction_answer, place_words, side_words
    from beltside.proof.wording import part_words, percent_words

    with page() as out:
        _say(out, direction_answer(result), bold=True)
        if result.along_mm is not None:
            _say(out, place_words(result))
        _say(out, f"Band: {result.band_hz[0]:.0f} to {result.band_hz[1]:.0f} Hz.")
        paths = [side_words(take, result.held) for take in result.takes if take.path]
        _part(out, "Takes", paths)
        if result.pulleys:
            out.print()
            _say(out, "PULLEYS", bold=True)
            side = "right of the crank" if result.held == "across" else "above the crank"
            _rows(
                out,
                (
                    (
                        percent_words(pulley.probability),
                        part_words(pulley.part),
                        f"{pulley.along_mm:+.0f} mm {side}",
                    )
                    for pulley in result.pulleys
                ),
                right=(0,),
            )
        _part(out, "What it can't tell", result.why_not[0 if result.can_tell else 1 :])
        _part(out, "Warnings", result.warnings)
        _part(out, "Pictures", (str(path) for path in saved))
        _part(out, "Caution", [STAND])


def _show_similar(result: SimilarResult) -> None:
    from beltside.proof.where_wording import cause_words, similar_answer

    with page() as out:
        _say(out, similar_answer(result), bold=True)
        out.print()
        _say(out, "NEAREST", bold=True)
        _rows(
            out,
            ((f"{one.distance:.2f}", cause_words(one.cause), one.file) for one in result.nearest),
            right=(0,),
        )
        _say(out, "Distance: 0 is the same sound, 1 a stranger.")
        if result.chance is not None:
            _say(
                out,
                f"Of simulated takes as near as the first, and as far ahead of the next cause, "
                f"{result.chance:.0%} had its cause.",
            )
        _part(out, "Left out", (f"{file}: {why}" for file, why in result.left_out[:20]))
        if len(result.left_out) > 20:
            _say(out, f"and {len(result.left_out) - 20} more; --json lists them all.")
        _part(out, "Warnings", result.warnings)
