"""The pieces that the commands' text is made of: sentences, headings, lists, tables, pictures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from beltside.proof.wording import full_stop, printable

if TYPE_CHECKING:
    from rich.console import Console


def say(out: Console, text: str, *, style: str = "") -> None:
    """One paragraph."""
    out.print(Text(printable(text), style=style))


def heading(out: Console, text: str, about: str = "") -> None:
    """A heading after an empty line; `about` stands beside it in ordinary type."""
    out.print()
    line = Text(printable(text).upper(), style="bold")
    if about:
        line.append(f"  {printable(about)}", style="not bold")
    out.print(line)


def bullets(out: Console, title: str, sentences: Iterable[str]) -> None:
    """A list of sentences under a heading; nothing at all when there are none."""
    sentences = list(sentences)
    if not sentences:
        return
    heading(out, title)
    table = columns("left", "wrap")
    for sentence in sentences:
        add_row(table, "-", full_stop(sentence))
    out.print(table)


def columns(*kinds: str) -> Table:
    """A table without frames; "right", "left" or "wrap" for each column."""
    table = Table.grid(padding=(0, 2, 0, 0))
    for kind in kinds:
        table.add_column(
            justify="right" if kind == "right" else "left",
            no_wrap=kind != "wrap",
            overflow="fold",
        )
    return table


def add_row(table: Table, *cells: str, style: str = "") -> None:
    """One row of plain text."""
    table.add_row(*(Text(printable(cell), style=style) for cell in cells))


def picture_names(out: Console, pictures: Sequence[Path]) -> None:
    """Where the pictures lie; nothing at all when there are none."""
    if not pictures:
        return
    heading(out, "Pictures")
    say(out, f"In {pictures[0].parent}, each as PNG and SVG:")
    for picture in pictures:
        say(out, f"  {picture.name}")
