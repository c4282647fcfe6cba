"""The commands under `beltside job`: a whole job from the terminal. Thin: parse, call, print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from beltside.cli.job_plan import add_plan_commands
from beltside.cli.job_record import add_record_commands
from beltside.cli.job_shop import (
    DatabaseUrl,
    Folder,
    JobName,
    Json,
    choose_shop,
    file_pieces,
    not_kept,
    pairs,
    tell,
    the_shop,
)
from beltside.cli.job_work import add_work_commands

job_app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    no_args_is_help=True,
    help="Jobs of the shop: a whole job, from the owner's words to the closed record.",
)


@job_app.callback()
def job_group(
    folder: Folder = None,
    database: DatabaseUrl = None,
    by: Annotated[
        str,
        typer.Option("--by", metavar="NAME", help="Who writes; else the technician."),
    ] = "",
) -> None:
    """Jobs of the shop: a whole job, from the owner's words to the closed record."""
    choose_shop(folder, database, by)


@job_app.command(short_help="A new job from the owner's words, the car and its owner.")
def new(
    words: Annotated[str, typer.Argument(metavar="WORDS", help="What the owner says.")] = "",
    car: Annotated[str, typer.Option("--car", help="What he calls the car.")] = "",
    plate: Annotated[str, typer.Option("--plate", help="Registration plate.")] = "",
    vin: Annotated[str, typer.Option("--vin", help="Vehicle identification number.")] = "",
    owner: Annotated[str, typer.Option("--owner", help="Who he is.")] = "",
    phone: Annotated[str, typer.Option("--phone", help="His telephone.")] = "",
    when: Annotated[
        list[str] | None, typer.Option("--when", help="When it is heard; may be repeated.")
    ] = None,
    where: Annotated[str, typer.Option("--where", help="Where it seems to come from.")] = "",
    engine: Annotated[str, typer.Option("--engine", help="cold, hot or both.")] = "",
    since: Annotated[str, typer.Option("--since", help="Since when.")] = "",
    as_json: Json = False,
) -> None:
    """Open a job; the owner's words, his name and the car suffice."""
    from beltside.casework.shop_jobs import job_line, new_job

    typed = {
        "words": words,
        "car": car,
        "plate": plate,
        "vin": vin,
        "owner": owner,
        "phone": phone,
        "when": when or [],
        "where": where,
        "engine": engine,
        "since": since,
    }
    with the_shop() as shop:
        job, problems = new_job(shop, typed)
    line = job_line(job.job)
    tell(
        as_json,
        {**line.to_json(), "problems": problems},
        [f"Job {line.number} opened.", *not_kept(problems)],
    )
    if problems:
        raise typer.Exit(2)


@job_app.command("list", short_help="Jobs, the one changed last first.")
def list_all(
    which: Annotated[
        str, typer.Option("--which", metavar="WHICH", help="open, closed or all.")
    ] = "open",
    stage: Annotated[
        list[str] | None,
        typer.Option("--stage", metavar="STAGE", help="Only at this stage; may be repeated."),
    ] = None,
    limit: Annotated[int, typer.Option("--limit", metavar="COUNT", help="At most so many.")] = 50,
    as_json: Json = False,
) -> None:
    """List jobs with their stage, car, owner and the owner's words."""
    from beltside.casework.shop_jobs import list_jobs

    with the_shop() as shop:
        lines = list_jobs(shop, which=which, stages=stage, limit=limit)
    tell(
        as_json,
        {"jobs": [one.to_json() for one in lines]},
        [
            f"{one.number:>5}  {one.stage:9}  {one.car}  {one.owner}: {one.words[:60]}"
            for one in lines
        ]
        or ["No jobs."],
    )


@job_app.command(short_help="A job at a glance: the answer, what to do next, each stage.")
def show(job: JobName, as_json: Json = False) -> None:
    """Show the present answer, the next thing to do with its minutes, and each stage."""
    from beltside.casework.shop_view import job_view

    with the_shop() as shop:
        view = job_view(shop, job)
    line = view.line
    minutes = f" ({view.next.minutes:.0f} min)" if view.next.minutes else ""
    tell(
        as_json,
        view.to_json(),
        [
            f"Job {line.number}: {line.car or 'car not named'}, {line.owner or 'owner not named'}",
            view.answer,
            f"Next: {view.next.says}{minutes}",
            "",
            *(f"{one.stage:9}  {one.state:5}  {one.says}" for one in view.stages),
            *(f"Missing: {one}" for one in view.missing),
        ],
    )


@job_app.command(short_help="Odds of every suspect, and what to check next.")
def find(
    job: JobName,
    without: Annotated[
        list[str] | None,
        typer.Option("--without", metavar="FINDING", help="Leave this one out; number or entry."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Give the odds of every suspect; listens to the takes first where that is open."""
    from beltside.casework.shop import sheet_of
    from beltside.casework.shop_find import find_now
    from beltside.cli.screen import working

    with the_shop() as shop, working("nothing was changed") as progress:
        found = find_now(
            shop, sheet_of(shop, job), without=without or (), wait=True, progress=progress
        )
    if as_json:
        tell(True, found.to_json(), [])
        return
    from beltside.cli.show import show_find

    show_find(found.result, [])


@job_app.command(short_help="Keep a recording with its conditions.")
def take(
    job: JobName,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A recording, as a phone wrote it.")],
    belt: Annotated[str, typer.Option("--belt", help="on, off or unknown.")] = "unknown",
    place: Annotated[
        str, typer.Option("--place", help="Where the phone was, or the part the probe was on.")
    ] = "front of engine",
    load: Annotated[
        list[str] | None, typer.Option("--load", help="What was switched on; may be repeated.")
    ] = None,
    raised: Annotated[bool, typer.Option("--raised", help="Engine speed raised.")] = False,
    crank_rpm: Annotated[
        float | None, typer.Option("--crank-rpm", metavar="RPM", help="Read off the dash.")
    ] = None,
    mic_spacing_mm: Annotated[
        float | None,
        typer.Option("--mic-spacing-mm", metavar="MM", help="Stereo: between the microphones."),
    ] = None,
    stand_off_mm: Annotated[
        float | None,
        typer.Option("--stand-off-mm", metavar="MM", help="Stereo: from phone to pulleys."),
    ] = None,
    phone_at: Annotated[
        list[str] | None,
        typer.Option("--phone-at", metavar="PLACE", help="Stereo: a part, or mm right of crank."),
    ] = None,
    held: Annotated[str, typer.Option("--held", help="Stereo: across or upright.")] = "across",
    after: Annotated[bool, typer.Option("--after", help="Made after the repair.")] = False,
    hand_over: Annotated[
        bool, typer.Option("--hand-over", help="The one the car is handed over with.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Keep a recording on the job; it is listened to by the workers, or when it is looked at."""
    from beltside.base.words import PULLEY_PARTS
    from beltside.casework.formats.case import place_held
    from beltside.casework.shop import sheet_of
    from beltside.casework.shop_case import sheet_on_job
    from beltside.casework.shop_takes import add_take, conditions_in_words

    typed = {
        "name": file.name[:300],
        "belt": belt,
        "place": place,
        "load": load or [],
        "raised": raised,
        "crank_rpm": crank_rpm,
        "mic_spacing_mm": mic_spacing_mm,
        "stand_off_mm": stand_off_mm,
        "phone_at": phone_at or [],
        "held": held,
        "stage": "after" if after else "before",
        "hand_over": hand_over,
    }
    with the_shop() as shop:
        added = add_take(shop, job, file_pieces(file, "a recording"), typed)
        drive, _, _ = sheet_on_job(sheet_of(shop, job))
    said = conditions_in_words({"belt": "unknown", **added.entry.body})
    lines = [f"{file.name} kept on job {job}: {said}."]
    if added.same_as:
        lines.append(f"It is the same recording as {added.same_as}; it counts once, as said last.")
    parts = [one.part for one in drive.pulleys] if drive is not None else PULLEY_PARTS
    _, note = place_held(place, tuple(parts))
    if note:
        lines.append(f"{note[:1].upper()}{note[1:]}")
    lines += not_kept(added.problems)
    if added.problems:
        lines.append("Put it right by keeping the same recording again.")
    tell(as_json, added.to_json(), lines)
    if added.problems:
        raise typer.Exit(2)


@job_app.command(short_help="What was heard in one take.")
def listen(
    job: JobName,
    take_name: Annotated[
        str, typer.Argument(metavar="TAKE", help="The take's number, name or entry.")
    ],
    pictures: Annotated[
        Path | None,
        typer.Option("--pictures", metavar="DIR", help="Write the charts into this folder."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Say how fast the crank turned in a take, and whose line is whose."""
    from beltside.casework.shop_listen import take_heard
    from beltside.cli.screen import working

    saved: list[Path] = []
    with the_shop() as shop, working("nothing was changed") as progress:
        heard = take_heard(shop, job, take_name, wait=True)
        if pictures is not None and heard.listen is not None:
            from beltside.proof.charts import save_pictures

            saved = save_pictures(heard.listen, pictures, progress=progress)
    if as_json or heard.listen is None:
        tell(as_json, heard.to_json(), [f"{heard.name}: {heard.work.state} {heard.work.problem}"])
        return
    from beltside.cli.show import show_listen

    show_listen(heard.listen, saved)


@job_app.command(short_help="What a check showed.")
def finding(
    job: JobName,
    check: Annotated[str, typer.Argument(metavar="CHECK", help="The check: spin-by-hand.")],
    outcome: Annotated[str, typer.Argument(metavar="OUTCOME", help="What it showed: rough.")],
    part: Annotated[str, typer.Argument(metavar="PART", help="On which part.")] = "",
    minutes: Annotated[float | None, typer.Option("--minutes", help="How long it took.")] = None,
    as_json: Json = False,
) -> None:
    """Write down what a check showed; the odds follow at once."""
    from beltside.casework.shop_find import finding_made
    from beltside.casework.shop_view import job_view

    with the_shop() as shop:
        entry = finding_made(shop, job, check, outcome, part, minutes=minutes)
        view = job_view(shop, job)
    tell(
        as_json,
        {"entry": entry.id, **dict(entry.body), "answer": view.answer},
        ["Kept.", view.answer, f"Next: {view.next.says}"],
    )


@job_app.command(short_help="Take back a finding; it stays readable.")
def undo(
    job: JobName,
    number: Annotated[
        str, typer.Argument(metavar="FINDING", help="Its number on the sheet; the last without.")
    ] = "",
    as_json: Json = False,
) -> None:
    """Take back a finding."""
    from beltside.casework.shop_find import take_back_finding
    from beltside.casework.shop_view import job_view

    with the_shop() as shop:
        entry = take_back_finding(shop, job, number)
        view = job_view(shop, job)
    body = entry.body
    tell(
        as_json,
        {"entry": entry.id, "removed": True, "answer": view.answer},
        [f"Taken back: {body['check']} {body['part']} {body['outcome']}.", view.answer],
    )


@job_app.command(short_help="What holds on this car: engine cold, belt off.")
def condition(
    job: JobName,
    name: Annotated[str, typer.Argument(metavar="NAME", help="The condition: engine-cold.")],
    holds: Annotated[bool, typer.Option("--holds/--does-not-hold", help="Whether it does.")] = True,
    as_json: Json = False,
) -> None:
    """Write down whether a condition holds."""
    from beltside.casework.shop_find import condition_holds

    with the_shop() as shop:
        entry = condition_holds(shop, job, name, holds)
    tell(as_json, {"entry": entry.id, **dict(entry.body)}, ["Kept."])


@job_app.command(short_help="The next check as a card: what to do, what it can show, its risks.")
def check(
    job: JobName,
    name: Annotated[
        str, typer.Argument(metavar="CHECK", help="A certain check; the next one without.")
    ] = "",
    part: Annotated[str, typer.Argument(metavar="PART", help="On which part.")] = "",
    as_json: Json = False,
) -> None:
    """Show the card of a check."""
    from beltside.casework.findings import check_on
    from beltside.casework.shop_find import check_card, next_check

    with the_shop() as shop:
        card = check_card(shop, job, name, part) if name else next_check(shop, job)
    if card is None:
        tell(as_json, {"check": None}, ["No check left is worth its minutes."])
        return
    tell(
        as_json,
        card.to_json(),
        [
            f"{check_on(card.name, card.part)}, {card.minutes:.0f} min",
            card.how + ".",
            *(f"First: {one}" for one in card.first),
            *([f"Why: {card.why}"] if card.why else []),
            f"Caution: {card.hazard}",
            *card.cautions,
            *(f"  {word}: {says}" for word, says in card.outcomes),
        ],
    )


@job_app.command(short_help="A note.")
def note(
    job: JobName,
    words: Annotated[str, typer.Argument(metavar="WORDS", help="The note.")],
    as_json: Json = False,
) -> None:
    """Write a note on the job."""
    from beltside.casework.shop_notes import add_note

    with the_shop() as shop:
        entry = add_note(shop, job, words)
    tell(as_json, {"entry": entry.id}, ["Kept."])


@job_app.command(short_help="A photo.")
def photo(
    job: JobName,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="JPEG, PNG, WebP, TIFF or BMP.")],
    caption: Annotated[str, typer.Option("--caption", help="What it shows.")] = "",
    part: Annotated[str, typer.Option("--part", help="Which part.")] = "",
    as_json: Json = False,
) -> None:
    """Keep a photo on the job."""
    from beltside.casework.shop_notes import add_photo

    typed = {"name": file.name[:300], "caption": caption, "part": part}
    with the_shop() as shop:
        entry = add_photo(shop, job, file_pieces(file, "a picture"), typed)
    tell(as_json, {"entry": entry.id, "file": entry.body["file"]}, ["Kept."])


@job_app.command(short_help="The shop's settings: shown, or set.")
def settings(
    given: Annotated[
        list[str] | None,
        typer.Argument(metavar="NAME=VALUE", help="Settings to keep: labour_per_hour=72.50."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Show the settings, after keeping those given; earlier values stay readable."""
    from beltside.casework.settings import save_settings
    from beltside.casework.settings import settings as all_settings

    with the_shop() as shop:
        now = save_settings(shop, pairs(given, "a setting")) if given else all_settings(shop)
    tell(
        as_json,
        {"settings": [one.to_json() for one in now.values()]},
        [
            f"{name:22} {'-' if one.value in (None, '') else one.value!s:12} {one.setting.says}"
            for name, one in now.items()
        ],
    )


add_work_commands(job_app)
add_plan_commands(job_app)
add_record_commands(job_app)
