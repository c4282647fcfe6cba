"""The command `beltside compare`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.problems import require_file
from beltside.cli.screen import working, write_json

if TYPE_CHECKING:
    from beltside.casework.compare_listening import ListeningPair
    from beltside.casework.compare_results import CompareResult


def compare(
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="The take before, or belt on.")],
    after: Annotated[Path, typer.Argument(metavar="AFTER", help="The take after, or belt off.")],
    drive: Annotated[
        Path | None, typer.Option("--drive", metavar="SHEET", help="The drive sheet (TOML).")
    ] = None,
    before_rpm: Annotated[
        float | None,
        typer.Option(
            "--before-rpm",
            metavar="RPM",
            help="Crank speed read off, if the first take's can't be heard.",
        ),
    ] = None,
    after_rpm: Annotated[
        float | None,
        typer.Option("--after-rpm", metavar="RPM", help="The same for the second take."),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")
    ] = False,
    pictures: Annotated[
        Path | None,
        typer.Option(
            "--pictures", metavar="DIR", help="Write the pictures into this folder, as PNG and SVG."
        ),
    ] = None,
    listen: Annotated[
        Path | None,
        typer.Option(
            "--listen",
            metavar="DIR",
            help="Write both takes into this folder, brought "
            "to the same level, to play one after the other.",
        ),
    ] = None,
    only: Annotated[
        str | None,
        typer.Option(
            "--only",
            metavar="PART",
            help="With --listen: play only this part's lines, or its band.",
        ),
    ] = None,
    file_type: Annotated[
        str, typer.Option("--as", metavar="m4a|wav", help="With --listen: type of the files.")
    ] = "m4a",
) -> None:
    """Say how much quieter the second take is than the first, in dB with its 90 % range."""
    require_file(before, "a recording")
    require_file(after, "a recording")
    if drive is not None:
        require_file(drive, "a drive sheet")
    if only is not None and listen is None:
        raise InputError(
            "--only without --listen", allowed="both together", instead="--listen DIR --only PART"
        )
    if file_type not in ("m4a", "wav"):
        raise InputError(f"--as {file_type}", allowed="m4a or wav", instead="--as m4a")
    pair: ListeningPair | None = None
    with working("nothing was changed") as progress:
        from beltside.casework.compare import compare_sounds
        from beltside.casework.compare_takes import load_pair

        sheet, sounds = load_pair(
            before, after, drive=drive, before_rpm=before_rpm, after_rpm=after_rpm,
            progress=progress,
        )  # fmt: skip
        result = compare_sounds(*sounds, sheet, progress=progress)
    if listen is not None and result.comparable:
        with working(f"the files in {listen} may be incomplete"):
            from beltside.casework.compare_listening import write_listening_pair

            pair = write_listening_pair(result, sounds, listen, only=only, suffix=f".{file_type}")
    saved = _saved(result, pictures)
    if as_json:
        files = None if pair is None else [str(pair.before), str(pair.after)]
        write_json({**result.to_json(), "listen": files, "pictures": [str(path) for path in saved]})
        return
    from beltside.cli.compare_show import show_compare

    show_compare(result, pair, saved)


def _saved(result: CompareResult, folder: Path | None) -> Sequence[Path]:
    if folder is None:
        return []
    with working(f"the pictures in {folder} may be incomplete"):
        from beltside.proof.compare_picture import save_compare_pictures

        return save_compare_pictures(result, folder)
