"""`beltside learned`: what closed jobs taught."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beltside.base.errors import InputError
from beltside.base.words import count_of
from beltside.cli.problems import require_file, require_path
from beltside.cli.screen import write, write_json

if TYPE_CHECKING:
    from beltside.casework.learned import LearnedResult, Moved

learned_app = typer.Typer(
    name="learned",
    help="What closed jobs taught: add a job, show, export, merge, reset.",
    rich_markup_mode=None,
    no_args_is_help=True,
)

Json = Annotated[bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")]

_MOST_SHOWN = 12


@learned_app.command(short_help="Close a job: what was put right, and did it cure the noise.")
def add(
    case: Annotated[
        Path, typer.Argument(metavar="CASE", help="The case: its TOML file, or its folder.")
    ],
    replaced: Annotated[
        str,
        typer.Option(
            "--replaced",
            metavar="PART.FAULT",
            help='What was put right, "coolant-pump.bearing"; "none" when nothing was wrong.',
        ),
    ],
    cured: Annotated[
        str, typer.Option("--cured", metavar="yes|no", help="Whether the noise was gone after.")
    ],
    as_json: Json = False,
) -> None:
    """Close a job, so that the odds learn from it. Nothing of the customer is kept."""
    require_path(case, "a case")
    said = cured.strip().lower()
    if said not in ("yes", "no", "y", "n"):
        raise InputError(f'--cured is "{cured}"', allowed="yes or no")
    from beltside.casework.learned import add as add_job

    _show(add_job(case, replaced.strip(), said.startswith("y")), as_json)


@learned_app.command(short_help="What has been learned, against the shipped values.")
def show(as_json: Json = False) -> None:
    """Show priors and likelihoods that closed jobs have moved."""
    from beltside.casework.learned import show as shown

    _show(shown(), as_json)


@learned_app.command(short_help="Write it into a file for another shop.")
def export(
    target: Annotated[Path, typer.Argument(metavar="FILE", help="A file name that is free.")],
    as_json: Json = False,
) -> None:
    """Write what was learned into a file. There is nothing of customers in it."""
    from beltside.casework.learned import export as write_out

    jobs = write_out(target)
    if as_json:
        write_json({"file": str(target), "jobs": jobs})
        return
    write(
        f"{count_of(jobs, 'closed job')} written to {target}. No customer's data is in it.\n",
        sys.stdout,
    )


@learned_app.command(short_help="Add what another shop exported.")
def merge(
    source: Annotated[Path, typer.Argument(metavar="FILE", help="A file that was exported.")],
    as_json: Json = False,
) -> None:
    """Add what another shop exported; each job counts once."""
    require_file(source, "a file of closed jobs")
    from beltside.casework.learned import merge as take_in

    _show(take_in(source), as_json)


@learned_app.command(short_help="Forget it and go back to the shipped values.")
def reset(
    yes: Annotated[bool, typer.Option("--yes", help="Don't ask first.")] = False,
    as_json: Json = False,
) -> None:
    """Go back to the shipped values. The old file is kept beside it under another name."""
    from beltside.casework.learned import reset as forget
    from beltside.casework.learned import show as shown

    if not yes and (jobs := shown().jobs) and not _agreed(jobs, as_json):
        write("Nothing was changed.\n", sys.stdout)
        return
    aside = forget()
    if as_json:
        write_json({"kept_as": str(aside) if aside else None})
    elif aside is None:
        write("Nothing had been learned; the shipped values hold.\n", sys.stdout)
    else:
        write(f"The shipped values hold again. What was learned is kept as {aside}\n", sys.stdout)


def _agreed(jobs: int, as_json: bool) -> bool:
    """Whether the person says yes to setting aside what `jobs` closed jobs taught.

    Raises
    ------
    InputError
        When there is nobody to ask.
    """
    what = f"what {count_of(jobs, 'closed job')} taught"
    if as_json:
        raise InputError(f"{what} would be set aside", instead="--yes, if that is meant")
    write(f"Set aside {what}, and go back to the shipped values? y or n: ", sys.stdout)
    said = sys.stdin.readline()
    if not said:
        write("\n", sys.stdout)
        raise InputError(f"{what} would be set aside", instead="--yes, if that is meant")
    return said.strip().lower() in ("y", "yes")


def _show(result: LearnedResult, as_json: bool) -> None:
    if as_json:
        write_json(result.to_json())
        return
    lines = [f"{note[0].upper()}{note[1:]}." for note in result.notes]
    lines.append(
        f"{count_of(result.jobs, 'closed job')}, {result.cured} of them cured by what was "
        f"replaced. Kept in {result.path}"
    )
    lines.append(
        f"The shipped priors count as {result.prior_jobs:g} jobs, each shipped row of "
        f"likelihoods as {result.row_jobs:g} findings."
    )
    if result.jobs:
        lines += ["", "PRIORS  shipped, now, jobs seen", *_moved(result.priors)]
        lines += ["", "LIKELIHOODS  shipped, now, times seen", *_moved(result.likelihoods)]
    write("\n".join(lines) + "\n", sys.stdout)


def _moved(values: tuple[Moved, ...]) -> list[str]:
    rows = [
        f"  {100 * one.shipped:5.1f} %  {100 * one.learned:5.1f} %  {one.seen:5.1f}  {one.what}"
        for one in values[:_MOST_SHOWN]
    ]
    if len(values) > _MOST_SHOWN:
        rows.append(f"  and {len(values) - _MOST_SHOWN} that moved less, in --json")
    return rows or ["  none"]
