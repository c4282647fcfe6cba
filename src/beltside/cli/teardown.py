"""The commands under `beltside teardown`. Thin: parse, call `casework`, print."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from beltside.base.errors import InputError
from beltside.cli.screen import working, write, write_json


class PlanWhenNotNamed(TyperGroup):
    """`beltside teardown JOB` is short for `beltside teardown plan JOB`."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Puts "plan" in front when no other command of the group is named."""
        if args and args[0] not in (*self.commands, "--help", "-h"):
            args = ["plan", *args]
        return super().parse_args(ctx, args)


teardown_app = typer.Typer(
    cls=PlanWhenNotNamed,
    add_completion=False,
    rich_markup_mode=None,
    help="Taking apart and refitting: the cheapest order of work, its time, lists and price. "
    "`beltside teardown JOB` is short for `beltside teardown plan JOB`.",
    no_args_is_help=True,
)

Job = Annotated[
    str, typer.Argument(metavar="JOB", help="A job file (TOML), or the name of a template.")
]
Repair = Annotated[
    list[str] | None,
    typer.Option("--repair", metavar="NAME", help="What is to be repaired; may be repeated."),
]
Log = Annotated[
    Path | None,
    typer.Option("--log", metavar="CSV", help="Logged step times to learn from."),
]
Technician = Annotated[
    str, typer.Option("--technician", metavar="NAME", help="Whose logged times count.")
]
CoolantLitres = Annotated[
    float | None,
    typer.Option("--coolant-litres", metavar="L", help="Litres of coolant needed."),
]
CoolantSource = Annotated[
    str, typer.Option("--coolant-source", metavar="TEXT", help="Where the litres come from.")
]
SealantMl = Annotated[
    float | None,
    typer.Option("--sealant-ml", metavar="ML", help="Millilitres of sealant needed."),
]
SealantSource = Annotated[
    str, typer.Option("--sealant-source", metavar="TEXT", help="Where the millilitres come from.")
]
Reuse = Annotated[
    list[str] | None,
    typer.Option("--reuse", metavar="FLUID", help="A fluid that is caught and used again."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")]
Done = Annotated[
    list[str] | None,
    typer.Option("--done", metavar="THING", help="Off already; may be repeated."),
]
Refitted = Annotated[
    list[str] | None,
    typer.Option("--refitted", metavar="THING", help="On again already; may be repeated."),
]
Blocked = Annotated[
    list[str] | None,
    typer.Option("--blocked", metavar="THING", help="Can't come off after all."),
]
WentWrong = Annotated[
    list[str] | None,
    typer.Option(
        "--went-wrong",
        metavar="THING[=WHAT]",
        help="A trouble of this thing has happened and is still to be put right.",
    ),
]
Pictures = Annotated[
    Path | None,
    typer.Option("--pictures", metavar="DIR", help="Draw the plan into this folder."),
]
Aim = Annotated[
    str,
    typer.Option(
        "--least",
        metavar="AIM",
        help="expected: least expected minutes; sure: least minutes that hold in 80 % of cases; "
        "tools: fewest tools.",
    ),
]


@teardown_app.command(short_help="The cheapest order of work, with reasons, time and lists.")
def plan(
    job: Job,
    repair: Repair = None,
    least: Aim = "expected",
    done: Done = None,
    refitted: Refitted = None,
    blocked: Blocked = None,
    went_wrong: WentWrong = None,
    log: Log = None,
    technician: Technician = "",
    reuse: Reuse = None,
    coolant_litres: CoolantLitres = None,
    coolant_source: CoolantSource = "",
    sealant_ml: SealantMl = None,
    sealant_source: SealantSource = "",
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Plan a job: which steps, in which order, why, how long; from where the work stands."""
    with working("nothing was changed"):
        from beltside.casework.teardown import known_quantities, teardown

        result = teardown(
            job,
            repairs=repair or (),
            aim=least,
            done=done or (),
            refitted=refitted or (),
            blocked=blocked or (),
            gone_wrong=_troubles(went_wrong or []),
            log=log,
            technician=technician,
            reuse=reuse or (),
            quantities=known_quantities(coolant_litres, coolant_source, sealant_ml, sealant_source),
        )
    saved: list[Path] = []
    if pictures is not None:
        with working(f"the pictures in {pictures} may be incomplete"):
            from beltside.proof.plan_picture import save_plan

            saved = save_plan(result, pictures)
    if as_json:
        write_json({**result.to_json(), "pictures": [str(path) for path in saved]})
        return
    from beltside.cli.teardown_show import show_plan

    show_plan(result, saved)


@teardown_app.command(short_help="Tools in order, what to buy, and a step sheet to print.")
def lists(
    job: Job,
    repair: Repair = None,
    log: Log = None,
    technician: Technician = "",
    reuse: Reuse = None,
    coolant_litres: CoolantLitres = None,
    coolant_source: CoolantSource = "",
    sealant_ml: SealantMl = None,
    sealant_source: SealantSource = "",
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="FILE", help="Write the step sheet as text to print."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Print the tools in the order needed, parts and consumables to buy, and the step sheet."""
    with working("nothing was changed"):
        from beltside.casework.teardown import known_quantities, teardown

        result = teardown(
            job,
            repairs=repair or (),
            log=log,
            technician=technician,
            reuse=reuse or (),
            quantities=known_quantities(coolant_litres, coolant_source, sealant_ml, sealant_source),
        )
    if as_json:
        whole = result.to_json()
        write_json({key: whole[key] for key in ("title", "tools", "to_buy", "steps", "warnings")})
        return
    from beltside.cli.teardown_show import sheet_text, show_lists

    if sheet is not None:
        if sheet.exists():
            raise InputError(f"{sheet} is there already", allowed="a new file for the step sheet")
        sheet.write_text(sheet_text(result), encoding="utf-8")
    show_lists(result, sheet)


@teardown_app.command(short_help="Options side by side: time, price, what a snapped bolt changes.")
def estimate(
    job: Job,
    prices: Annotated[
        Path, typer.Option("--prices", metavar="FILE", help="The price file (TOML).")
    ],
    repair: Repair = None,
    log: Log = None,
    technician: Technician = "",
    coolant_litres: CoolantLitres = None,
    coolant_source: CoolantSource = "",
    sealant_ml: SealantMl = None,
    sealant_source: SealantSource = "",
    save: Annotated[
        Path | None,
        typer.Option("--save", metavar="FILE", help="Save the offer (JSON), to be agreed to."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Price the job: options of the price file, low, likely, high and what holds in 80 %."""
    with working("nothing was changed"):
        from datetime import date

        from beltside.casework.teardown import known_quantities
        from beltside.casework.teardown_estimate import estimate_job, save_offer

        result = estimate_job(
            job,
            prices,
            today=date.today(),
            repairs=repair or (),
            log=log,
            technician=technician,
            quantities=known_quantities(coolant_litres, coolant_source, sealant_ml, sealant_source),
        )
        if save is not None:
            save_offer(result, save)
    if as_json:
        write_json(result.to_json())
        return
    from beltside.cli.teardown_show import show_estimate

    show_estimate(result, save)


@teardown_app.command(short_help="The owner's OK to one option of a saved offer.")
def agree(
    offer: Annotated[Path, typer.Argument(metavar="OFFER", help="An offer saved by estimate.")],
    option: Annotated[
        str, typer.Option("--option", metavar="NAME", help="The option, by name or number.")
    ],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="Who agrees.")],
    save: Annotated[
        Path, typer.Option("--save", metavar="FILE", help="Where the agreement is written.")
    ],
    as_json: Json = False,
) -> None:
    """Record who agreed to exactly what, and when."""
    from datetime import datetime

    from beltside.casework.teardown_estimate import agree as agreed
    from beltside.casework.teardown_estimate import save_agreement

    agreement = agreed(offer, option, name, datetime.now().astimezone())
    save_agreement(agreement, save)
    if as_json:
        write_json(agreement.to_json())
        return
    from beltside.cli.teardown_show import show_agreement

    show_agreement(agreement, save)


@teardown_app.command(short_help="The templates that ship with Beltside.")
def templates(as_json: Json = False) -> None:
    """List the templates."""
    from beltside.casework.teardown_templates import template_job, template_names

    rows = [(name, template_job(name).job) for name in template_names()]
    if as_json:
        write_json(
            {
                "templates": [
                    {"name": name, "title": job.title, "about": job.about} for name, job in rows
                ]
            }
        )
        return
    width = max(len(name) for name, _ in rows)
    for name, job in rows:
        write(f"{name:{width}}  {job.title}\n", sys.stdout)
    write("Copy one with: beltside teardown copy NAME FILE\n", sys.stdout)


@teardown_app.command(short_help="Copy a template to a file of your own.")
def copy(
    name: Annotated[str, typer.Argument(metavar="NAME", help="A template's name.")],
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The new file.")],
) -> None:
    """Copy a template, to be bent to the car at hand and kept for next time."""
    from beltside.casework.teardown_templates import copy_template

    copy_template(name, file)
    write(f"{file} written. Enter torques and capacities with their source.\n", sys.stdout)


def _troubles(given: list[str]) -> dict[str, str]:
    """ "pump-bolts=a pump bolt snaps" as thing and trouble; without "=" the first trouble."""
    return {one.partition("=")[0].strip(): one.partition("=")[2].strip() for one in given}
