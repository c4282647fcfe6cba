"""Writing to the terminal: plain text out, progress on the error stream, quiet broken pipes."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TextIO

import typer

if TYPE_CHECKING:
    from rich.console import Console

BROKEN_PIPE_EXIT = 141
"""What a shell reports for a program whose reader went away (128 + SIGPIPE)."""


_PIECE = 4096


class StoppedError(Exception):
    """The person stopped the work; the message says what state things are left in."""


def write(text: str, stream: TextIO) -> None:
    """Write `text`, replacing what the stream's encoding can't hold.

    When the reader has gone away (`| head`) the command ends without a word.
    """
    encoding = getattr(stream, "encoding", None) or "utf-8"
    text = text.encode(encoding, errors="replace").decode(encoding)
    try:
        # In pieces: of one large write Python does not report that the reader left midway.
        for start in range(0, len(text), _PIECE):
            stream.write(text[start : start + _PIECE])
            stream.flush()
    except BrokenPipeError:
        # Python flushes the streams once more at exit; point them at nothing first.
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
        raise typer.Exit(BROKEN_PIPE_EXIT) from None


def write_json(value: dict[str, Any]) -> None:
    """One JSON object on the output stream, in ASCII so that any terminal takes it."""
    write(json.dumps(value, allow_nan=False, indent=2) + "\n", sys.stdout)


def complain(message: str) -> None:
    """One plain message on the error stream."""
    write(f"beltside: {message}\n", sys.stderr)


@contextmanager
def page() -> Iterator[Console]:
    """A console to print on; all of it is written to the output stream at the end."""
    from rich.console import Console

    console = Console(highlight=False, markup=False, emoji=False, file=sys.stdout)
    with console.capture() as captured:
        yield console
    rows = (row.rstrip(" ") for row in captured.get().split("\n"))
    write("\n".join(rows), sys.stdout)


@contextmanager
def working(left_behind: str) -> Iterator[Callable[[str, float], None]]:
    """Gives the `progress` callable of a piece of work; a bar shows when a person watches.

    Raises
    ------
    StoppedError
        On Ctrl-C; `left_behind` says what state things are in then.
    """
    try:
        if sys.stderr.isatty():
            with _bar() as progress:
                yield progress
        else:
            yield _silent
    except KeyboardInterrupt:
        raise StoppedError(left_behind) from None


def _silent(doing: str, share: float) -> None:
    del doing, share


@contextmanager
def _bar() -> Iterator[Callable[[str, float], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(bar_width=24, complete_style="bold", finished_style="bold"),
        TextColumn("{task.percentage:>3.0f} %", markup=False),
    )
    console = Console(stderr=True, markup=False, emoji=False, highlight=False)
    with Progress(*columns, console=console, transient=True) as bars:
        task = bars.add_task("starting", total=1.0)

        def progress(doing: str, share: float) -> None:
            bars.update(task, description=doing[:40], completed=min(max(share, 0.0), 1.0))

        yield progress
