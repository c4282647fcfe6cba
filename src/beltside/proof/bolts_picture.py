"""Drawings of bolting: the bolts numbered in their order, and the bar that holds a pulley."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from beltside.base.errors import BeltsideError
from beltside.casework.bolts_answer import HoldPicture, OrderPicture, Picture
from beltside.proof import look
from beltside.proof.definition import to_png
from beltside.proof.drawing import Drawing, Point

_BOLT_PX: Final = 21.0
_NAME_PX: Final = 14.0
_ROW_PX: Final = 30.0
_TICK_PX: Final = 18.0


def save_bolts_pictures(pictures: Mapping[str, Picture], folder: Path) -> list[Path]:
    """Write each picture into `folder` as PNG and SVG; gives the paths of the PNG files.

    Raises
    ------
    BeltsideError
        When the folder can't be made or written into.
    """
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, picture in pictures.items():
            svg = picture_svg(picture)
            (folder / f"{name}.svg").write_text(svg, encoding="utf-8")
            path = folder / f"{name}.png"
            path.write_bytes(to_png(svg))
            written.append(path)
    except OSError as error:
        raise BeltsideError(
            f"the pictures can't be written into {folder}: {error.strerror or error}",
            instead="another folder, one you may write into",
        ) from error
    return written


def picture_svg(picture: Picture) -> str:
    """The picture as SVG text."""
    return order_svg(picture) if isinstance(picture, OrderPicture) else hold_svg(picture)


def order_svg(picture: OrderPicture) -> str:
    """The flange, each bolt with its number in the order, and a box to tick for every stage."""
    flange = picture.flange
    names = [hole.name for hole in flange.bolts]
    points = [
        *picture.gasket_mm,
        *((hole.x_mm, hole.y_mm) for hole in flange.holes),
    ]
    left, right = min(x for x, _ in points), max(x for x, _ in points)
    low, high = min(y for _, y in points), max(y for _, y in points)
    room_px = look.WIDTH_PX - 2.0 * (look.PADDING_PX + _BOLT_PX + _NAME_PX)
    scale = room_px / max(right - left, 1.15 * (high - low), 1.0)
    title = look.wrapped(picture.title, look.TITLE_PX, look.WIDTH_PX - 32.0, bold=True)
    note_px = look.PADDING_PX + len(title) * look.TITLE_PX * 1.2 + look.SMALL_PX + 4.0
    top_px = note_px + _BOLT_PX + _NAME_PX + 16.0
    middle_px = look.WIDTH_PX / 2.0
    flange_px = (high - low) * scale
    list_px = top_px + flange_px + _BOLT_PX + _NAME_PX + 36.0
    rows = _ticks_px(len(picture.order))
    stages = [
        look.wrapped(f"{words}", look.SMALL_PX, look.WIDTH_PX - 32.0) for words in picture.stages
    ]
    height_px = list_px + sum(
        len(words) * look.SMALL_PX * look.LINE_HEIGHT + rows * _ROW_PX + 14.0 for words in stages
    )
    drawing = Drawing(
        look.WIDTH_PX,
        height_px,
        picture.title,
        "Tighten in this order: " + ", ".join(names[bolt] for bolt in picture.order),
    )

    def at(x_mm: float, y_mm: float) -> Point:
        return (middle_px + (x_mm - (left + right) / 2.0) * scale, top_px + (high - y_mm) * scale)

    for number, line in enumerate(title):
        drawing.text(
            (look.PADDING_PX, look.PADDING_PX + (number + 0.85) * look.TITLE_PX * 1.2),
            line,
            size_px=look.TITLE_PX,
            bold=True,
        )
    drawing.text(
        (look.PADDING_PX, note_px),
        "Large number: when it is tightened. Beside it: what the hole is called.",
        role="soft",
    )
    gasket = [at(*point) for point in picture.gasket_mm]
    drawing.line([*gasket, gasket[0]], stroke="trace", width_px=9.0)
    drawing.line([*gasket, gasket[0]], stroke="paper", width_px=5.0)
    centre = (
        sum(x for x, _ in gasket) / len(gasket),
        sum(y for _, y in gasket) / len(gasket),
    )
    for hole in flange.dowels:
        x, y = at(hole.x_mm, hole.y_mm)
        drawing.circle((x, y), 9.0, fill="paper")
        drawing.line([(x - 6.0, y), (x + 6.0, y)])
        drawing.line([(x, y - 6.0), (x, y + 6.0)])
        _beside(drawing, (x, y), centre, f"{hole.name} dowel", 11.0)
    for number, bolt in enumerate(picture.order, start=1):
        hole = flange.bolts[bolt]
        where = at(hole.x_mm, hole.y_mm)
        first = number == 1
        drawing.circle(
            where, _BOLT_PX, fill="accent" if first else "paper", width_px=2.5, stroke="ink"
        )
        drawing.text(
            (where[0], where[1] + 8.0),
            str(number),
            size_px=look.TITLE_PX + 2,
            anchor="middle",
            bold=True,
            role="paper" if first else "ink",
        )
        label = hole.name + (" stud" if hole.kind == "stud" else "")
        _beside(drawing, where, centre, label, _BOLT_PX)
    y_px = list_px
    for words in stages:
        for line in words:
            drawing.text((look.PADDING_PX, y_px), line, role="soft")
            y_px += look.SMALL_PX * look.LINE_HEIGHT
        for place, bolt in enumerate(picture.order):
            row, column = divmod(place, _per_row())
            x = look.PADDING_PX + column * _column_px()
            y = y_px + row * _ROW_PX - 8.0
            drawing.box((x, y), _TICK_PX, _TICK_PX, rounded_px=3.0)
            drawing.text(
                (x + _TICK_PX + 5.0, y + 14.0),
                look.clipped(names[bolt], look.SMALL_PX, _column_px() - _TICK_PX - 12.0),
            )
        y_px += rows * _ROW_PX + 14.0
    return drawing.svg()


def _per_row() -> int:
    return 8


def _column_px() -> float:
    return (look.WIDTH_PX - 2.0 * look.PADDING_PX) / _per_row()


def _ticks_px(bolts: int) -> int:
    return math.ceil(bolts / _per_row())


def _beside(drawing: Drawing, where: Point, centre: Point, words: str, clear_px: float) -> None:
    """A small name beneath or above, away from the flange's centre."""
    away = (where[0] - centre[0], where[1] - centre[1])
    above = away[1] < 0.0
    y = where[1] - clear_px - 6.0 if above else where[1] + clear_px + 15.0
    width_px = look.text_width_px(words, look.SMALL_PX)
    drawing.box(
        (where[0] - width_px / 2.0, y - look.SMALL_PX),
        width_px,
        look.SMALL_PX + 3.0,
        stroke=None,
        fill="paper",
    )
    drawing.text((where[0], y), words, anchor="middle", role="soft")


_REACH_PX: Final = 104.0


def hold_svg(picture: HoldPicture) -> str:
    """The pulley seen as the technician sees it, the wrench, and the bar across two heads."""
    hold = picture.hold
    height_px = 664.0
    drawing = Drawing(
        look.WIDTH_PX,
        height_px,
        picture.title,
        f"Wrench {hold.wrench_turns}; bar on its {hold.bar_side}, pushed {hold.bar_pushes}.",
    )
    drawing.text((look.PADDING_PX, 38.0), picture.title, size_px=look.TITLE_PX, bold=True)
    seen = "heads facing you" if hold.facing == "you" else "seen from behind, heads away from you"
    drawing.text(
        (look.PADDING_PX, 62.0),
        f"{hold.thread_hand}-hand thread, {seen}",
        size_px=look.BODY_PX,
        role="soft",
    )
    centre = (look.WIDTH_PX / 2.0, 390.0)

    def at(point: Point) -> Point:
        return (centre[0] + point[0] * _REACH_PX, centre[1] - point[1] * _REACH_PX)

    drawing.circle(centre, 1.42 * _REACH_PX, width_px=3.0)
    drawing.circle(centre, 1.32 * _REACH_PX, stroke="trace")
    drawing.circle(centre, 0.3 * _REACH_PX, stroke="trace")
    for place, head in enumerate(hold.bolts):
        _hexagon(drawing, at(head), 13.0, behind=hold.facing == "away", turned=place == 0)
    inner, handle = at(hold.bar[0]), at(hold.bar[1])
    drawing.line([inner, handle], width_px=15.0)
    drawing.line([inner, handle], stroke="paper", width_px=10.0)
    top = at(hold.bolts[0])
    grip = (top[0], top[1] - 150.0)
    drawing.line([(top[0], top[1] - 12.0), grip], stroke="accent", width_px=12.0)
    drawing.circle(top, 19.0, stroke="accent", width_px=6.0)
    side = hold.pull_wrench[0]
    _arrow(drawing, (grip[0] + 12.0 * side, grip[1] + 12.0), (side, 0.0), "accent")
    drawing.text(
        (grip[0] + 74.0 * side, grip[1] + 17.0),
        "pull",
        size_px=look.BODY_PX,
        anchor="start" if side > 0 else "end",
        role="accent",
        bold=True,
    )
    push = (hold.push_bar[0], -hold.push_bar[1])
    start = (
        handle[0] - 12.0 * (handle[0] - inner[0]) / math.dist(handle, inner) - 70.0 * push[0],
        handle[1] - 12.0 * (handle[1] - inner[1]) / math.dist(handle, inner) - 70.0 * push[1],
    )
    _arrow(drawing, start, push, "ink")
    # The label stays inside the picture where the bar reaches far out.
    middle_px = min(max(start[0], 64.0), look.WIDTH_PX - 64.0)
    drawing.text(
        (middle_px, start[1] + 20.0), "push bar", size_px=look.BODY_PX, anchor="middle", bold=True
    )
    _turning(drawing, centre, 1.62 * _REACH_PX, hold.wrench_turns == "anticlockwise")
    drawing.text(
        (look.WIDTH_PX / 2.0, height_px - 16.0),
        f"the pulley wants to run {hold.wrench_turns}",
        size_px=look.BODY_PX,
        anchor="middle",
        role="soft",
    )
    return drawing.svg()


def _hexagon(
    drawing: Drawing, middle: Point, radius_px: float, *, behind: bool, turned: bool
) -> None:
    corners = [
        (
            middle[0] + radius_px * math.cos(math.radians(60.0 * k)),
            middle[1] + radius_px * math.sin(math.radians(60.0 * k)),
        )
        for k in range(7)
    ]
    drawing.line(
        corners,
        stroke="accent" if turned else "ink",
        width_px=2.5,
        dash="5 4" if behind else "",
    )


def _arrow(drawing: Drawing, start: Point, way: Point, role: str) -> None:
    """An arrow 56 px long from `start`."""
    colour = "accent" if role == "accent" else "ink"
    end = (start[0] + 56.0 * way[0], start[1] + 56.0 * way[1])
    across = (-way[1], way[0])
    head = [
        (end[0] - 13.0 * way[0] + s * 8.0 * across[0], end[1] - 13.0 * way[1] + s * 8.0 * across[1])
        for s in (1.0, -1.0)
    ]
    if colour == "accent":
        drawing.line([start, end], stroke="accent", width_px=4.0)
        drawing.line([head[0], end, head[1]], stroke="accent", width_px=4.0)
    else:
        drawing.line([start, end], stroke="ink", width_px=4.0)
        drawing.line([head[0], end, head[1]], stroke="ink", width_px=4.0)


def _turning(drawing: Drawing, centre: Point, radius_px: float, anticlockwise: bool) -> None:
    """A curved arrow beneath the pulley: which way it wants to run."""
    angles = [230.0 + 4.0 * k for k in range(21)]
    if not anticlockwise:
        angles.reverse()
    arc = [
        (
            centre[0] + radius_px * math.cos(math.radians(angle)),
            centre[1] - radius_px * math.sin(math.radians(angle)),
        )
        for angle in angles
    ]
    drawing.line(arc, stroke="soft", width_px=3.0)
    way = (arc[-1][0] - arc[-2][0], arc[-1][1] - arc[-2][1])
    size = math.hypot(*way)
    unit = (way[0] / size, way[1] / size)
    across = (-unit[1], unit[0])
    tips = [
        (
            arc[-1][0] - 12.0 * unit[0] + s * 8.0 * across[0],
            arc[-1][1] - 12.0 * unit[1] + s * 8.0 * across[1],
        )
        for s in (1.0, -1.0)
    ]
    drawing.line([tips[0], arc[-1], tips[1]], stroke="soft", width_px=3.0)
