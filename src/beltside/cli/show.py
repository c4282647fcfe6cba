"""Results as text for a person: the answer first, then what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from rich.console import Console

from beltside.casework.results import (
    DemoResult,
    FindResult,
    ListenResult,
    SuspectOdds,
)
from beltside.cli.screen import page
from beltside.cli.text import add_row, bullets, columns, heading, picture_names, say
from beltside.proof.labels import LineLabel, line_labels
from beltside.proof.wording import (
    answer,
    bits_words,
    crank_sentence,
    full_stop,
    minutes_words,
    odds_words,
    part_words,
    percent_words,
    ranked,
    rpm_words,
    sure_words,
    weightiest,
)

_NARROW_COLUMNS: Final = 60
_BAR_CELLS: Final = 20
_MOST_SUSPECTS: Final = 8
_SMALLEST_NAMED: Final = 0.01
_REASONS_FOR: Final = 3
_MOST_REASONS: Final = 10
_MOST_REASONS_OF_OTHERS: Final = 4
_MOST_LINES: Final = 24
_MOST_LINES_OF_EACH: Final = 8
"""Rows for each take of a case."""

RUNNING_ENGINE: Final = "Engine running: hands, hair, sleeves and cables away from belt and fan."
BELT_OFF: Final = (
    "Belt off: nothing cools and nothing charges. Run it for minutes, not more, and watch the "
    "temperature."
)


def show_listen(result: ListenResult, pictures: Sequence[Path]) -> None:
    """Print what one take tells."""
    with page() as out:
        say(out, crank_sentence(result), style="bold")
        _lines(out, result)
        bullets(out, "Warnings", result.warnings)
        picture_names(out, pictures)
        bullets(out, "Caution", [RUNNING_ENGINE])


def show_find(result: FindResult, pictures: Sequence[Path]) -> None:
    """Print the odds of a case, the reasons and what to check next."""
    with page() as out:
        _case(out, result)
        picture_names(out, pictures)
        bullets(out, "Caution", [RUNNING_ENGINE, BELT_OFF])


def show_demo(result: DemoResult, pictures: Sequence[Path]) -> None:
    """Print the demo's case, and what had been made wrong in truth."""
    names = {suspect.id: suspect.name for suspect in result.find.suspects}
    first = ranked(result.find)[0]
    truth = names.get(result.truth, result.truth)
    with page() as out:
        say(out, "A demo: an invented car, its sound made by the program.")
        _case(out, result.find)
        heading(out, "What was made")
        verdict = "that is what was found" if first.id == result.truth else "it was NOT found first"
        say(out, f"The sound was made with this fault: {truth}; {verdict}.")
        say(out, f"Files to try the other commands on: {len(result.files)}, in {result.folder}")
        picture_names(out, pictures)
        bullets(out, "Caution", [RUNNING_ENGINE, BELT_OFF])


def _case(out: Console, result: FindResult) -> None:
    say(out, answer(result), style="bold")
    suspects = ranked(result)
    named = [
        suspect
        for suspect in suspects[:_MOST_SUSPECTS]
        if suspect.probability >= _SMALLEST_NAMED or suspect is suspects[0]
    ]
    _odds(out, named, suspects[len(named) :])
    bullets(out, "Contradictions", [one.says for one in result.contradictions])
    _reasons(out, named)
    _findings(out, result)
    _speeds(out, result)
    for listen in result.listens.values():
        _lines(out, listen, file=listen.file, most=_MOST_LINES_OF_EACH)
    _next_checks(out, result)
    bullets(out, "Warnings", result.warnings)


def _bar(out: Console, probability: float) -> str:
    filled = round(probability * _BAR_CELLS)
    full, empty = ("#", ".") if out.options.ascii_only else ("█", "░")
    return full * filled + empty * (_BAR_CELLS - filled)


def _odds(out: Console, named: Sequence[SuspectOdds], rest: Sequence[SuspectOdds]) -> None:
    heading(out, "Odds")
    if out.width < _NARROW_COLUMNS:
        for suspect in named:
            say(out, suspect.name)
            odds = odds_words(suspect.probability)
            say(out, f"  {odds}, {percent_words(suspect.probability)}")
    else:
        table = columns("left", "right", "left", "wrap")
        for suspect in named:
            add_row(
                table,
                odds_words(suspect.probability),
                percent_words(suspect.probability),
                _bar(out, suspect.probability),
                suspect.name,
            )
        out.print(table)
    if rest:
        share = sum(suspect.probability for suspect in rest)
        together = "" if len(rest) == 1 else " together"
        say(out, f"{len(rest)} more{together}: {odds_words(share)}, {percent_words(share)}.")


def _reasons(out: Console, named: Sequence[SuspectOdds]) -> None:
    shown = [suspect for suspect in named[:_REASONS_FOR] if suspect.because]
    for suspect in shown:
        heading(out, "Why", suspect.name)
        most = _MOST_REASONS if suspect is shown[0] else _MOST_REASONS_OF_OTHERS
        kept = weightiest(suspect.because, most)
        table = columns("right", "wrap")
        for reason in kept:
            add_row(table, bits_words(reason.bits), f"{reason.says} ({reason.from_})")
        if len(kept) < len(suspect.because):
            add_row(table, "", f"and {len(suspect.because) - len(kept)} lighter, in --json")
        out.print(table)
    if shown:
        say(out, "+1 bit doubles the odds of a suspect, -1 bit halves them.", style="dim")


def _speeds(out: Console, result: FindResult) -> None:
    if not result.crank:
        return
    heading(out, "Crank speed")
    narrow = out.width < _NARROW_COLUMNS
    table = columns("wrap") if narrow else columns("wrap", "wrap")
    for file, crank in result.crank.items():
        if crank is None:
            said = f"can't tell: {result.crank_reasons.get(file, 'no reason given')}"
        elif crank.source == "stated":
            said = f"{rpm_words(crank)}, as stated"
        else:
            sure = f"{sure_words(crank.confidence)}, {percent_words(crank.confidence)}"
            said = f"{rpm_words(crank)}, {sure}"
        if narrow:
            add_row(table, file)
            add_row(table, f"  {said}")
        else:
            add_row(table, file, said)
    out.print(table)


def _lines(out: Console, result: ListenResult, *, file: str = "", most: int = _MOST_LINES) -> None:
    """Explained lines by part, the part with the clearest line first; harmonics in one row."""
    if result.crank is None and not result.lines:
        return
    heading(out, "Lines explained", file)
    if not result.lines:
        say(out, "None stands out that a shaft or bearing of this drive explains.")
        return
    rows: list[tuple[LineLabel, str]] = []
    for spectrum, word in (("sound", "sound"), ("envelope", "rhythm")):
        here = [line for line in result.lines if line.spectrum == spectrum]
        rows += [(label, word) for label in line_labels(here, most=len(here))[0]]
    rows.sort(key=lambda row: -row[0].strongest.significance)
    by_part: dict[str, list[tuple[LineLabel, str]]] = {}
    for row in rows[:most]:
        by_part.setdefault(row[0].part, []).append(row)
    narrow = out.width < _NARROW_COLUMNS
    table = columns("wrap", "wrap") if narrow else columns("left", "wrap", "wrap", "right", "left")
    for part, of_part in by_part.items():
        name = part
        for label, word in of_part:
            strength = f"{label.strongest.excess_db:.1f} dB up"
            if narrow:
                add_row(table, name, f"{label.source}: {label.orders}, {strength}, {word}")
            else:
                add_row(table, name, label.source, label.orders, strength, word)
            name = ""
    out.print(table)
    if len(rows) > most:
        weaker = len(rows) - most
        say(out, f"and {weaker} weaker {'one' if weaker == 1 else 'ones'}; --json gives them all.")


def _findings(out: Console, result: FindResult) -> None:
    """What each finding moves, and who would be first without it."""
    if not result.findings:
        return
    first = ranked(result)[0]
    names = {suspect.id: suspect.name for suspect in result.suspects}
    heading(out, "Findings", f"what each moves for {first.name}, and the odds without it")
    table = columns("right", "right", "wrap")
    for finding in result.findings:
        add_row(table, f"{finding.number}.", bits_words(finding.bits), finding.says)
        without = "; ".join(
            f"{names.get(suspect, suspect)} {percent_words(share)}"
            for suspect, share in finding.without[:2]
        )
        add_row(table, "", "", f"without it: {without}")
    out.print(table)


def _next_checks(out: Console, result: FindResult) -> None:
    if result.next_step is not None:
        heading(out, "Next step")
        say(out, full_stop(result.next_step.says))
    if not result.next_checks:
        return
    heading(out, "Check next")
    table = columns("right", "wrap")
    for number, check in enumerate(result.next_checks, start=1):
        where = f", {part_words(check.part)}" if check.part else ""
        what = check.check.replace("-", " ")
        add_row(table, f"{number}.", f"{what}{where}: {minutes_words(check.minutes)}")
        if check.how:
            add_row(table, "", full_stop(check.how))
        if check.first:
            add_row(table, "", f"First: {'; '.join(check.first)}.")
        add_row(table, "", full_stop(check.why))
        if check.hazard:
            add_row(table, "", f"Caution: {' '.join((check.hazard, *check.cautions))}")
    out.print(table)
