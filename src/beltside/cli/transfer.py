"""The commands `beltside export`, `import` and `jobs-csv`. Thin: parse, call `casework`, print."""

from __future__ import annotations

import sys
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.problems import require_file
from beltside.cli.proof import Folder
from beltside.cli.screen import working, write, write_json

Json = Annotated[bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")]
Day = Annotated[
    datetime | None, typer.Option(formats=["%Y-%m-%d"], metavar="DAY", show_default=False)
]


def export(
    zip_file: Annotated[Path, typer.Argument(metavar="ZIP", help="The file to write.")],
    jobs: Annotated[
        list[str] | None, typer.Argument(metavar="[JOB]...", help="Job numbers; all without any.")
    ] = None,
    folder: Folder = None,
    as_json: Json = False,
) -> None:
    """Write jobs with all their history, recordings and photos into one zip."""
    with working("nothing was written") as progress:
        progress("writing the zip", 0.0)
        from beltside.casework.shop import open_shop
        from beltside.casework.shop_transfer import export_jobs

        with open_shop(folder) as shop:
            done = export_jobs(shop, zip_file, jobs or ())
    if as_json:
        write_json(done.to_json())
        return
    write(f"{done.jobs} jobs and {done.files} files are in {done.path}\n", sys.stdout)
    for sha256 in done.missing:
        write(f"  The stored file {sha256[:12]} was gone and is not in it.\n", sys.stdout)


def import_(
    zip_file: Annotated[Path, typer.Argument(metavar="ZIP", help="A zip by `beltside export`.")],
    folder: Folder = None,
    as_json: Json = False,
) -> None:
    """Put the jobs of a zip into the record; nothing that is there is written over."""
    require_file(zip_file, "a zip by `beltside export`")
    with working("jobs put in so far are whole") as progress:
        progress("reading the zip", 0.0)
        from beltside.casework.shop import open_shop
        from beltside.casework.shop_transfer import import_jobs

        with open_shop(folder) as shop:
            done = import_jobs(shop, zip_file)
    if as_json:
        write_json({"jobs": [one.to_json() for one in done]})
        return
    for one in done:
        write(one.says() + "\n", sys.stdout)


def jobs_csv(
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Where to write it; printed without."),
    ] = None,
    since: Day = None,
    until: Day = None,
    closed: Annotated[bool, typer.Option("--closed", help="Closed jobs only.")] = False,
    folder: Folder = None,
) -> None:
    """Write the jobs as a table (CSV) for the bookkeeper."""
    if out is not None and out.exists():
        raise InputError(f"{out} is there already", allowed="a new file for the table")
    from beltside.casework.jobs_csv import jobs_csv as table
    from beltside.casework.shop import open_shop

    with open_shop(folder) as shop:
        text = table(shop, since=_day(since), until=_day(until), closed_only=closed)
    if out is None:
        sys.stdout.write(text.replace("\r\n", "\n"))
        return
    # With the mark at its start a spreadsheet reads it as UTF-8.
    out.write_bytes(b"\xef\xbb\xbf" + text.encode("utf-8", "replace"))
    write(f"{text.count(chr(13) + chr(10)) - 1} lines are in {out}\n", sys.stdout)


def _day(moment: datetime | None) -> date | None:
    return None if moment is None else moment.date()
