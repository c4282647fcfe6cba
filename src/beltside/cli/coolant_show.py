"""An answer about the coolant as text: the answer first, then what it rests on.

Plain text without a layout library, so that the command answers at once.
"""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from beltside.casework.coolant_answer import CoolantAnswer, Row

_WIDEST: Final = 100
_NARROWEST: Final = 30
_NAME_CELLS: Final = 26


def answer_text(answer: CoolantAnswer, pictures: Sequence[Path] = ()) -> str:
    """The whole answer, wrapped to the terminal."""
    width = min(max(shutil.get_terminal_size((90, 24)).columns, _NARROWEST), _WIDEST)
    lines = textwrap.wrap(answer.headline, width)
    if answer.rows:
        lines.append("")
        lines += _rows(answer.rows, width)
    lines += _listed("BECAUSE", answer.because, width)
    steps = [f"{number}. {_stopped(step)}" for number, step in enumerate(answer.steps, start=1)]
    lines += _section("DO", steps, width)
    lines += _listed("MIND", answer.warnings, width)
    lines += _listed("CAUTION", answer.cautions, width)
    if pictures:
        lines += ["", "PICTURES", f"In {pictures[0].parent}, as PNG and SVG:"]
        lines += [f"  {picture.name}" for picture in pictures]
    return "\n".join(lines) + "\n"


def _rows(rows: Iterable[Row], width: int) -> list[str]:
    rows = list(rows)
    column = min(max(len(row.name) for row in rows), _NAME_CELLS) + 2
    lines = []
    for row in rows:
        text = f"{row.value}; {row.note}" if row.note else row.value
        if width < 60:
            lines += textwrap.wrap(f"{row.name}: {text}" if row.name else text, width)
            continue
        lines += textwrap.wrap(
            text,
            width,
            initial_indent=row.name.ljust(column),
            subsequent_indent=" " * column,
        )
    return lines


def _listed(heading: str, sentences: Iterable[str], width: int) -> list[str]:
    return _section(heading, [f"- {_stopped(sentence)}" for sentence in sentences], width)


def _section(heading: str, items: Sequence[str], width: int) -> list[str]:
    if not items:
        return []
    lines = ["", heading]
    for item in items:
        indent = " " * (item.index(" ") + 1)
        lines += textwrap.wrap(item, width, subsequent_indent=indent)
    return lines


def _stopped(sentence: str) -> str:
    keep = sentence.startswith("pH") or not sentence
    text = sentence if keep else sentence[0].upper() + sentence[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
