"""`beltside bolts`: torque, tightening order, sealant, counter-hold, stuck fasteners."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.problems import require_file
from beltside.cli.screen import page, working, write, write_json

if TYPE_CHECKING:
    from beltside.casework.bolts_answer import BoltsAnswer

bolts_app = typer.Typer(
    name="bolts",
    help="Torque, tightening order, sealant, holding a pulley, stuck fasteners.",
    invoke_without_command=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
)

Json = Annotated[bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")]
Pictures = Annotated[
    Path | None,
    typer.Option("--pictures", metavar="DIR", help="Write the drawing as PNG and SVG."),
]
Pattern = Annotated[Path, typer.Argument(metavar="PATTERN", help="The hole pattern (TOML), in mm.")]
Unit = Annotated[
    str,
    typer.Option("--unit", metavar="UNIT", help="Answer in N m, lbf ft, lbf in, kgf m, kgf cm."),
]
Us = Annotated[bool, typer.Option("--us", help="Answer in lbf ft.")]


@bolts_app.callback()
def bolts(context: typer.Context) -> None:
    """Torque, tightening order, sealant, holding a pulley, stuck fasteners."""
    if context.invoked_subcommand is None:
        write(context.get_help() + "\n", sys.stdout)


@bolts_app.command(short_help="What the wrench is set to, what the thread can take.")
def torque(
    thread: Annotated[
        str | None, typer.Argument(metavar="[THREAD]", help='"M8", "M10x1.25", "3/8-16".')
    ] = None,
    class_name: Annotated[
        str | None,
        typer.Option("--class", metavar="CLASS", help="Property class off the head, 8.8."),
    ] = None,
    friction: Annotated[
        str,
        typer.Option(
            "--friction",
            metavar="STATE",
            help="dry, oiled, zinc, zinc-flake, cadmium, threadlock, anti-seize, or a coefficient.",
        ),
    ] = "unknown",
    into: Annotated[
        str,
        typer.Option("--into", metavar="WHAT", help="steel, cast-aluminium or cast-iron."),
    ] = "steel",
    engagement_mm: Annotated[
        float | None,
        typer.Option("--engagement-mm", metavar="MM", help="Length over which the threads meet."),
    ] = None,
    head: Annotated[
        str | None,
        typer.Option(
            "--head",
            metavar="KIND",
            help="hex, small-hex, old-hex, flange, large-flange or socket.",
        ),
    ] = None,
    head_mm: Annotated[
        float | None,
        typer.Option(
            "--head-mm", metavar="MM", help="Wrench size; without THREAD it suggests threads."
        ),
    ] = None,
    maker: Annotated[
        str | None,
        typer.Option(
            "--maker", metavar="TORQUE", help='Torque of the service data, "24 N m"; it wins.'
        ),
    ] = None,
    maker_source: Annotated[
        str | None,
        typer.Option("--maker-source", metavar="TEXT", help="Where that torque stands."),
    ] = None,
    arm_mm: Annotated[
        float | None,
        typer.Option("--arm-mm", metavar="MM", help="Torque wrench, grip to square."),
    ] = None,
    adapter_mm: Annotated[
        float | None,
        typer.Option("--adapter-mm", metavar="MM", help="Crow-foot or adapter, square to bolt."),
    ] = None,
    adapter_deg: Annotated[
        float,
        typer.Option(
            "--adapter-deg", metavar="DEG", help="0 straight on, 90 square, 180 pointing back."
        ),
    ] = 0.0,
    turn_deg: Annotated[
        float | None,
        typer.Option("--turn-deg", metavar="DEG", help="Turn after the torque."),
    ] = None,
    grip_mm: Annotated[
        float | None,
        typer.Option("--grip-mm", metavar="MM", help="Thickness clamped, for the turn."),
    ] = None,
    unit: Unit = "N m",
    us: Us = False,
    as_json: Json = False,
) -> None:
    """Torque from thread, class, friction and material; the maker's figure always wins."""
    with working("nothing was changed"):
        from beltside.casework.bolts_torque import torque as torque_of

        answer = torque_of(
            thread,
            class_name=class_name,
            state=friction,
            into=into,
            engagement_mm=engagement_mm,
            head=head,
            head_mm=head_mm,
            maker=maker,
            maker_source=maker_source,
            arm_mm=arm_mm,
            adapter_mm=adapter_mm,
            adapter_deg=adapter_deg,
            turn_deg=turn_deg,
            grip_mm=grip_mm,
            unit="lbf ft" if us else unit,
        )
    _give(answer, as_json, None)


@bolts_app.command(short_help="Tightening order and stages of any hole pattern.")
def order(
    pattern: Pattern,
    torque: Annotated[
        str | None,
        typer.Option("--torque", metavar="TORQUE", help='The maker\'s torque, "10 N m".'),
    ] = None,
    torque_source: Annotated[
        str | None,
        typer.Option("--torque-source", metavar="TEXT", help="Where that torque stands."),
    ] = None,
    stages: Annotated[
        str,
        typer.Option("--stages", metavar="PERCENT", help="Stages in per cent of the torque."),
    ] = "30,60,100",
    unit: Unit = "N m",
    us: Us = False,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """The order that presses the gasket most evenly, in stages, and the order to loosen in."""
    require_file(pattern, "a hole pattern")
    with working("nothing was changed"):
        from beltside.casework.bolts_order import order as order_of

        answer = order_of(
            pattern,
            torque=torque,
            torque_source=torque_source,
            stages=_shares(stages),
            unit="lbf ft" if us else unit,
        )
    _give(answer, as_json, pictures)


@bolts_app.command(short_help="Bead, tubes and cure clock; dry gasket unless called for.")
def sealant(
    pattern: Pattern,
    called_for: Annotated[
        str | None,
        typer.Option(
            "--called-for", metavar="TEXT", help="Where the maker's data calls for sealant."
        ),
    ] = None,
    bead_mm: Annotated[
        float | None, typer.Option("--bead-mm", metavar="MM", help="Diameter of the bead.")
    ] = None,
    tube_ml: Annotated[
        float | None, typer.Option("--tube-ml", metavar="ML", help="Content of a tube.")
    ] = None,
    skin_min: Annotated[
        float | None,
        typer.Option("--skin-min", metavar="MIN", help="Skin-over time off the label."),
    ] = None,
    cure_h: Annotated[
        float | None, typer.Option("--cure-h", metavar="H", help="Full cure off the label.")
    ] = None,
    wait_min: Annotated[
        float,
        typer.Option(
            "--wait-min", metavar="MIN", help="Wait before the final torque, if the label asks."
        ),
    ] = 0.0,
    started: Annotated[
        str | None,
        typer.Option("--started", metavar="HH:MM", help="When the bead is begun."),
    ] = None,
    as_json: Json = False,
) -> None:
    """How long a bead, how many tubes, and the clock once it is out of the tube."""
    require_file(pattern, "a hole pattern")
    with working("nothing was changed"):
        from beltside.casework.bolts_order import sealant as sealant_of

        answer = sealant_of(
            pattern,
            called_for=called_for,
            bead_mm=bead_mm,
            tube_ml=tube_ml,
            skin_min=skin_min,
            cure_h=cure_h,
            wait_min=wait_min,
            started=started,
        )
    _give(answer, as_json, None)


@bolts_app.command(short_help="Which side the holding bar goes.")
def hold(
    task: Annotated[
        str | None, typer.Argument(metavar="[TASK]", help="loosen or tighten; both if left out.")
    ] = None,
    thread_hand: Annotated[
        str, typer.Option("--thread-hand", metavar="HAND", help="right or left.")
    ] = "right",
    facing: Annotated[
        str,
        typer.Option("--facing", metavar="WAY", help="Bolt heads face you, or away."),
    ] = "you",
    bolts: Annotated[
        int, typer.Option("--bolts", metavar="N", help="Bolts of the pulley, 3 to 8.")
    ] = 4,
    as_json: Json = False,
    pictures: Pictures = None,
) -> None:
    """Which side the bar goes when a pulley is held against the wrench."""
    with working("nothing was changed"):
        from beltside.casework.bolts_hold import hold as hold_of

        answer = hold_of(task, thread_hand=thread_hand, facing=facing, bolts=bolts)
    _give(answer, as_json, pictures)


@bolts_app.command(short_help="What to try on a seized, rounded or snapped fastener.")
def stuck(
    state: Annotated[str, typer.Argument(metavar="STATE", help="seized, rounded or snapped.")],
    near: Annotated[
        list[str] | None,
        typer.Option(
            "--near",
            metavar="WHAT",
            help="coolant, seal, plastic, fuel, refrigerant, airbag; may be given again.",
        ),
    ] = None,
    into: Annotated[
        str | None, typer.Option("--into", metavar="WHAT", help="What it sits in.")
    ] = None,
    as_json: Json = False,
) -> None:
    """What to try, mild first, with its minutes and cautions."""
    with working("nothing was changed"):
        from beltside.casework.bolts_hold import stuck as stuck_of

        answer = stuck_of(state, near=near or (), into=into)
    _give(answer, as_json, None)


def _shares(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part.strip().rstrip("%").strip()) / 100.0 for part in text.split(","))
    except ValueError:
        raise InputError(
            f'the stages are "{text}"', allowed="per cent with commas", instead='"30,60,100"'
        ) from None


def _give(answer: BoltsAnswer, as_json: bool, pictures: Path | None) -> None:
    saved: list[Path] = []
    if pictures is not None and answer.pictures:
        with working(f"the pictures in {pictures} may be incomplete"):
            from beltside.proof.bolts_picture import save_bolts_pictures

            saved = save_bolts_pictures(answer.pictures, pictures)
    if as_json:
        write_json({**answer.to_json(), "pictures": [str(path) for path in saved]})
        return
    show(answer, saved)


def show(answer: BoltsAnswer, pictures: list[Path]) -> None:
    """Print an answer: the sentence first, then what it rests on, then cautions."""
    from rich.table import Table
    from rich.text import Text

    from beltside.proof.wording import printable

    with page() as out:
        out.print(Text(printable(answer.answer), style="bold"))
        groups = [(group.heading, group.rows) for group in answer.groups if group.rows]
        for heading, said in (("Warnings", answer.warnings), ("Caution", answer.cautions)):
            if said:
                groups.append((heading, tuple(("-", text) for text in said)))
        for heading, rows in groups:
            out.print()
            out.print(Text(heading.upper(), style="bold"))
            table = Table.grid(padding=(0, 2, 0, 0))
            table.add_column(overflow="fold")
            table.add_column(overflow="fold")
            for name, text in rows:
                table.add_row(Text(printable(name)), Text(printable(text)))
            out.print(table)
        if pictures:
            out.print()
            out.print(Text("PICTURES", style="bold"))
            for path in pictures:
                out.print(Text(printable(str(path))))
