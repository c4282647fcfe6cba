"""`beltside phones`: paired phones and owners' links, and locking them out."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from beltside.cli.job_shop import DatabaseUrl, Folder, Json, choose_shop, tell, the_shop

phones_app = typer.Typer(
    name="phones",
    help="Paired phones and owners' links. Codes to pair with are made on the page Phones.",
    rich_markup_mode=None,
    no_args_is_help=True,
)


@phones_app.command("list", short_help="Paired phones and owners' links.")
def list_(folder: Folder = None, database: DatabaseUrl = None, as_json: Json = False) -> None:
    """List paired phones and owners' links, those that are over too."""
    from beltside.casework.shop_access import access_to_json, links, phones

    choose_shop(folder, database, "")
    with the_shop() as shop:
        found = {
            "phones": [access_to_json(one) for one in phones(shop)],
            "links": [access_to_json(one) for one in links(shop)],
        }
    lines = [_line(one) for one in (*found["phones"], *found["links"])]
    tell(as_json, found, lines or ["No phone was paired and no link made yet."])


@phones_app.command(short_help="Lock a phone out, or take a link back.")
def end(
    access_id: Annotated[str, typer.Argument(metavar="ID", help="Its id, from the list.")],
    folder: Folder = None,
    database: DatabaseUrl = None,
    as_json: Json = False,
) -> None:
    """Lock a phone out or take a link back, from its next request on."""
    from beltside.casework.shop_access import access_to_json, end_access

    choose_shop(folder, database, "")
    with the_shop() as shop:
        ended = access_to_json(end_access(shop, access_id))
    tell(as_json, ended, [_line(ended)])


@phones_app.command("end-all", short_help="Lock all phones out, and take all links back.")
def end_all(folder: Folder = None, database: DatabaseUrl = None, as_json: Json = False) -> None:
    """Lock all phones out and take all links and codes back: after a restore, or a theft."""
    from beltside.casework.shop_access import end_all_access

    choose_shop(folder, database, "")
    with the_shop() as shop:
        count = end_all_access(shop)
    tell(as_json, {"ended": count}, [f"Ended: {count}."])


def _line(one: dict[str, Any]) -> str:
    seen = f"last seen {one['seen_at'][:16]}" if one["seen_at"] else "never used"
    name = one["name"] or "without a name"
    return f"{one['id']}  {one['state']}, {one['role']}, {name}, {seen} UTC".replace("T", " ")
