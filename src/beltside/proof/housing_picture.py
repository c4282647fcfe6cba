"""The front of the engine with the probe's readings on it, and with the direction's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from beltside.base.errors import BeltsideError
from beltside.casework.where_results import (
    DirectionResult,
    DrawnPulley,
    Outline,
    PlaceReading,
    WhereResult,
)
from beltside.proof import look
from beltside.proof.definition import to_png
from beltside.proof.drawing import Drawing
from beltside.proof.labels import spread
from beltside.proof.where_wording import (
    direction_answer,
    here_words,
    level_words,
    loudest_words,
    place_words,
    what_compared,
    where_answer,
)
from beltside.proof.wording import part_words, percent_words

WIDTH_PX: Final = look.WIDTH_PX
COLUMN_PX: Final = 168.0
"""Room for the words on either side of the engine."""
PAD_PX: Final = 16.0
MOST_HEIGHT_PX: Final = 420.0
LINE_PX: Final = look.SMALL_PX * 1.28
LEAST_DISC: Final = 0.16
"""Radius of the filled disc of the quietest place against its pulley's."""


@dataclass(frozen=True)
class _Label:
    """Words beside a pulley; the first line is bold."""

    pulley: DrawnPulley
    lines: tuple[str, ...]
    bold: bool


class _Front:
    """The scale of the drawing: from mm, up positive, to px, down positive."""

    def __init__(self, outline: Outline, top_px: float) -> None:
        left = min(p.x_mm - p.diameter_mm / 2 for p in outline.pulleys)
        right = max(p.x_mm + p.diameter_mm / 2 for p in outline.pulleys)
        low = min(p.y_mm - p.diameter_mm / 2 for p in outline.pulleys)
        high = max(p.y_mm + p.diameter_mm / 2 for p in outline.pulleys)
        room = WIDTH_PX - 2 * COLUMN_PX
        self.scale = min(room / max(right - left, 1.0), MOST_HEIGHT_PX / max(high - low, 1.0))
        self.middle_mm = (left + right) / 2.0
        self._high_mm = high
        self._top_px = top_px
        self.height_px = (high - low) * self.scale

    def at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Place on the drawing [px]."""
        return (
            WIDTH_PX / 2 + (x_mm - self.middle_mm) * self.scale,
            self._top_px + (self._high_mm - y_mm) * self.scale,
        )


def housing_drawing(result: WhereResult) -> Drawing:
    """The housing map: a filled disc in every pulley probed, the larger the louder, and words."""
    title = where_answer(result)
    notes = [what_compared(result)]
    if not result.outline.measured:
        notes.append("The drive sheet gives no positions: the pulleys are drawn in a row.")
    elsewhere = [
        place
        for place in result.places
        if place.part not in {pulley.part for pulley in result.outline.pulleys}
    ]
    foot = [
        f"Also probed: {part_words(place.part)}, {level_words(place)}; {loudest_words(place)}."
        for place in elsewhere
    ]
    drawn = {pulley.part for pulley in result.outline.pulleys}
    foot += [
        f"Also probed: {part_words(part)}, lines can't be read; {here_words(chance)}."
        for part, chance in result.unread.items()
        if part not in drawn
    ]
    by_part = {place.part: place for place in result.places}
    labels = [
        _place_label(pulley, by_part.get(pulley.part), result.unread)
        for pulley in result.outline.pulleys
    ]
    drawing, front = _start(title, notes, foot, result.outline, labels)
    top = max(place.level_db for place in result.places)
    for pulley in result.outline.pulleys:
        place = by_part.get(pulley.part)
        centre = front.at(pulley.x_mm, pulley.y_mm)
        radius = pulley.diameter_mm / 2 * front.scale
        first = place is not None and place is result.places[0]
        drawing.circle(
            centre,
            radius,
            stroke="ink" if place else "soft",
            fill="paper",
            width_px=3.0 if first else 1.5,
            dash="" if place else "4 4",
        )
        if place is not None:
            share = max(10.0 ** ((place.level_db - top) / 20.0), LEAST_DISC)
            drawing.circle(
                centre,
                max(0.8 * radius * share, 2.5),
                stroke=None,
                fill="accent" if first else "trace",
            )
    return drawing


def direction_drawing(result: DirectionResult, outline: Outline) -> Drawing:
    """Where the direction points: the stretch the sound comes from laid over the front."""
    likely = {pulley.part: pulley for pulley in result.pulleys}
    labels = []
    for pulley in outline.pulleys:
        found = likely.get(pulley.part)
        lines = [part_words(pulley.part)]
        if found is not None:
            lines.append(f"chance {percent_words(found.probability)}")
            if found is result.pulleys[0]:
                lines.append(result.state)
        labels.append(
            _Label(pulley, tuple(lines), found is not None and found is result.pulleys[0])
        )
    notes = [f"Band {result.band_hz[0]:.0f} to {result.band_hz[1]:.0f} Hz."]
    if result.along_mm is not None:
        notes.insert(0, place_words(result))
    foot = [
        "Line: where the sound comes from. Dashed: its 90 % range, where it lies on the engine."
    ]
    drawing, front = _start(direction_answer(result), notes, foot, outline, labels)
    if result.along_mm is not None:
        _stretch(drawing, front, result, outline)
    for pulley in outline.pulleys:
        first = bool(result.pulleys) and pulley.part == result.pulleys[0].part
        drawing.circle(
            front.at(pulley.x_mm, pulley.y_mm),
            pulley.diameter_mm / 2 * front.scale,
            stroke="accent" if first else "ink",
            width_px=4.0 if first else 1.5,
        )
    return drawing


def _stretch(drawing: Drawing, front: _Front, result: DirectionResult, outline: Outline) -> None:
    """Two dashed edges and the middle of the stretch the sound comes from."""
    assert result.along_mm is not None
    middle, low, high = result.along_mm
    left = min(p.x_mm - p.diameter_mm / 2 for p in outline.pulleys)
    right = max(p.x_mm + p.diameter_mm / 2 for p in outline.pulleys)
    bottom = min(p.y_mm - p.diameter_mm / 2 for p in outline.pulleys)
    top = max(p.y_mm + p.diameter_mm / 2 for p in outline.pulleys)
    for along, dash, width in ((low, "5 5", 1.5), (high, "5 5", 1.5), (middle, "", 2.0)):
        if result.held == "across":
            if left - 30.0 <= along <= right + 30.0:
                ends = (front.at(along, bottom), front.at(along, top))
                drawing.line(ends, stroke="accent", width_px=width, dash=dash)
        elif bottom - 30.0 <= along <= top + 30.0:
            ends = (front.at(left, along), front.at(right, along))
            drawing.line(ends, stroke="accent", width_px=width, dash=dash)


def _place_label(
    pulley: DrawnPulley, place: PlaceReading | None, unread: Mapping[str, float]
) -> _Label:
    name = part_words(pulley.part)
    if place is None and pulley.part in unread:
        return _Label(pulley, (name, "lines can't be read", here_words(unread[pulley.part])), False)
    if place is None:
        return _Label(pulley, (name, "not probed"), False)
    return _Label(pulley, (name, level_words(place), loudest_words(place)), True)


def _start(
    title: str, notes: list[str], foot: list[str], outline: Outline, labels: list[_Label]
) -> tuple[Drawing, _Front]:
    """Title, notes, belt, and the words with their leaders; the pulleys are still to come."""
    room = WIDTH_PX - 2 * PAD_PX
    heads = look.wrapped(title, look.TITLE_PX, room, most_lines=3, bold=True)
    smalls = [line for note in notes for line in look.wrapped(note, look.BODY_PX, room)]
    feet = [line for note in foot for line in look.wrapped(note, look.SMALL_PX, room)]
    top = PAD_PX + len(heads) * look.TITLE_PX * 1.2 + len(smalls) * look.BODY_PX * 1.3 + 22.0
    front = _Front(outline, top)
    columns = _columns(front, labels)
    needed = max(sum(_height(one) for one in column) for column in columns)
    body = max(front.height_px, needed) + 12.0
    height = top + body + len(feet) * LINE_PX + PAD_PX
    drawing = Drawing(WIDTH_PX, height, title, " ".join([*notes, *_spoken(labels), *foot]))
    y = PAD_PX
    for line in heads:
        y += look.TITLE_PX * 1.2
        drawing.text((PAD_PX, y - 4.0), line, size_px=look.TITLE_PX, bold=True)
    for line in smalls:
        y += look.BODY_PX * 1.3
        drawing.text((PAD_PX, y), line, size_px=look.BODY_PX, role="soft")
    for column, is_left in zip(columns, (True, False), strict=True):
        _words(drawing, front, column, is_left, top, top + body)
    # Over the leaders, which end at the pulleys: the belt stays whole.
    for start, end in outline.spans:
        drawing.line([front.at(*start), front.at(*end)], stroke="trace", width_px=3.0)
    for number, line in enumerate(feet, start=1):
        drawing.text((PAD_PX, top + body + number * LINE_PX), line, role="soft")
    return drawing, front


def _spoken(labels: list[_Label]) -> list[str]:
    return [", ".join(label.lines) + "." for label in labels]


def _height(label: _Label) -> float:
    return len(label.lines) * LINE_PX + 10.0


def _columns(front: _Front, labels: list[_Label]) -> tuple[list[_Label], list[_Label]]:
    """Labels left and right of the engine, shared out evenly, each column from top to bottom."""
    by_side = sorted(labels, key=lambda label: label.pulley.x_mm)
    half = sum(1 for label in by_side if label.pulley.x_mm < front.middle_mm)
    half = min(max(half, len(by_side) // 2), (len(by_side) + 1) // 2)

    def down(column: list[_Label]) -> list[_Label]:
        return sorted(column, key=lambda label: -label.pulley.y_mm)

    return down(by_side[:half]), down(by_side[half:])


def _words(
    drawing: Drawing,
    front: _Front,
    column: list[_Label],
    is_left: bool,
    top: float,
    bottom: float,
) -> None:
    wanted = [front.at(label.pulley.x_mm, label.pulley.y_mm)[1] for label in column]
    middles = spread(wanted, [_height(label) for label in column], top - 6.0, bottom)
    edge = COLUMN_PX - 10.0 if is_left else WIDTH_PX - COLUMN_PX + 10.0
    text_x = COLUMN_PX - 16.0 if is_left else WIDTH_PX - COLUMN_PX + 16.0
    room = COLUMN_PX - PAD_PX - 16.0
    for label, middle in zip(column, middles, strict=True):
        x, y = front.at(label.pulley.x_mm, label.pulley.y_mm)
        reach = label.pulley.diameter_mm / 2 * front.scale
        end = x - reach if is_left else x + reach
        drawing.line([(edge, middle), (end, y)], stroke="soft", width_px=1.0)
        first = middle - (len(label.lines) - 1) * LINE_PX / 2 + 4.0
        for number, line in enumerate(label.lines):
            bold = label.bold and number == 0
            drawing.text(
                (text_x, first + number * LINE_PX),
                look.clipped(line, look.SMALL_PX, room, bold=bold),
                anchor="end" if is_left else "start",
                bold=bold,
                role="ink" if label.bold else "soft",
            )


def save_drawing(drawing: Drawing, folder: Path, name: str) -> Path:
    """Write a drawing as `name`.svg and `name`.png into `folder`; gives the PNG's path.

    Raises
    ------
    BeltsideError
        When the folder can't be made or written into.
    """
    svg = drawing.svg()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{name}.svg").write_text(svg, encoding="utf-8")
        picture = folder / f"{name}.png"
        picture.write_bytes(to_png(svg))
    except OSError as error:
        raise BeltsideError(
            f"the picture can't be written into {folder}: {error.strerror or error}",
            instead="another folder, one you may write into",
        ) from error
    return picture
