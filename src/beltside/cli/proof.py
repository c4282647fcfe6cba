"""The command `beltside proof`. Thin: parse, call `casework` and `proof`, print."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.job_shop import choose_shop, the_shop
from beltside.cli.screen import working, write, write_json

Folder = Annotated[
    Path | None,
    typer.Option(
        "--folder",
        metavar="DIR",
        help="Where the shop's record is kept; .beltside in your home without it.",
    ),
]


def proof(
    job: Annotated[
        str | None, typer.Argument(metavar="JOB", help="The job's number.", show_default=False)
    ] = None,
    html: Annotated[
        bool, typer.Option("--html", help="One HTML file with the sounds in it, to send.")
    ] = False,
    how: Annotated[
        bool, typer.Option("--how", help="The how-it-was-done sheet instead, without the owner.")
    ] = False,
    us: Annotated[bool, typer.Option("--us", help="US units and Letter paper.")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Where to write it.")
    ] = None,
    verify: Annotated[
        str | None,
        typer.Option(
            "--verify",
            metavar="FILE-OR-CODE",
            help="Hold a sheet's file, or what its QR code says, against the record.",
        ),
    ] = None,
    folder: Folder = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")
    ] = False,
) -> None:
    """Write the owner's proof sheet of a job, or check one that was handed out."""
    if verify is not None:
        if job is not None or html or out is not None or how:
            raise InputError(
                "--verify with a job or another option", allowed="--verify FILE-OR-CODE alone"
            )
        _verify(verify, folder, as_json)
        return
    if job is None:
        raise InputError("no job was named", allowed="the job's number", instead="beltside proof 1")
    _write(job, html=html, how=how, us=us, out=out, folder=folder, as_json=as_json)


def _write(
    job: str,
    *,
    html: bool,
    how: bool,
    us: bool,
    out: Path | None,
    folder: Path | None,
    as_json: bool,
) -> None:
    with working("nothing was written") as progress:
        progress("gathering the record", 0.0)
        from beltside.casework.shop import sheet_of

        choose_shop(folder, None, "")
        with the_shop() as shop:
            number = sheet_of(shop, job).job.number
            stem = f"{'how' if how else 'proof'}-{number}"
            path = out or Path(f"{stem}{'.html' if html else '.pdf'}")
            if path.exists():
                raise InputError(
                    f"{path} is there already", allowed="a new file", instead="--out with a name"
                )
            if how:
                from beltside.casework.shop_how import how_of, photos_of
                from beltside.proof.how_sheet import how_html, how_pdf

                progress("writing the sheet", 0.5)
                steps = how_of(shop, job)
                photos = photos_of(shop, steps)
                data = (
                    how_html(steps, photos, us=us).encode()
                    if html
                    else how_pdf(steps, photos, us=us)
                )
                plain = steps.to_json()
            else:
                from beltside.casework.shop_proof import clips_of, hand_out

                sheet = hand_out(shop, job)
                plain = sheet.to_json()
                if html:
                    from beltside.proof.sheet_html import proof_html

                    progress("cutting the sounds", 0.5)
                    data = proof_html(sheet, clips_of(shop, sheet), us=us).encode()
                else:
                    from beltside.proof.sheet_pdf import proof_pdf

                    progress("writing the sheet", 0.5)
                    data = proof_pdf(sheet, us=us)
        path.write_bytes(data)
    if as_json:
        write_json({"file": str(path), "bytes": len(data), "sheet": plain})
        return
    write(f"{path} ({len(data) / 1e3:.0f} kB)\n", sys.stdout)
    for gap in plain.get("not_tested", ()):
        write(f"  Not tested: {gap}\n", sys.stdout)


def _verify(given: str, folder: Path | None, as_json: bool) -> None:
    from beltside.casework.shop import open_shop
    from beltside.casework.shop_proof_check import check_code
    from beltside.proof.sheet_check import LARGEST_FILE_BYTES, check_file

    with open_shop(folder) as shop:
        path = Path(given)
        if len(given) < 1000 and path.is_file():
            with path.open("rb") as file:
                checked = check_file(shop, file.read(LARGEST_FILE_BYTES + 1)).to_json()
        elif given.upper().startswith("BELTSIDE"):
            checked = check_code(shop, given).to_json()
        else:
            raise InputError(
                f"{given[:80]} is neither a file nor a code",
                allowed="a PDF or HTML proof sheet, or what its QR code says",
            )
    if as_json:
        write_json(checked)
    else:
        head = "Genuine" if checked["genuine"] else "NOT what the record says"
        write(f"{head}: job {checked['job']}, {checked['made_at'][:16]} UTC\n", sys.stdout)
        for said in checked["says"]:
            write(f"  {said}\n", sys.stdout)
        for one in checked["altered"]:
            write(
                f"  {one['where']}: {one['there']}; the record has {one['should_be']}\n", sys.stdout
            )
    if not checked["genuine"]:
        raise typer.Exit(1)
