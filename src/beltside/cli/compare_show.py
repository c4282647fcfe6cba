"""A comparison as text for a person: the answer first, then what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from beltside.cli.screen import page
from beltside.cli.show import BELT_OFF, RUNNING_ENGINE
from beltside.cli.text import add_row, bullets, columns, heading, picture_names, say
from beltside.proof.compare_words import (
    answer,
    band_sentence,
    change_words,
    hertz_words,
    loudness_sentence,
    sharpness_sentence,
    speed_sentence,
)
from beltside.proof.wording import part_words

if TYPE_CHECKING:
    from beltside.casework.compare_listening import ListeningPair
    from beltside.casework.compare_results import CompareResult

MOST_LINES = 16


def show_compare(
    result: CompareResult, pair: ListeningPair | None, pictures: Sequence[Path]
) -> None:
    """Print a comparison."""
    with page() as out:
        say(out, answer(result), style="bold")
        if not result.comparable:
            bullets(out, "Why not", result.why_not)
        else:
            if words := band_sentence(result):
                say(out, words)
            say(out, loudness_sentence(result))
            say(out, sharpness_sentence(result))
            say(out, f"A-weighted: {change_words(result.quieter_dba)}.")
            say(out, speed_sentence(result))
            if result.parts:
                heading(out, "By part", "all lines of one source together")
                table = columns("wrap", "wrap", "wrap")
                for part in result.parts:
                    add_row(
                        table, part_words(part.part), part.source, change_words(part.quieter_db)
                    )
                out.print(table)
            else:
                heading(out, "By part")
                say(out, "No line stands out in either take that a part of this drive explains.")
            heading(out, "By third octave")
            table = columns("right", "wrap")
            for band in result.bands:
                add_row(table, hertz_words(band.nominal_hz), change_words(band.quieter_db))
            out.print(table)
        if pair is not None:
            heading(out, "To listen to")
            say(
                out,
                f"{pair.before.name} and {pair.after.name} in {pair.before.parent}: {pair.says}, "
                f"{pair.seconds:.0f} s each, brought to the same level of the engine.",
            )
        picture_names(out, pictures)
        bullets(out, "Warnings", result.warnings)
        bullets(out, "Caution", [RUNNING_ENGINE, BELT_OFF])
