"""The commands under `beltside job` for measuring, coolant, bolts, plan, price and proof."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from beltside.base.errors import InputError
from beltside.cli.job_shop import JobName, Json, file_pieces, pairs, read_text, tell, the_shop
from beltside.cli.screen import working

if TYPE_CHECKING:
    from beltside.casework.shop import Shop
    from beltside.casework.shop_bolting import PartGiven

Pictures = Annotated[
    Path | None,
    typer.Option("--pictures", metavar="DIR", help="Write the pictures into this folder."),
]


def sheet(
    job: JobName,
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="The drive sheet (TOML); shown without.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Keep the drive sheet of a job, or show what it gives."""
    from beltside.casework.shop_measure import drive_on_job, save_drive_sheet

    with the_shop() as shop:
        saved = (
            None if file is None else save_drive_sheet(shop, job, read_text(file, "a drive sheet"))
        )
        result = drive_on_job(shop, job) if saved is None else saved.result
    if as_json:
        plain = saved or result
        tell(True, plain.to_json() if plain is not None else {}, [])
        return
    if saved is not None:
        kept = f"Drive sheet kept, version {saved.entry.version}."
        tell(False, {}, [kept, *saved.notes, *([saved.problem] if saved.problem else [])])
    if result is None:
        return
    from beltside.cli.drive_show import show_drive

    show_drive(result, [])


def strum(
    job: JobName,
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE...", help="Recordings of plucks of one span.")
    ],
    between: Annotated[
        list[str] | None,
        typer.Option("--between", metavar="PULLEY", help="One end of the span; give both."),
    ] = None,
    span_mm: Annotated[
        float | None, typer.Option("--span-mm", metavar="MM", help="Its free length by rule.")
    ] = None,
    target: Annotated[
        tuple[float, float] | None,
        typer.Option("--target", metavar="LOW HIGH", help="Tension wanted, in newtons."),
    ] = None,
    ribs: Annotated[
        int | None, typer.Option("--ribs", metavar="COUNT", help="Ribs of the belt.")
    ] = None,
    mass: Annotated[
        float | None,
        typer.Option("--mass-g-per-m", metavar="G", help="Mass of a metre of belt, in g."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Keep plucks of a span, and what they say of the belt's tension."""
    from beltside.casework.shop_measure import strum_on_job

    with the_shop() as shop, working("nothing was changed"):
        kept = strum_on_job(
            shop,
            job,
            [file_pieces(one, "a recording") for one in files],
            between=between or (),
            span_mm=span_mm,
            target_n=target,
            ribs=ribs,
            mass_g_per_m=mass,
        )
    tell(as_json, kept.to_json(), [kept.says, *kept.result.warnings])


def compare(
    job: JobName,
    before: Annotated[str, typer.Argument(metavar="BEFORE", help="A take before.")] = "",
    after: Annotated[str, typer.Argument(metavar="AFTER", help="A take after.")] = "",
    as_json: Json = False,
) -> None:
    """Compare takes before and after the repair; the two made most alike without names."""
    from beltside.casework.shop_measure import compare_on_job

    with the_shop() as shop, working("nothing was changed") as progress:
        found = compare_on_job(shop, job, before, after, progress=progress)
    tell(as_json, found.to_json(), [found.says])


def coolant(
    job: JobName,
    about: Annotated[
        str,
        typer.Argument(metavar="ABOUT", help="mix, adjust, reuse, cap, fill, drain or clock."),
    ],
    given: Annotated[
        list[str] | None,
        typer.Argument(metavar="NAME=VALUE...", help="What was read; without, the names."),
    ] = None,
    us: Annotated[bool | None, typer.Option("--us/--metric", help="Units of bare figures.")] = None,
    as_json: Json = False,
) -> None:
    """Answer a question of the coolant bench, and keep the answer on the job."""
    from beltside.casework.shop_coolant import coolant_fields, coolant_on_job

    if not given:
        names = coolant_fields(about)
        tell(as_json, {"fields": list(names)}, [f"{about} takes: {', '.join(names)}"])
        return
    with the_shop() as shop:
        kept = coolant_on_job(shop, job, about, pairs(given, about), us=us)
    if as_json:
        tell(True, kept.to_json(), [])
        return
    from beltside.cli.coolant_show import answer_text

    tell(False, {}, [answer_text(kept.answer, []).rstrip("\n")])


def hold(
    job: JobName,
    readings: Annotated[
        list[str] | None,
        typer.Argument(metavar="TIME=PRESSURE...", help='Looks at the gauge: "1:30=107 kPa".'),
    ] = None,
    begin: Annotated[
        bool, typer.Option("--begin", help="Begin a new test; with --given for how.")
    ] = False,
    given: Annotated[
        list[str] | None,
        typer.Option("--given", metavar="NAME=VALUE", help="cap=108 kPa, strokes=9, ..."),
    ] = None,
    before: Annotated[bool, typer.Option("--before", help="Before the repair.")] = False,
    end: Annotated[bool, typer.Option("--end", help="Write the verdict on the job.")] = False,
    seen: Annotated[
        list[str] | None, typer.Option("--seen", help="What was seen; may be repeated.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Begin a hold test, enter readings, see the verdict so far, end it."""
    from beltside.casework.coolant_readings import read_typed
    from beltside.casework.settings import setting
    from beltside.casework.shop import sheet_of
    from beltside.casework.shop_coolant import begin_hold, end_hold, hold_now, hold_reading

    with the_shop() as shop:
        us = setting(shop, "units") == "us"
        read = [read_typed(one, us=us) for one in readings or []]
        if begin or (read and not sheet_of(shop, job).of_kind("hold-test")):
            stage = "before" if before else "after"
            begin_hold(shop, job, pairs(given or [], "a hold test"), stage=stage)
        for one in read:
            hold_reading(
                shop, job, one.minutes, one.gauge_kpa, engine_c=one.engine_c, air_c=one.air_c
            )
        now = end_hold(shop, job, seen=seen or ()) if end else hold_now(shop, job, seen=seen or ())
    if as_json or now.answer is None:
        tell(as_json, now.to_json(), ["Begun. Enter what the gauge shows: 0=108 1=107"])
        return
    from beltside.cli.coolant_show import answer_text

    tell(False, {}, [answer_text(now.answer, []).rstrip("\n")])


def bolts(
    job: JobName,
    fastener: Annotated[str, typer.Argument(metavar="FASTENER", help="What is bolted.")] = "",
    pattern: Annotated[
        Path | None, typer.Argument(metavar="PATTERN", help="Its hole pattern (TOML).")
    ] = None,
    torque: Annotated[str, typer.Option("--torque", help='The maker\'s: "10 N m".')] = "",
    torque_source: Annotated[str, typer.Option("--torque-source", help="Where it stands.")] = "",
    as_json: Json = False,
) -> None:
    """Keep the holes of a flange, or show which bolt comes next."""
    from beltside.casework.shop_bolting import bolts_now, save_bolt_pattern

    with the_shop() as shop:
        if pattern is not None:
            text = read_text(pattern, "a hole pattern")
            save_bolt_pattern(shop, job, fastener, text, torque=torque, torque_source=torque_source)
        now = bolts_now(shop, job, fastener)
    tell(as_json, now.to_json(), [now.answer.answer, _next_bolt(now)])


def _next_bolt(now: Any) -> str:
    one = now.next
    if one is None:
        return "All bolts are tightened."
    torque = f" to {one.torque_nm:g} N m" if one.torque_nm is not None else ""
    return f"Next: bolt {one.name}, pass {one.pass_number}{torque}"


def torque(
    job: JobName,
    fastener: Annotated[str, typer.Argument(metavar="FASTENER", help="Which one.")] = "",
    number: Annotated[
        int | None, typer.Option("--number", metavar="N", help="Its place in the order.")
    ] = None,
    pass_number: Annotated[
        int | None, typer.Option("--pass", metavar="N", help="Which pass.")
    ] = None,
    torque_nm: Annotated[
        float | None, typer.Option("--nm", metavar="NM", help="Torque, N m.")
    ] = None,
    angle_deg: Annotated[
        float | None, typer.Option("--angle", metavar="DEG", help="Angle after the torque.")
    ] = None,
    source: Annotated[str, typer.Option("--source", help="Where the torque stands.")] = "",
    as_json: Json = False,
) -> None:
    """Tick a fastener as tightened; the next bolt of the order without a number."""
    from beltside.casework.shop_bolting import bolts_now, tick_bolt

    with the_shop() as shop:
        entry = tick_bolt(
            shop,
            job,
            fastener,
            number=number,
            pass_number=pass_number,
            torque_nm=torque_nm,
            angle_deg=angle_deg,
            source=source,
        )
        try:
            said = _next_bolt(bolts_now(shop, job, str(entry.body["fastener"])))
        except InputError:
            said = ""
    tell(as_json, {"entry": entry.id, **dict(entry.body)}, ["Ticked.", *([said] if said else [])])


def part(
    job: JobName,
    name: Annotated[str, typer.Argument(metavar="NAME", help="What went in.")],
    number: Annotated[str, typer.Option("--number", help="Part number.")] = "",
    quantity: Annotated[float, typer.Option("--quantity", help="How many, or how much.")] = 1.0,
    unit: Annotated[str, typer.Option("--unit", help="piece, l, g.")] = "",
    price: Annotated[
        str | None, typer.Option("--price", help="Charged for all of it: 89.50.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Write down a part or material that went in."""
    from beltside.casework.shop_agree import part_used

    typed = {"name": name, "number": number, "quantity": quantity, "unit": unit, "price": price}
    with the_shop() as shop:
        entry = part_used(shop, job, typed)
    tell(as_json, {"entry": entry.id, **dict(entry.body)}, ["Kept."])


def match(
    job: JobName,
    old: Annotated[Path, typer.Argument(metavar="OLD", help="Photo or part file of the old part.")],
    new: Annotated[Path, typer.Argument(metavar="NEW", help="Photo or part file of the new one.")],
    part_name: Annotated[str, typer.Option("--part", help="Which part it is.")] = "",
    disc_mm: Annotated[
        float | None,
        typer.Option("--disc-mm", metavar="MM", help="The round thing beside the part in photos."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Lay the holes of old and new part on each other; kept on the job."""
    from beltside.casework.shop_bolting import match_on_job

    with the_shop() as shop, working("nothing was changed"):
        kept = match_on_job(
            shop,
            job,
            _part_given(shop, job, old),
            _part_given(shop, job, new),
            part=part_name,
            disc_mm=disc_mm,
        )
    tell(as_json, kept.to_json(), [str(kept.entry.body["says"])])


def _part_given(shop: Shop, job: str, path: Path) -> PartGiven:
    """A part by its photo, or by its part file with the photo beside it."""
    from beltside.casework.formats.toml_file import read_toml
    from beltside.casework.shop_bolting import PartGiven
    from beltside.casework.shop_notes import add_photo

    if path.suffix.lower() != ".toml":
        entry = add_photo(shop, job, file_pieces(path, "a picture"), {"name": path.name[:300]})
        return PartGiven(path.stem, photo=str(entry.body["file"]))
    text, called = read_text(path, "a part file"), read_toml(path).get("photo")
    if not isinstance(called, str):
        return PartGiven(path.stem, toml=text)
    beside = path.parent / called
    entry = add_photo(shop, job, file_pieces(beside, "a picture"), {"name": beside.name[:300]})
    return PartGiven(path.stem, photo=str(entry.body["file"]), toml=text)


def add_work_commands(app: typer.Typer) -> None:
    """Enter these commands into the group."""
    for command, short in (
        (sheet, "The drive sheet: kept, or shown."),
        (strum, "Plucks of a span, and the belt's tension."),
        (compare, "Before and after the repair."),
        (coolant, "An answer of the coolant bench, kept."),
        (hold, "The hold test: begin, readings, verdict."),
        (bolts, "The holes of a flange, and which bolt is next."),
        (torque, "A fastener tightened."),
        (part, "A part that went in."),
        (match, "Old part against new part by their holes."),
    ):
        app.command(short_help=short)(command)
