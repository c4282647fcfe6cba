"""The commands under `beltside job` that close, search and look back."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from beltside.base.words import count_of
from beltside.cli.forget import forget
from beltside.cli.job_shop import JobName, Json, tell, the_shop

Entry = Annotated[str, typer.Argument(metavar="ENTRY", help="The entry, as the history shows it.")]


def close(
    job: JobName,
    cause: Annotated[
        str, typer.Option("--cause", metavar="SUSPECT", help="What it was: coolant-pump.bearing.")
    ] = "",
    replaced: Annotated[
        list[str] | None,
        typer.Option("--replaced", metavar="SUSPECT", help="Put right; may be repeated."),
    ] = None,
    cured: Annotated[
        bool | None, typer.Option("--cured/--not-cured", help="Whether the noise is gone.")
    ] = None,
    charged: Annotated[str | None, typer.Option("--charged", help="What was charged.")] = None,
    note: Annotated[str, typer.Option("--note", help="Anything to add.")] = "",
    as_json: Json = False,
) -> None:
    """Close the job with its outcome; a cause that is known teaches the odds."""
    from beltside.casework.shop_jobs import close_job

    typed: dict[str, Any] = {"cause": cause, "replaced": replaced or [], "note": note}
    if cured is not None:
        typed["cured"] = cured
    if charged is not None:
        typed["charged"] = charged
    with the_shop() as shop:
        done = close_job(shop, job, typed)
    said = (
        f"Not learned from: {done.not_learned}."
        if done.not_learned
        else f"The odds now rest on {count_of(done.learned, 'closed job')}."
    )
    kept = f"Later noises are held against {count_of(done.sounds, 'take')} of this job."
    settled = [done.settled] if done.settled else []
    tell(as_json, done.to_json(), ["Closed.", *settled, said, *([kept] if done.sounds else [])])


def reopen(
    job: JobName,
    comeback: Annotated[
        str | None,
        typer.Option(
            "--comeback", metavar="WORDS", help="The car is back: a new job, with these words."
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Open a closed job again; with --comeback as a new job linked to it."""
    from beltside.casework.shop_comeback import begin_comeback
    from beltside.casework.shop_jobs import job_line, open_again

    with the_shop() as shop:
        if comeback is None:
            entry = open_again(shop, job)
            tell(as_json, {"entry": entry.id}, [f"Job {job} is open again."])
            return
        new = begin_comeback(shop, job, comeback)
    line = job_line(new.job)
    tell(as_json, line.to_json(), [f"Job {line.number} goes on from job {job}."])


def since(
    job: JobName,
    take: Annotated[
        str, typer.Argument(metavar="TAKE", help="A take of today; the one most alike without.")
    ] = "",
    as_json: Json = False,
) -> None:
    """Compare today's take of a car that is back with the take it was handed over with."""
    from beltside.casework.shop import sheet_of
    from beltside.casework.shop_comeback import earlier_of, since_hand_over
    from beltside.cli.screen import working

    with the_shop() as shop, working("nothing was changed") as progress:
        earlier = earlier_of(shop, sheet_of(shop, job))
        found = since_hand_over(shop, job, take, progress=progress)
    before = "" if earlier is None else f"Goes on from job {earlier.job.job.number}."
    tell(as_json, found.to_json(), [*([before] if before else []), found.says])


def history(job: JobName, as_json: Json = False) -> None:
    """Show every change of a job: what, who, when."""
    from beltside.casework.shop_jobs import history as changes

    with the_shop() as shop:
        lines = changes(shop, job)
    tell(
        as_json,
        {"changes": [one.to_json() for one in lines]},
        [
            f"{one.at:%Y-%m-%d %H:%M}  {one.by:14} {one.how:12} {one.kind:12} "
            f"{one.entry} v{one.version}  {', '.join(one.changed)}"
            for one in lines
        ],
    )


def restore_version(
    job: JobName,
    entry: Entry,
    version: Annotated[
        int | None, typer.Argument(metavar="VERSION", help="The one before without.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Make an earlier version of an entry the present one; a removed entry stands again."""
    from beltside.casework.shop_jobs import bring_back

    with the_shop() as shop:
        now = bring_back(shop, job, entry, version)
    tell(
        as_json,
        {"entry": now.id, "version": now.version, "body": dict(now.body)},
        [f"{now.kind} brought back; it is version {now.version} now."],
    )


def remove(job: JobName, entry: Entry, as_json: Json = False) -> None:
    """Take an entry off the job; it stays readable and can be brought back."""
    from beltside.casework.shop_jobs import remove_entry

    with the_shop() as shop:
        gone = remove_entry(shop, job, entry)
    tell(as_json, {"entry": gone.id, "removed": True}, [f"{gone.kind} taken off."])


def remind(
    job: JobName,
    words: Annotated[str, typer.Argument(metavar="WORDS", help="What to look at.")],
    due: Annotated[str, typer.Option("--due", metavar="DAY", help="2027-03-31.")] = "",
    due_km: Annotated[
        float | None, typer.Option("--due-km", metavar="KM", help="At this odometer reading.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Write down something to look at again."""
    from beltside.casework.shop_jobs import remind as write_down

    with the_shop() as shop:
        entry = write_down(shop, job, words, due=due, due_km=due_km)
    tell(as_json, {"entry": entry.id, **dict(entry.body)}, ["Kept."])


def reminders(
    done: Annotated[
        str | None, typer.Option("--done", metavar="ENTRY", help="Tick this one.")
    ] = None,
    as_json: Json = False,
) -> None:
    """List open reminders of all jobs, those due first."""
    from beltside.casework.shop_jobs import reminder_done
    from beltside.casework.shop_jobs import reminders as listed

    with the_shop() as shop:
        if done is not None:
            reminder_done(shop, done)
        found = listed(shop)
    tell(
        as_json,
        {"reminders": [one.to_json() for one in found]},
        [
            f"{'DUE ' if one.is_due else '    '}{one.due or f'{one.due_km:.0f} km':12} job "
            f"{one.job_number}, {one.car}: {one.words}  ({one.entry})"
            for one in found
        ]
        or ["Nothing to look at again."],
    )


def search(
    words: Annotated[
        list[str],
        typer.Argument(metavar="WORDS...", help="Owner, plate, VIN, his words, a part, a cause."),
    ],
    limit: Annotated[int, typer.Option("--limit", metavar="COUNT", help="At most so many.")] = 20,
    as_json: Json = False,
) -> None:
    """Find jobs by anything that stands on them; a slip of the finger does no harm."""
    from beltside.casework.shop_search import find_jobs

    with the_shop() as shop:
        found = find_jobs(shop, " ".join(words), limit=limit)
    lines = []
    for one in found:
        line = one.line
        lines.append(f"{line.number:>5}  {line.stage:9}  {line.car}  {line.owner}")
        lines += [f"       {place.kind}: {place.snippet}" for place in one.where]
    tell(
        as_json,
        {"jobs": [one.to_json() for one in found]},
        lines or ["No job holds these words. All jobs: beltside job list --which all"],
    )


def similar(
    job: JobName,
    take: Annotated[
        str, typer.Argument(metavar="TAKE", help="One take; the nearest of all without.")
    ] = "",
    most: Annotated[int, typer.Option("--most", metavar="N", help="How many to show.")] = 5,
    as_json: Json = False,
) -> None:
    """Say which takes of your own closed jobs this noise is most like, and what that is worth."""
    from beltside.casework.shop_likeness import similar_on_job
    from beltside.cli.screen import working

    with the_shop() as shop, working("nothing was changed") as progress:
        found = similar_on_job(shop, job, take, most=most, progress=progress)
    from beltside.proof.where_wording import cause_words

    if not found.nearest:
        tell(as_json, found.to_json(), [f"{found.why_not}."])
        return
    first = found.nearest[0]
    many = f"{found.compared} take{'' if found.compared == 1 else 's'} of closed jobs"
    said = (
        f"{found.take} is like nothing among {many}."
        if not found.cause
        else f"{found.take} sounds most like job {first.number}, where it was the "
        f"{cause_words(first.cause)}: {found.state}, among {many}."
    )
    record = found.record_words()
    tell(
        as_json,
        found.to_json(),
        [
            said,
            f"{record[0].upper()}{record[1:]}.",
            "",
            *(
                f"{one.distance:.2f}  job {one.number:<5} {cause_words(one.cause)}  "
                f"({one.take}, {one.car or 'car not named'})"
                for one in found.nearest
            ),
            "Distance: 0 is the same sound, 1 a stranger.",
        ],
    )


def sounds(
    ask: Annotated[
        bool,
        typer.Option("--catch-up", help="Have missing ones listened to, by `beltside work`."),
    ] = False,
    as_json: Json = False,
) -> None:
    """Say how many takes of closed jobs a new noise is held against; catch up after an import."""
    from beltside.casework.shop_sounds import catch_up

    with the_shop() as shop:
        found = catch_up(shop, ask=ask)
    lines = [
        f"{found.kept} of {found.takes} takes of {count_of(found.jobs, 'closed job')} with a known "
        "cause can be compared."
    ]
    if ask:
        lines.append(f"{found.asked} are on the list now: beltside work --until-done")
    tell(as_json, found.to_json(), lines)


def add_record_commands(app: typer.Typer) -> None:
    """Enter these commands into the group."""
    for command, short in (
        (search, "Jobs by any word that stands on them, also a mistyped one."),
        (similar, "Takes of your own closed jobs that this noise is like."),
        (sounds, "How many takes of closed jobs can be compared; catch up."),
        (close, "Close the job with its outcome."),
        (reopen, "Open a closed job again, or take it on as a new one."),
        (since, "A car that is back, against its hand-over."),
        (history, "Every change of a job."),
        (restore_version, "Bring an earlier version of an entry back."),
        (remove, "Take an entry off the job."),
        (forget, "Take an owner's data out, as he may ask."),
        (remind, "Something to look at again."),
        (reminders, "What is to be looked at again."),
    ):
        app.command(short_help=short)(command)
