"""The commands that work in the background of the shop, and that make its demo."""

from __future__ import annotations

import sys
import time
from typing import Annotated

import typer

from beltside.cli.job_shop import DatabaseUrl, Folder, Json, choose_shop, tell, the_shop
from beltside.cli.screen import working, write


def work(
    folder: Folder = None,
    database: DatabaseUrl = None,
    workers: Annotated[
        int,
        typer.Option("--workers", metavar="COUNT", min=1, max=64, help="How many processes."),
    ] = 1,
    until_done: Annotated[
        bool, typer.Option("--until-done", help="End when nothing is left to do.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Listen to takes and compare them in the background; ends with Ctrl+C, nothing is lost."""
    from beltside.casework.shop_analysis import open_work
    from beltside.casework.shop_analysis import workers as started

    choose_shop(folder, database, "")
    with the_shop() as shop:
        before = open_work(shop)
        if not as_json:
            count = f"{workers} worker{'s' if workers > 1 else ''}"
            write(f"{count} at work, {before} open. End it with Ctrl+C.\n", sys.stdout)
        with started(shop, workers):
            try:
                while not (until_done and open_work(shop) == 0):
                    time.sleep(0.5)
            except KeyboardInterrupt:
                pass
        left = open_work(shop)
    tell(as_json, {"open_before": before, "open_after": left}, [f"{left} left to do."])


def demo_shop(
    remove: Annotated[
        bool, typer.Option("--remove", help="Remove the demo shop's jobs again; no others.")
    ] = False,
    folder: Folder = None,
    database: DatabaseUrl = None,
    as_json: Json = False,
) -> None:
    """Make the demo shop: an invented garage with jobs at every stage, to look at first."""
    from beltside.casework.demo_shop import make_demo_shop, remove_demo_shop

    choose_shop(folder, database, "")
    with the_shop() as shop:
        if remove:
            gone = remove_demo_shop(shop)
            tell(as_json, {"removed": gone}, [f"{gone} jobs of the demo shop removed."])
            return
        with working("the jobs made so far are there; the same again makes the rest") as progress:
            made = make_demo_shop(shop, progress=progress)
    numbers = ", ".join(str(one) for one in made.numbers)
    tell(
        as_json,
        made.to_json(),
        [
            f"The demo shop is made: jobs {numbers}.",
            "Look at one: beltside job show NUMBER. Remove all: beltside demo-shop --remove",
        ],
    )
