"""The commands under `beltside job` for the plan, its steps, the price and the owner's OK."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.job_shop import JobName, Json, pairs, read_text, tell, the_shop
from beltside.cli.screen import working


def plan(
    job: JobName,
    template: Annotated[
        str, typer.Argument(metavar="TEMPLATE", help="A template's name; shown without.")
    ] = "",
    file: Annotated[
        Path | None, typer.Option("--file", metavar="FILE", help="A teardown job of your own.")
    ] = None,
    target: Annotated[
        list[str] | None, typer.Option("--repair", help="What is to be done; may be repeated.")
    ] = None,
    aim: Annotated[
        str, typer.Option("--least", metavar="AIM", help="expected, sure or tools.")
    ] = "expected",
    as_json: Json = False,
) -> None:
    """Choose the plan, or show what is left of it."""
    from beltside.casework.shop_teardown import make_plan, plan_on_job

    with the_shop() as shop, working("nothing was changed"):
        if template or file is not None:
            toml = read_text(file, "a teardown job") if file is not None else ""
            make_plan(
                shop,
                job,
                {"template": template, "toml": toml, "target": target or [], "aim": aim},
            )
        found = plan_on_job(shop, job)
    lines = [
        f"{found.whole.title}: about {found.minutes_left:.0f} min left"
        + (f", by the times of {found.technician}" if found.technician else "")
    ]
    for one in found.steps:
        mark = {"done": "x", "started": ">", "stopped": "-", "went wrong": "!"}.get(one.state, " ")
        minutes = one.minutes if one.minutes is not None else one.step.expected_min
        lines.append(f"  [{mark}] {one.step.id:28} {minutes:5.1f} min  {one.step.title}")
    lines += [f"  [/] {one.step.id:28}            {one.step.title}" for one in found.stuck]
    lines += [found.detour] if found.detour else []
    tell(as_json, found.to_json(), lines)


def tick(
    job: JobName,
    step: Annotated[
        str, typer.Argument(metavar="STEP", help="The step's name; the next one without.")
    ] = "",
    minutes: Annotated[float | None, typer.Option("--minutes", help="What it took.")] = None,
    wrong: Annotated[
        str | None, typer.Option("--went-wrong", metavar="WHAT", help="Which trouble it was.")
    ] = None,
    extra: Annotated[
        tuple[float, float, float] | None,
        typer.Option(
            "--extra-min",
            metavar="LOW LIKELY HIGH",
            help="With --went-wrong: minutes more, for a trouble the plan does not know.",
        ),
    ] = None,
    stuck: Annotated[bool, typer.Option("--stuck", help="It can't come off.")] = False,
    started: Annotated[bool, typer.Option("--started", help="Start its clock.")] = False,
    stopped: Annotated[bool, typer.Option("--stopped", help="Stop its clock.")] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take the tick back.")] = False,
    note: Annotated[str, typer.Option("--note", help="Where it fought back.")] = "",
    as_json: Json = False,
) -> None:
    """Tick a step of the plan; when it went wrong the rest is planned anew."""
    from beltside.casework.shop_steps import tick_step, untick_step
    from beltside.casework.shop_teardown import plan_on_job

    with the_shop() as shop, working("nothing was changed"):
        if not step:
            now = plan_on_job(shop, job).next
            if now is None:
                raise InputError("all steps of the plan are done", instead="nothing more")
            step = now.id
        if undo:
            entry = untick_step(shop, job, step)
        else:
            chosen = {
                "went wrong": wrong is not None,
                "stuck": stuck,
                "started": started,
                "stopped": stopped,
            }
            said = [name for name, is_ in chosen.items() if is_]
            if len(said) > 1:
                raise InputError(f"{' and '.join(said)} at once", allowed="one of them")
            entry = tick_step(
                shop,
                job,
                step,
                state=said[0] if said else "done",
                minutes=minutes,
                says=wrong or "",
                note=note,
                extra_min=extra or (),
            )
        left = plan_on_job(shop, job)
    next_ = left.next
    tell(
        as_json,
        {
            "entry": entry.id,
            **dict(entry.body),
            "next": None if next_ is None else next_.id,
            "minutes_left": round(left.minutes_left, 1),
            "detour": left.detour,
        },
        [
            f"{step}: {'taken back' if undo else entry.body['state']}"
            + (f", {entry.body['minutes']:g} min" if entry.body.get("minutes") else "")
            + ".",
            *([left.detour] if left.detour else []),
            "All steps are done."
            if next_ is None
            else f"Next: {next_.title} ({next_.expected_min:.0f} min); about "
            f"{left.minutes_left:.0f} min left in all.",
        ],
    )


def estimate(
    job: JobName,
    price: Annotated[
        list[str] | None,
        typer.Option("--price", metavar="PART=PRICE", help="A buying price; may be repeated."),
    ] = None,
    option: Annotated[
        list[str] | None,
        typer.Option("--option", metavar="NAME=REPAIR+REPAIR", help="An option; may be repeated."),
    ] = None,
    given: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="NAME=VALUE", help="Overrules a setting of the shop."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Price the plan; an earlier estimate stays readable."""
    from beltside.casework.shop_agree import make_estimate

    typed = pairs(given or [], "a setting")
    if price:
        rows = [one.partition("=") for one in price]
        typed["price"] = [{"name": name.strip(), "price": text} for name, _, text in rows]
    if option:
        named = [one.partition("=") for one in option]
        typed["option"] = [
            {"name": name.strip(), "repairs": text.split("+")} for name, _, text in named
        ]
    with the_shop() as shop, working("nothing was changed"):
        made = make_estimate(shop, job, typed)
    if as_json:
        tell(True, made.to_json(), [])
        return
    from beltside.cli.teardown_show import show_estimate

    show_estimate(made.result, None)


def agree(
    job: JobName,
    option: Annotated[str, typer.Argument(metavar="OPTION", help="By name or number.")],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="Who agrees.")],
    as_json: Json = False,
) -> None:
    """Keep the owner's OK to one option of the newest estimate."""
    from beltside.casework.shop_agree import owner_agrees

    with the_shop() as shop:
        entry = owner_agrees(shop, job, option, name)
    body = entry.body
    tell(
        as_json,
        {"entry": entry.id, **dict(body)},
        [f"{body['name']} agreed to {body['option']} at {body['agreed_at']}."],
    )


def add_plan_commands(app: typer.Typer) -> None:
    """Enter these commands into the group."""
    for command, short in (
        (plan, "The plan: chosen, or what is left of it."),
        (tick, "A step of the plan: done, or went wrong."),
        (estimate, "What it costs."),
        (agree, "The owner's OK."),
    ):
        app.command(short_help=short)(command)
