"""The command `beltside check`: is the record whole? Thin: parse, call `casework`, print."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from beltside.base.words import count_of
from beltside.cli.job_shop import DatabaseUrl, Folder, Json, tell
from beltside.cli.screen import working, write

DAMAGED = 1
"""Exit status when something is lost or damaged."""


def check(
    folder: Folder = None,
    database: DatabaseUrl = None,
    put_right: Annotated[
        bool,
        typer.Option(
            "--put-right",
            help="Make search words anew and delete files that never arrived; nothing else.",
        ),
    ] = False,
    rescue_into: Annotated[
        Path | None,
        typer.Option(
            "--rescue-into", metavar="DIR", help="Copy all that is whole into this new folder."
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Read the whole record and every stored file, and say what is lost or damaged."""
    from beltside.casework.shop_care import look_through
    from beltside.casework.shop_care import rescue_into as rescue

    if rescue_into is not None:
        with working(f"{rescue_into} holds a part of the record; delete it") as progress:
            saved = rescue(rescue_into, folder, database=database, progress=progress)
        rescued = saved.rescued
        tell(
            as_json,
            saved.to_json(),
            [
                f"{count_of(rescued.jobs, 'job')}, {rescued.entries} entries and "
                f"{count_of(rescued.files, 'file')} are in {saved.folder}. The damaged record "
                "is as it was.",
                *(f"  {says}." for says in rescued.lost),
            ],
        )
        return
    with working("nothing was changed") as progress:
        found = look_through(folder, database=database, put_right=put_right, progress=progress)
    checked = found.checked
    losses = [one for one in checked.problems if one.is_loss]
    untidy = [one for one in checked.problems if not one.is_loss]
    lines = [f"{checked.entries} entries and {checked.files} stored files read."]
    if checked.damaged_entries or checked.damaged_files:
        lines.append(
            f"Whole are {checked.entries - checked.damaged_entries} of the entries and "
            f"{checked.files - checked.damaged_files} of the files."
        )
    lines += [f"{says}." for says in found.put_right]
    if losses:
        lines.append("Lost or damaged:")
        for one in losses:
            lines.append(f"  {one.says}.")
            lines += [f"    It is the {what}." for what in one.needed_by]
    if untidy:
        lines.append("Untidy, nothing is lost:")
        lines += [f"  {one.says}." for one in untidy]
    if not losses:
        lines.append("The record is whole.")
    tell(as_json, found.to_json(), lines)
    if losses:
        if not as_json:
            write(
                "Restore a backup, or copy what is whole: beltside check --rescue-into DIR\n",
                sys.stdout,
            )
        raise typer.Exit(DAMAGED)
