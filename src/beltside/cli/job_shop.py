"""The shop that the commands under `beltside job` work on, and how their answers are printed."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from beltside.base.errors import InputError
from beltside.cli.screen import write, write_json

if TYPE_CHECKING:
    from beltside.casework.shop import Shop

Json = Annotated[bool, typer.Option("--json", help="Print JSON for other programs, nothing else.")]
JobName = Annotated[str, typer.Argument(metavar="JOB", help="The job's number.")]
Folder = Annotated[
    Path | None,
    typer.Option(
        "--folder",
        metavar="DIR",
        help="Where the shop's record is kept; .beltside in your home without it.",
    ),
]
DatabaseUrl = Annotated[
    str | None,
    typer.Option(
        "--database", metavar="URL", help="A PostgreSQL server that keeps the record instead."
    ),
]

_CHOSEN: Final[dict[str, Any]] = {"folder": None, "database": None, "by": ""}


def choose_shop(folder: Path | None, database: str | None, by: str) -> None:
    """Which shop the command works on, and who writes."""
    _CHOSEN.update(folder=folder, database=database, by=by)


@contextmanager
def the_shop() -> Iterator[Shop]:
    """The shop, open; its technician's name from the settings unless one was given."""
    from beltside.casework.settings import setting
    from beltside.casework.shop import open_shop

    with open_shop(_CHOSEN["folder"], database=_CHOSEN["database"]) as shop:
        by = _CHOSEN["by"] or setting(shop, "technician")
        yield shop.as_writer(by) if by else shop


def tell(as_json: bool, plain: Mapping[str, Any], lines: Sequence[str]) -> None:
    """Print the answer: as JSON, or as lines of text."""
    if as_json:
        write_json(dict(plain))
    else:
        write("".join(f"{line}\n" for line in lines), sys.stdout)


def not_kept(problems: Mapping[str, str]) -> list[str]:
    """What is wrong beside each field that was left out, a sentence each."""
    return [f"Not kept, {name}: {said.rstrip('.')}." for name, said in problems.items()]


def pairs(given: Sequence[str], what: str) -> dict[str, Any]:
    """ "name=value" words as a table; a name given again makes a list."""
    found: dict[str, Any] = {}
    for one in given:
        name, sign, value = one.partition("=")
        name = name.strip().replace("-", "_")
        if not sign or not name:
            raise InputError(f'"{one}"', allowed=f"NAME=VALUE for {what}")
        if name in found:
            before = found[name]
            found[name] = [*(before if isinstance(before, list) else [before]), value]
        else:
            found[name] = value
    return found


def file_pieces(path: Path, what: str) -> Iterator[bytes]:
    """A file's bytes in pieces of a megabyte; InputError when it is not there."""
    from beltside.cli.problems import require_file

    require_file(path, what)

    def read() -> Iterator[bytes]:
        with path.open("rb") as file:
            while piece := file.read(1 << 20):
                yield piece

    return read()


def read_text(path: Path, what: str) -> str:
    """A text file's content; InputError when it is not there, too long, or no text."""
    from beltside.cli.problems import require_file

    require_file(path, what)
    data = path.read_bytes()
    if len(data) > 1_000_000:
        raise InputError(f"{path.name} is larger than 1 MB", allowed=what)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path.name} is no UTF-8 text", allowed=what) from None
