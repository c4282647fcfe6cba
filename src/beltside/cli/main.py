"""The command `beltside`. Thin: parse, call `casework`, print.

What costs time to import (numpy and all that builds on it) is imported inside the commands, so
that `--help` answers at once.
"""

from __future__ import annotations

import copy
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer
from typer.models import CommandInfo, TyperInfo

from beltside import __version__
from beltside.cli.backup import backup, restore
from beltside.cli.bolts import bolts_app
from beltside.cli.bolts_match import match
from beltside.cli.care import check
from beltside.cli.compare import compare
from beltside.cli.coolant_work import coolant_app
from beltside.cli.drive import drive
from beltside.cli.job import job_app
from beltside.cli.learned import learned_app
from beltside.cli.phones import phones_app
from beltside.cli.plain_help import PlainHelp
from beltside.cli.problems import exit_code_of, require_file, require_path
from beltside.cli.proof import proof
from beltside.cli.pulleys import pulleys
from beltside.cli.screen import working, write, write_json
from beltside.cli.serve import serve
from beltside.cli.strum import strum
from beltside.cli.teardown import teardown_app
from beltside.cli.transfer import export, import_, jobs_csv
from beltside.cli.vehicle import vehicle
from beltside.cli.where import direction, similar, where
from beltside.cli.work import demo_shop, work

if TYPE_CHECKING:
    from beltside.casework.results import FindResult, ListenResult

# Takes are worked on side by side already; threads of the matrix library on top of that only get
# in each other's way. It reads this when numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

app = typer.Typer(
    name="beltside",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
)

DEMO_FOLDER = Path("beltside-demo")

Json = Annotated[bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")]
Pictures = Annotated[
    Path | None,
    typer.Option(
        "--pictures",
        metavar="DIR",
        help="Write the charts into this folder, as PNG to look at and SVG to keep.",
    ),
]


def _version(asked: bool) -> None:
    if asked:
        write(f"beltside {__version__}\n", sys.stdout)
        raise typer.Exit


@app.callback(invoke_without_command=True)
def beltside(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option("--version", help="Print the version.", callback=_version, is_eager=True),
    ] = False,
) -> None:
    """Find which part makes the noise at the belt end of an engine, from phone recordings."""
    del version
    if context.invoked_subcommand is None:
        write(context.get_help() + "\n", sys.stdout)


@app.command(short_help="One take: crank speed, and whose line is whose.")
def listen(
    take: Annotated[
        Path, typer.Argument(metavar="TAKE", help="A recording, in any format a phone writes.")
    ],
    drive: Annotated[
        Path | None,
        typer.Option(
            "--drive", metavar="SHEET", help="The drive sheet (TOML): engine, belt, pulleys."
        ),
    ] = None,
    crank_rpm: Annotated[
        float | None,
        typer.Option(
            "--crank-rpm",
            metavar="RPM",
            help="Crank speed off a dash or scan tool; it is used, and checked against the sound.",
        ),
    ] = None,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Say how fast the crank turned in one take, and which part each line belongs to."""
    require_file(take, "a recording")
    if drive is not None:
        require_file(drive, "a drive sheet")
    with working("nothing was changed") as progress:
        from beltside.casework.listen import listen as listen_to

        result = listen_to(take, drive=drive, crank_rpm=crank_rpm, progress=progress)
    saved = _saved(result, pictures)
    if as_json:
        write_json({**result.to_json(), "pictures": [str(path) for path in saved]})
        return
    from beltside.cli.show import show_listen

    show_listen(result, saved)


@app.command(short_help="A case: odds of every suspect, and what to check next.")
def find(
    case: Annotated[
        Path, typer.Argument(metavar="CASE", help="The case: its TOML file, or its folder.")
    ],
    ask: Annotated[
        bool,
        typer.Option(
            "--ask", help="Ask about one check after the other; each answer goes into the case."
        ),
    ] = False,
    without: Annotated[
        list[int] | None,
        typer.Option(
            "--without", metavar="NUMBER", help="Leave out this finding for once; may be repeated."
        ),
    ] = None,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Give the odds of every suspect of a case, the reasons, and what to check next."""
    require_path(case, "a case")
    if ask:
        from beltside.cli.ask import ask_alone

        ask_alone(case, others=bool(as_json or pictures or without))
        return
    with working("nothing was changed") as progress:
        from beltside.casework.find import find as find_in

        result = (
            find_in(case, progress=progress, without=without)
            if without
            else find_in(case, progress=progress)
        )
    saved = _saved(result, pictures)
    if as_json:
        write_json({**result.to_json(), "pictures": [str(path) for path in saved]})
        return
    from beltside.cli.show import show_find

    show_find(result, saved)


@app.command(short_help="All of it on an invented car, to look at first.")
def demo(
    folder: Annotated[
        Path,
        typer.Option(
            "--folder", metavar="DIR", help="Where to put the demo's recordings and pictures."
        ),
    ] = DEMO_FOLDER,
    as_json: Json = False,
) -> None:
    """Make an invented car's recordings, find the noise in them, and show all of it."""
    with working(f"what was made so far lies in {folder}") as progress:
        from beltside.casework.demo import demo as make_demo

        result = make_demo(folder, progress=progress)
    saved = _saved(result.find, folder / "pictures")
    if as_json:
        write_json({**result.to_json(), "pictures": [str(path) for path in saved]})
        return
    from beltside.cli.show import show_demo

    show_demo(result, saved)


app.command(short_help="A car's number or emissions label: year, displacement.")(vehicle)
app.command(short_help="Before and after: how much quieter, and a pair to listen to.")(compare)
app.command(short_help="Probe takes: at which housing the noise is loudest.")(where)
app.command(short_help="Stereo takes: which way the noise comes from.")(direction)
app.command(short_help="Takes with known causes that one take is most like.")(similar)


app.command(short_help="The pages, in a browser on this computer.")(serve)
app.add_typer(phones_app, name="phones", short_help="Paired phones: list them, lock them out.")
app.add_typer(
    job_app, name="job", short_help="Jobs of the shop, from the first words to the record."
)
app.command(short_help="The owner's proof sheet; or check one that was handed out.")(proof)
app.command(short_help="Listen to takes in the background.")(work)
app.command(short_help="Is the record whole? Entries and files held against their checksums.")(
    check
)
app.command("demo-shop", short_help="An invented shop to look at first, with jobs at every stage.")(
    demo_shop
)
app.command(short_help="Jobs with all their history and files into one zip.")(export)
app.command("import", short_help="Jobs out of such a zip; nothing is written over.")(import_)
app.command(short_help="A backup of the whole shop; only new files are copied.")(backup)
app.command(short_help="A backup put back into an empty folder.")(restore)
app.command("jobs-csv", short_help="The jobs as a table for the bookkeeper.")(jobs_csv)
app.add_typer(learned_app, name="learned", short_help="What closed jobs taught.")


app.command(short_help="The belt drive: path, length, slip, tensioner, alignment.")(drive)
app.command(short_help="A plucked span: its note, and the belt's tension.")(strum)
app.command(short_help="A photo of the front: pulleys with sizes, as a drive sheet.")(pulleys)


app.add_typer(
    bolts_app, name="bolts", short_help="Torque, tightening order, holes, sealant, stuck bolts."
)
bolts_app.command(short_help="Old part, new part, gasket: do the holes agree?")(match)
app.add_typer(
    coolant_app, name="coolant", short_help="Mixture, cap, hold test, fill, belt-off clock."
)
app.add_typer(
    teardown_app, name="teardown", short_help="What to take off in which order, time and price."
)

for _group in (app, *(one.typer_instance for one in app.registered_groups)):
    for _command in _group.registered_commands if _group else ():
        _command.cls = PlainHelp


def _saved(result: ListenResult | FindResult, folder: Path | None) -> list[Path]:
    """The pictures written into `folder`, none when no folder was asked for."""
    if folder is None:
        return []
    with working(f"the pictures in {folder} may be incomplete") as progress:
        progress("drawing", 0.0)
        from beltside.proof.charts import save_pictures

        return save_pictures(result, folder, progress=progress)


def lean(words: Sequence[str]) -> typer.Typer:
    """The commands that `words` need. Building a command takes some milliseconds, so one that is
    called is built alone, and the page of all commands does without their own options."""
    plain = [word for word in words if not word.startswith("-")]
    chosen, below = (*plain, None, None)[:2]
    few = copy.copy(app)
    commands = [one for one in app.registered_commands if _name(one) == chosen]
    groups = [_with_only(below, one) for one in app.registered_groups if one.name == chosen]
    if commands or groups:
        few.registered_commands, few.registered_groups = commands, groups
    elif chosen is None:
        few.registered_groups = [_bare(one) for one in app.registered_groups]
    return few


def _name(command: CommandInfo) -> str:
    return command.name or command.callback.__name__.replace("_", "-") if command.callback else ""


def _with_only(command: str | None, group: TyperInfo) -> TyperInfo:
    """A group with one command of it, the one called; whole when it has none of that name."""
    whole = group.typer_instance
    called = [one for one in whole.registered_commands if _name(one) == command] if whole else []
    if whole is None or not called:
        return group
    only = copy.copy(whole)
    only.registered_commands, only.registered_groups = called, []
    few = copy.copy(group)
    few.typer_instance = only
    return few


def _bare(group: TyperInfo) -> TyperInfo:
    """A group without its commands, for the page of all commands."""
    bare = copy.copy(group)
    if group.typer_instance is not None:
        bare.typer_instance = copy.copy(group.typer_instance)
        bare.typer_instance.registered_commands = []
        bare.typer_instance.registered_groups = []
    return bare


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command with `arguments` (those of the process when None) and exit."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    raise SystemExit(
        exit_code_of(lambda: lean(given)(args=given, prog_name="beltside", standalone_mode=False))
    )
