"""Pictures of answers about the coolant: a course over time, a scale, stacked amounts."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Final

from beltside.base.errors import BeltsideError
from beltside.casework.coolant_answer import (
    CoolantAnswer,
    CoursePicture,
    Curve,
    Picture,
    ScalePicture,
    StackPicture,
)
from beltside.proof.drawing import Drawing, Point
from beltside.proof.look import (
    BODY_PX,
    PADDING_PX,
    SMALL_PX,
    TITLE_PX,
    WIDTH_PX,
    text_width_px,
    wrapped,
)
from beltside.proof.wording import Said

_WHOLE_PX: Final = WIDTH_PX + 2 * PADDING_PX
_TOP_PX: Final = 96
_PLOT_PX: Final = 300


def coolant_svg(picture: Picture, said: Said = str) -> str:
    """The picture as SVG text with our look, light and dark.

    `said` gives its words and numbers in another language.
    """
    picture = picture.worded(said)
    if isinstance(picture, CoursePicture):
        return _course(picture, said)
    if isinstance(picture, ScalePicture):
        return _scale(picture, said)
    return _stack(picture, said)


def save_coolant_picture(answer: CoolantAnswer, folder: Path) -> list[Path]:
    """Write the answer's picture as `coolant-TOPIC.png` and `.svg`; gives the path of the PNG.

    Raises
    ------
    BeltsideError
        When the folder can't be made or written into.
    """
    if answer.picture is None:
        return []
    from beltside.proof.definition import to_png

    svg = coolant_svg(answer.picture)
    path = folder / f"coolant-{answer.topic}.png"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.with_suffix(".svg").write_text(svg, encoding="utf-8")
        path.write_bytes(to_png(svg))
    except OSError as error:
        raise BeltsideError(
            f"the picture can't be written into {folder}: {error.strerror or error}",
            instead="another folder, one you may write into",
        ) from error
    return [path]


def _begun(title: str, note: str, height_px: float, told: str) -> Drawing:
    drawing = Drawing(_WHOLE_PX, height_px, title, told)
    drawing.text((PADDING_PX, PADDING_PX + TITLE_PX), title, size_px=TITLE_PX, bold=True)
    drawing.text(
        (PADDING_PX, PADDING_PX + TITLE_PX + BODY_PX + 8), note, size_px=BODY_PX, role="soft"
    )
    return drawing


def round_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round values from `low` to `high`, at most `most` of them.

    >>> round_ticks(0.0, 5.2)
    [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
    """
    span = max(high - low, 1e-9)
    size = 10.0 ** math.floor(math.log10(span / most))
    step = next(size * one for one in (1, 2, 2.5, 5, 10) if span / (size * one) <= most)
    first = math.ceil(low / step - 1e-9)
    return [i * step for i in range(first, math.floor(high / step + 1e-9) + 1)]


def _number(value: float) -> str:
    return f"{value:.10g}"


def _amount(amount: float, picture: StackPicture) -> str:
    return f"{amount:.2f} {picture.unit}"


def _apart(places: Sequence[float], least: float, low: float, high: float) -> list[float]:
    """The places moved as little as needed to stand `least` apart between `low` and `high`."""
    order = sorted(range(len(places)), key=lambda i: places[i])
    moved = [0.0] * len(places)
    last = low - least
    for i in order:
        moved[i] = max(places[i], last + least)
        last = moved[i]
    last = high + least
    for i in reversed(order):
        moved[i] = min(moved[i], last - least)
        last = moved[i]
    return moved


def _course(picture: CoursePicture, said: Said) -> str:
    height_px = _TOP_PX + _PLOT_PX + 56 + 24 * len(picture.curves) + (24 if picture.read else 0)
    told = f"{picture.y_name} over {picture.x_name}. {picture.note}"
    drawing = _begun(picture.title, picture.note, height_px, told)
    xs = [x for curve in picture.curves for x, _ in curve.points]
    xs += [x for x, _ in picture.read] + [x for x, _ in picture.moments]
    ys = [y for curve in picture.curves for _, y in curve.points]
    ys += [y for _, y in picture.read] + [y for y, _ in picture.levels]
    low, high = min(ys), max(ys)
    margin = max(0.08 * (high - low), 0.5)
    low, high = (0.0 if 0.0 <= low < 0.3 * high else low - margin), high + margin
    right = max(max(xs), 1e-6)
    left_px, bottom_px = PADDING_PX + 52.0, _TOP_PX + _PLOT_PX
    room_px = _WHOLE_PX - PADDING_PX - left_px

    def at(x: float, y: float) -> Point:
        return left_px + room_px * x / right, bottom_px - _PLOT_PX * (y - low) / (high - low)

    for tick in round_ticks(low, high):
        _, y_px = at(0.0, tick)
        drawing.line(((left_px, y_px), (left_px + room_px, y_px)), stroke="trace", width_px=0.5)
        drawing.text((left_px - 8, y_px + 5), said(_number(tick)), anchor="end")
    for tick in round_ticks(0.0, right):
        x_px, _ = at(tick, low)
        drawing.line(((x_px, bottom_px), (x_px, bottom_px + 5)), stroke="ink")
        drawing.text((x_px, bottom_px + 22), said(_number(tick)), anchor="middle")
    drawing.line(((left_px, bottom_px), (left_px + room_px, bottom_px)), stroke="ink")
    drawing.text((PADDING_PX, _TOP_PX - 6), picture.y_name, role="soft")
    drawing.text((left_px + room_px, bottom_px + 42), picture.x_name, anchor="end", role="soft")
    _levels(drawing, picture, at, left_px + room_px)
    for curve in picture.curves:
        drawing.line(
            [at(x, y) for x, y in curve.points],
            stroke=curve.shade,
            width_px=2.5,
            dash="7 6" if curve.dashed else "",
        )
    for x, y in picture.read:
        drawing.circle(at(x, y), 4.5, stroke="ink", fill="paper", width_px=2.0)
    _legend(drawing, picture.curves, picture.read_name if picture.read else "", bottom_px + 64)
    return drawing.svg()


def _levels(
    drawing: Drawing,
    picture: CoursePicture,
    place: Callable[[float, float], Point],
    right_px: float,
) -> None:
    # The words stand at that end of a level where the curves are farther from it.
    ends = [(curve.points[0][1], curve.points[-1][1]) for curve in picture.curves if curve.points]
    left_px, _ = place(0.0, 0.0)
    at_left = sum(
        min(abs(level - first) for first, _ in ends) > min(abs(level - last) for _, last in ends)
        for level, _ in picture.levels
        if ends
    )
    tops = []
    for level, words in picture.levels:
        x_px, y_px = place(0.0, level)
        drawing.line(((x_px, y_px), (right_px, y_px)), stroke="accent", width_px=1.5, dash="3 4")
        tops.append((y_px, words))
    places = _apart([y - 6 for y, _ in tops], SMALL_PX + 3.0, _TOP_PX + SMALL_PX, 1e6)
    for y_px, (_, words) in zip(places, tops, strict=True):
        if 2 * at_left > len(picture.levels):
            drawing.text((left_px + 6, y_px), words, role="accent")
        else:
            drawing.text((right_px, y_px), words, anchor="end", role="accent")
    for moment, words in picture.moments:
        x_px, _ = place(moment, 0.0)
        drawing.line(((x_px, _TOP_PX), (x_px, _TOP_PX + _PLOT_PX)), stroke="accent", width_px=2.5)
        anchor_end = x_px > 0.6 * right_px
        drawing.text(
            (x_px - 8 if anchor_end else x_px + 8, _TOP_PX + _PLOT_PX - 12),
            words,
            anchor="end" if anchor_end else "start",
            role="accent",
            bold=True,
            size_px=BODY_PX,
        )


def _legend(drawing: Drawing, curves: Iterable[Curve], read_name: str, top_px: float) -> None:
    y_px = top_px
    for curve in curves:
        drawing.line(
            ((PADDING_PX, y_px - 5), (PADDING_PX + 40, y_px - 5)),
            stroke=curve.shade,
            width_px=2.5,
            dash="7 6" if curve.dashed else "",
        )
        drawing.text((PADDING_PX + 52, y_px), curve.name)
        y_px += 24
    if read_name:
        drawing.circle((PADDING_PX + 20, y_px - 5), 4.5, stroke="ink", fill="paper", width_px=2.0)
        drawing.text((PADDING_PX + 52, y_px), read_name)


def _scale(picture: ScalePicture, said: Said) -> str:
    height_px = _TOP_PX + 400.0
    told = "; ".join(words for _, words in picture.marks)
    drawing = _begun(picture.title, picture.note, height_px, told)
    top_px, bottom_px = _TOP_PX + 14.0, height_px - PADDING_PX - 10.0
    bar_px, wide_px = PADDING_PX + 58.0, 26.0

    def at(value: float) -> float:
        share = (value - picture.low) / (picture.high - picture.low)
        return bottom_px - (bottom_px - top_px) * min(max(share, 0.0), 1.0)

    drawing.box((bar_px, top_px), wide_px, bottom_px - top_px, stroke="ink")
    for low, high, words in picture.spans:
        drawing.box((bar_px, at(high)), wide_px, at(low) - at(high), stroke="ink", fill="trace")
        y_px = 0.5 * (at(low) + at(high))
        if not any(abs(at(value) - y_px) < 26.0 for value, _ in picture.marks):
            drawing.text((bar_px + wide_px + 34, y_px + 5), words, role="soft", size_px=BODY_PX)
    for tick in round_ticks(picture.low, picture.high, 10):
        drawing.line(((bar_px - 5, at(tick)), (bar_px, at(tick))), stroke="ink")
        drawing.text((bar_px - 10, at(tick) + 5), said(_number(tick)), anchor="end")
    drawing.text((PADDING_PX, _TOP_PX + 2), picture.unit, role="soft")
    places = _apart([at(value) for value, _ in picture.marks], 24.0, top_px, bottom_px)
    for (value, words), y_px in zip(picture.marks, places, strict=True):
        start = (bar_px, at(value))
        drawing.line(
            (start, (bar_px + wide_px, at(value)), (bar_px + wide_px + 26, y_px)),
            stroke="accent",
            width_px=2.5,
        )
        for number, line in enumerate(wrapped(words, BODY_PX, _WHOLE_PX - bar_px - wide_px - 60)):
            drawing.text((bar_px + wide_px + 34, y_px + 5 + 20 * number), line, size_px=BODY_PX)
    return drawing.svg()


def _stack(picture: StackPicture, said: Said) -> str:
    height_px = _TOP_PX + _PLOT_PX + 60.0
    told = "; ".join(
        f"{name}: "
        + ", ".join(f"{words} {said(_amount(amount, picture))}" for words, amount, _ in parts)
        for name, parts in picture.columns
    )
    drawing = _begun(picture.title, picture.note, height_px, told)
    most = max(sum(amount for _, amount, _ in parts) for _, parts in picture.columns)
    each_px = (_WHOLE_PX - 2 * PADDING_PX) / len(picture.columns)
    bottom_px = _TOP_PX + _PLOT_PX
    for index, (name, parts) in enumerate(picture.columns):
        x_px = PADDING_PX + index * each_px
        y_px = float(bottom_px)
        names: list[tuple[float, str]] = []
        for words, amount, shade in parts:
            tall_px = (_PLOT_PX - 24) * amount / max(most, 1e-9)
            y_px -= tall_px
            drawing.box((x_px, y_px), 64, tall_px, stroke="paper", fill=shade, line_px=2.0)
            names.append((y_px + 0.5 * tall_px, f"{said(_amount(amount, picture))} {words}"))
        places = _apart([place for place, _ in names], 22.0, _TOP_PX + 14.0, bottom_px)
        for place, (_, words) in zip(places, names, strict=True):
            room = each_px - 80
            size = BODY_PX if text_width_px(words, BODY_PX) <= room else SMALL_PX
            drawing.text((x_px + 74, place + 5), words, size_px=size)
        drawing.line(((x_px, bottom_px), (x_px + each_px - 16, bottom_px)), stroke="ink")
        drawing.text((x_px, bottom_px + 26), name, size_px=BODY_PX, bold=True)
    return drawing.svg()
