"""The commands `beltside backup` and `restore`. Thin: parse, call `casework`, print."""

from __future__ import annotations

import getpass
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from beltside.base.errors import InputError
from beltside.cli.job_shop import DatabaseUrl, Folder, Json, read_text
from beltside.cli.screen import working, write, write_json

PASSPHRASE_VARIABLE: Final = "BELTSIDE_PASSPHRASE"
PassphraseFile = Annotated[
    Path | None,
    typer.Option(
        "--passphrase-file",
        metavar="FILE",
        help="The passphrase is the first line of this file; asked for without it.",
    ),
]


def backup(
    target: Annotated[
        Path, typer.Argument(metavar="TARGET", help="A new folder, or one with backups.")
    ],
    encrypt: Annotated[
        bool, typer.Option("--encrypt", help="A new folder's backups open with a passphrase only.")
    ] = False,
    keep: Annotated[
        int | None,
        typer.Option("--keep", metavar="COUNT", min=1, help="Remove all but so many backups."),
    ] = None,
    list_: Annotated[bool, typer.Option("--list", help="List the backups; writes none.")] = False,
    check: Annotated[
        bool, typer.Option("--check", help="Read all backups through; writes none.")
    ] = False,
    passphrase_file: PassphraseFile = None,
    folder: Folder = None,
    database: DatabaseUrl = None,
    as_json: Json = False,
) -> None:
    """Add a backup of the whole shop to a folder; only new files are copied."""
    if (list_ or check) and (encrypt or keep is not None or (list_ and check)):
        raise InputError("--list or --check with another option", allowed="each alone")
    ask = _asking(passphrase_file)
    if list_:
        _list(target, ask, as_json)
        return
    if check:
        _check(target, ask, as_json)
        return
    with working("no backup was added; those there are as they were") as progress:
        from beltside.casework.shop import open_shop
        from beltside.casework.shop_backup import backup_shop

        with open_shop(folder, database=database) as shop:
            made = backup_shop(
                shop, target, encrypt=encrypt, passphrase=ask, keep=keep, progress=progress
            )
    plain = made.to_json()
    if as_json:
        write_json(plain)
        return
    done = made.done
    lines = [
        f"Backup {done.catalogue.name} in {target}: {done.jobs} jobs, {done.files} files"
        f"{', encrypted' if done.encrypted else ''}. Read back and whole.",
        f"Copied now: {done.new_files} files, {done.new_bytes / 1e6:.1f} MB; "
        f"the record takes {done.catalogue_bytes / 1e6:.2f} MB.",
    ]
    lines += [f"  The stored file {one[:12]} is gone and not in it." for one in done.missing]
    lines += [f"  The stored file {one[:12]} is damaged and not in it." for one in done.damaged]
    if done.damaged_rows:
        lines.append(
            "Damaged in the record already, and so in the backup; beltside check says more:"
        )
        lines += [f"  {says}." for says in done.damaged_rows]
    if made.left_out:
        lines.append(
            f"Not in it, because it is not encrypted or they are too large: "
            f"{', '.join(made.left_out)}"
        )
    if made.removed:
        lines.append(f"{len(made.removed)} old ones removed, {made.freed_bytes / 1e6:.1f} MB free.")
    _say(lines)


def restore(
    backup_: Annotated[
        Path,
        typer.Argument(
            metavar="BACKUP", help="A folder of backups, for the newest; or a file in its backups/."
        ),
    ],
    folder: Annotated[
        Path, typer.Option("--folder", metavar="EMPTY", help="A new or empty folder to put it in.")
    ],
    database: DatabaseUrl = None,
    passphrase_file: PassphraseFile = None,
    as_json: Json = False,
) -> None:
    """Put a backup back, whole or not at all; nothing that is there is written over."""
    ask = _asking(passphrase_file)
    with working("nothing was put back") as progress:
        from beltside.casework.shop_backup import restore_backup

        done = restore_backup(backup_, folder, database=database, passphrase=ask, progress=progress)
    if as_json:
        write_json(done.to_json())
        return
    _say(
        [
            f"{done.jobs} jobs and {done.files} files of {done.made_at[:16]} UTC are in {folder}.",
            *(f"  The stored file {one[:12]} was not to be had." for one in done.missing),
            *(f"  Damaged when the backup was made: {says}." for says in done.damaged),
            f"Open them: beltside serve --folder {folder}",
        ]
    )


def _list(target: Path, ask: Callable[[bool], str], as_json: bool) -> None:
    from beltside.casework.shop_backup import list_backups

    found = list_backups(target, passphrase=ask)
    if as_json:
        write_json({"backups": [one.to_json() for one in found]})
        return
    _say(
        [
            f"{one.made_at[:19] or '?':19} UTC  {one.bytes / 1e6:8.2f} MB  {one.name}"
            + (f"  {one.problem}" if one.problem else "")
            for one in found
        ]
        or ["No backup was finished there."]
    )


def _check(target: Path, ask: Callable[[bool], str], as_json: bool) -> None:
    with working("nothing was changed") as progress:
        from beltside.casework.shop_backup import check_backups

        done = check_backups(target, passphrase=ask, progress=progress)
    plain: dict[str, Any] = done.to_json()
    if as_json:
        write_json(plain)
    else:
        _say(
            [
                f"{done.backups} backups and {done.files} files read.",
                *(done.problems or ["All of it is as it was written."]),
            ]
        )
    if done.problems:
        raise typer.Exit(1)


def _asking(file: Path | None) -> Callable[[bool], str]:
    """Where a passphrase comes from: a file, the environment, or the person."""

    def ask(new: bool) -> str:
        if file is not None:
            lines = read_text(file, "a file with the passphrase").splitlines()
            return lines[0] if lines else ""
        given = os.environ.get(PASSPHRASE_VARIABLE)
        if given is not None:
            return given
        if not sys.stdin.isatty():
            raise InputError(
                "The backup needs a passphrase",
                allowed=f"--passphrase-file, the variable {PASSPHRASE_VARIABLE}, or typing it",
            )
        first = getpass.getpass("Passphrase of the backups: ")
        if new and getpass.getpass("Once more: ") != first:
            raise InputError("The two passphrases differ; nothing was written")
        return first

    return ask


def _say(lines: list[str]) -> None:
    write("".join(f"{line}\n" for line in lines), sys.stdout)
