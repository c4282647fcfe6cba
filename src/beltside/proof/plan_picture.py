"""The plan as a picture: every step as a bar, what it waits for, and the critical chain.

A bar is as long as the step's expected minutes and starts at the earliest moment at which the step
could start if there were hands enough, so that the longest chain runs through without a gap.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from beltside.proof import look
from beltside.proof.definition import to_png
from beltside.proof.drawing import Drawing

if TYPE_CHECKING:
    from beltside.casework.teardown_results import StepView, TeardownResult

_LABELS_PX: Final = 250
_CHART_PX: Final = 330
_GAP_PX: Final = 12
_ROW_PX: Final = 56
_BAR_PX: Final = 14
_LINE_PX: Final = 17
_HEADING_PX: Final = 34


def plan_svg(
    result: TeardownResult,
    states: Mapping[str, str] | None = None,
    said: Callable[[str], str] = str,
) -> str:
    """The plan of a job as SVG text, light and dark.

    `states` says in a word how far a step is, by the step's id: "started". `said` gives each of
    the other sentences in the language wanted; they are English without it.
    """
    states = states or {}
    width = 2 * look.PADDING_PX + _LABELS_PX + _GAP_PX + _CHART_PX
    inner = width - 2 * look.PADDING_PX
    title = look.wrapped(said(result.title), look.TITLE_PX, inner, most_lines=2, bold=True)
    at = result.times.quantiles
    notes = [
        line
        for note in (
            f"{at[0.5]:.0f} min likely, {at[0.1]:.0f} to {at[0.9]:.0f}; within {at[0.8]:.0f} min "
            "in 8 of 10 cases. One person works from top to bottom.",
            f"Bold with *: the longest chain of steps that wait for each other, "
            f"{result.chain_min:.0f} min. Beside the others stands how long each may wait. A line "
            "runs from a step to what waits for it.",
        )
        for line in look.wrapped(said(note), look.SMALL_PX, inner)
    ]
    top = look.PADDING_PX + len(title) * look.TITLE_PX * 1.2 + 8 + len(notes) * _LINE_PX + 14
    rows, headings, height = _rows(result.steps, top)
    name = said(f"Plan: {result.title}")
    drawing = Drawing(width, height + 40, name, _spoken(result, said))
    _write(drawing, title, notes)
    left = look.PADDING_PX + _LABELS_PX + _GAP_PX
    scale = _CHART_PX / max(result.chain_min, 1e-9)
    _axis(drawing, left, scale, result.chain_min, top, height, said("from the start"))
    for y, words in headings:
        drawing.text((look.PADDING_PX, y + 22), said(words), size_px=look.SMALL_PX, role="soft")
    _links(drawing, result, rows, left, scale)
    for step in result.steps:
        y = rows[step.id]
        x = left + step.earliest_min * scale
        drawing.box(
            (x, y + (_ROW_PX - _BAR_PX) / 2),
            max(step.expected_min * scale, 2.0),
            _BAR_PX,
            stroke="accent" if step.critical else "ink",
            fill="accent" if step.critical else "trace",
            line_px=1.0,
            rounded_px=2.0,
        )
        mark = "*" if step.critical else ""
        told = [said(step.title), said(_min_words(step.expected_min))]
        told += [states[step.id]] if step.id in states else []
        if step.id not in states and not step.critical and step.slack_min >= 0.5:
            # How long it may wait without making the longest chain longer.
            told.append(said(f"{step.slack_min:.0f} min to spare"))
        lines = look.wrapped(
            f"{step.number}{mark} {', '.join(told)}",
            look.SMALL_PX,
            _LABELS_PX,
            most_lines=3,
            bold=step.critical,
        )
        first = y + _ROW_PX / 2 + 5 - (len(lines) - 1) * _LINE_PX / 2
        for place, line in enumerate(lines):
            drawing.text((look.PADDING_PX, first + place * _LINE_PX), line, bold=step.critical)
    return drawing.svg()


def save_plan(result: TeardownResult, folder: Path) -> list[Path]:
    """Write the plan as PNG and SVG into `folder`; gives the PNG's path."""
    folder.mkdir(parents=True, exist_ok=True)
    svg = plan_svg(result)
    (folder / "plan.svg").write_text(svg, encoding="utf-8")
    path = folder / "plan.png"
    path.write_bytes(to_png(svg))
    return [path]


def _min_words(minutes: float) -> str:
    return "under 1 min" if minutes < 0.95 else f"{minutes:.0f} min"


def _rows(
    steps: Sequence[StepView], top: float
) -> tuple[dict[str, float], list[tuple[float, str]], float]:
    """Top edge of each step's row, headings with theirs, and the lower end."""
    rows: dict[str, float] = {}
    headings = []
    y, phase = top, ""
    for step in steps:
        if step.phase != phase:
            phase = step.phase
            headings.append((y, "Taking apart" if phase == "apart" else "Refitting"))
            y += _HEADING_PX
        rows[step.id] = y
        y += _ROW_PX
    return rows, headings, y


def _write(drawing: Drawing, title: Sequence[str], notes: Sequence[str]) -> None:
    y = float(look.PADDING_PX + look.TITLE_PX)
    for line in title:
        drawing.text((look.PADDING_PX, y), line, size_px=look.TITLE_PX, bold=True)
        y += look.TITLE_PX * 1.2
    for line in notes:
        drawing.text((look.PADDING_PX, y), line, role="soft")
        y += _LINE_PX


def _axis(
    drawing: Drawing,
    left: float,
    scale: float,
    length_min: float,
    top: float,
    low: float,
    begin: str,
) -> None:
    step = next(s for s in (1, 2, 5, 10, 15, 30, 60, 120, 240, 10_000) if length_min / s <= 6)
    at = 0
    while at <= length_min:
        x = left + at * scale
        drawing.line([(x, top), (x, low)], stroke="trace", width_px=0.5, dash="2 4")
        drawing.text((x, low + 18), f"{at} min", anchor="middle", role="soft")
        at += step
    drawing.text((look.PADDING_PX, low + 18), begin, role="soft")


def _links(
    drawing: Drawing, result: TeardownResult, rows: dict[str, float], left: float, scale: float
) -> None:
    """Lines from each step to those that wait for it; those of the chain last and bold."""
    by_id = {step.id: step for step in result.steps}
    chain = set(zip(result.chain, result.chain[1:], strict=False))
    links = [(other, step.id) for step in result.steps for other in step.waits_for]
    for before, after in sorted(links, key=lambda link: link in chain):
        first, second = by_id[before], by_id[after]
        x = left + (first.earliest_min + first.expected_min) * scale
        there = left + second.earliest_min * scale
        y, lower = rows[before] + _ROW_PX / 2, rows[after] + _ROW_PX / 2
        bold = (before, after) in chain
        drawing.line(
            [(x, y), (x, lower), (max(there, x), lower)],
            stroke="accent" if bold else "soft",
            width_px=2.4 if bold else 0.8,
        )


def _spoken(result: TeardownResult, said: Callable[[str], str]) -> str:
    """What a screen reader says: the steps in order and what each waits for."""
    number = {step.id: step.number for step in result.steps}
    told = []
    for step in result.steps:
        waits = ", ".join(str(number[one]) for one in step.waits_for)
        after = f", {said(f'after {waits}')}" if waits else ""
        told.append(f"{step.number} {said(step.title)}{after}")
    return "; ".join(told)
