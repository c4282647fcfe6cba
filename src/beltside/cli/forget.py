"""The command `beltside job forget`. Thin: parse, call `casework`, print."""

from __future__ import annotations

from typing import Annotated

import typer

from beltside.base.errors import InputError
from beltside.cli.job_shop import JobName, Json, tell, the_shop


def forget(
    job: JobName,
    everywhere: Annotated[
        bool,
        typer.Option("--everywhere", help="Also on other jobs of this telephone, e-mail or plate."),
    ] = False,
    photos: Annotated[
        bool, typer.Option("--photos", help="Take the photos out too: a plate may be on them.")
    ] = False,
    delete: Annotated[
        bool, typer.Option("--delete", help="Delete the jobs whole, the work with them.")
    ] = False,
    yes: Annotated[
        bool, typer.Option("--yes", help="Do it; it can't be undone. Without, it is only said.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Take the owner's data out of a job, earlier versions too; the record of the work stays."""
    if photos and delete:
        raise InputError("--photos with --delete", allowed="one of them")
    from beltside.casework.shop_backup import last_backup
    from beltside.casework.shop_forget import forget_owner

    with the_shop() as shop:
        done = forget_owner(
            shop, job, everywhere=everywhere, photos=photos, delete=delete, really=yes
        )
        last = last_backup(shop.folder)
    named = ", ".join(map(str, done.jobs))
    many = "jobs" if len(done.jobs) > 1 else "job"
    if not done.done:
        lines = [
            f"Nothing was changed. With --yes {many} {named} "
            f"{'would be deleted' if delete else 'would lose the data of the owner'}; "
            f"{done.files} stored files belong to it. It can't be undone."
        ]
    elif done.deleted:
        lines = [f"Deleted: {many} {named}."]
    else:
        lines = [f"Forgotten on {many} {named}; {done.files} stored files were written anew."]
    lines += done.unclear
    if done.others:
        others = ", ".join(map(str, done.others))
        lines.append(f"The same telephone, e-mail or plate stands on {others}: --everywhere.")
    if done.mentioned:
        others = ", ".join(map(str, done.mentioned))
        lines.append(f"Something like it stands on other jobs too, have a look: {others}.")
    lines.append(
        "Backups, exports and sheets made before "
        + ("still hold it" if done.done else "keep it all the same")
        + ": make a new backup with --keep 1, delete the others."
    )
    if last is not None:
        lines.append(
            f"The last backup known is of {last.made_at:%Y-%m-%d %H:%M} UTC, in {last.folder}."
        )
    tell(as_json, done.to_json(), lines)
