"""The pulleys as measured from a photo, seen squarely from the front, with their sizes."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from beltside.casework.photo_pulleys import FrontResult, PulleySeen
from beltside.proof import look
from beltside.proof.definition import to_png
from beltside.proof.drawing import Anchor, Drawing, Point
from beltside.proof.wording import Said, part_words

_SIDE_PX: Final = 520.0
_TOP_PX: Final = 84.0
_LINE_PX: Final = 17.0


def front_svg(result: FrontResult, said: Said = str) -> str:
    """Every rim where it was found, tilt and lens undone, with diameter or ratio.

    `said` gives its words in another language.
    """
    low_x = min(one.place[0] - one.place[2] for one in result.pulleys)
    high_x = max(one.place[0] + one.place[2] for one in result.pulleys)
    low_y = min(one.place[1] - one.place[2] for one in result.pulleys)
    high_y = max(one.place[1] + one.place[2] for one in result.pulleys)
    scale = _SIDE_PX / max(high_x - low_x, high_y - low_y, 1e-9)
    width = _SIDE_PX + 2 * look.PADDING_PX + 40.0
    left = (width - (high_x - low_x) * scale) / 2.0
    height = _TOP_PX + (high_y - low_y) * scale + 46.0
    title = said("Pulleys from a photo")
    words = ", ".join(f"{said(part_words(one.part))} {said(_size(one))}" for one in result.pulleys)
    drawing = Drawing(width, height, title, words)
    drawing.text((look.PADDING_PX, 34.0), title, size_px=look.TITLE_PX, bold=True)
    drawing.text(
        (look.PADDING_PX, 58.0),
        said(f"Seen squarely; a tilt of {result.tilt_deg:.0f} degrees is undone."),
        role="soft",
    )
    circles = [
        (
            (left + (one.place[0] - low_x) * scale, _TOP_PX + (high_y - one.place[1]) * scale),
            one.place[2] * scale,
        )
        for one in result.pulleys
    ]
    for one, (center, radius) in zip(result.pulleys, circles, strict=True):
        drawing.circle(center, radius, stroke="ink", fill="paper", width_px=2.5)
        if one.face == "back":
            drawing.circle(center, radius - 5.0, stroke="trace", width_px=1.0)
        drawing.circle(center, 2.5, stroke=None, fill="ink")
    for one, (center, radius) in zip(result.pulleys, circles, strict=True):
        lines = (said(part_words(one.part)), said(_size(one)), said(_range(one)))
        widest = max(look.text_width_px(line, look.SMALL_PX) for line in lines)
        x, anchor = _beside(center, radius, widest, circles, width)
        rows: tuple[float, float, float] = (-0.7, 0.4, 1.5)
        if anchor == "middle":
            rows = (-0.7, 1.2, 2.2)
        for line, row, role in zip(lines, rows, ("ink", "ink", "soft"), strict=True):
            drawing.text(
                (x, center[1] + row * _LINE_PX),
                line,
                anchor=anchor,
                bold=line == lines[1],
                role="soft" if role == "soft" else "ink",
            )
    drawing.text(
        (look.PADDING_PX, height - 14.0),
        said("Ranges hold 9 of 10 times. A double ring runs on the belt's back."),
        role="soft",
    )
    return drawing.svg()


def _beside(
    center: Point,
    radius: float,
    widest: float,
    circles: list[tuple[Point, float]],
    width: float,
) -> tuple[float, Anchor]:
    """Where a pulley's words go: inside when they fit, else to the side with more room."""
    if widest < 1.3 * radius:
        return center[0], "middle"
    right, left = center[0] + radius + 6.0, center[0] - radius - 6.0

    def clear(start: float, end: float) -> float:
        if start < 2.0 or end > width - 2.0:
            return -1e3
        rooms = [1e3]
        for other, size in circles:
            if other != center:
                away = max(start - other[0], other[0] - end, 0.0)
                down = max(abs(other[1] - center[1]) - 1.5 * _LINE_PX, 0.0)
                rooms.append((away**2 + down**2) ** 0.5 - size)
        return min(rooms)

    if clear(right, right + widest) >= min(clear(left - widest, left), 4.0):
        return right, "start"
    return left, "end"


def _size(one: PulleySeen) -> str:
    if one.diameter_mm is None:
        return f"ratio {one.ratio:.3f}"
    return f"{one.diameter_mm:.1f} mm"


def _range(one: PulleySeen) -> str:
    if one.diameter_low_mm is None or one.diameter_high_mm is None:
        return f"{one.ratio_low:.3f} to {one.ratio_high:.3f}"
    return f"{one.diameter_low_mm:.1f} to {one.diameter_high_mm:.1f}"


def save_front(result: FrontResult, folder: Path) -> list[Path]:
    """Write the drawing into `folder` as PNG and SVG; gives the PNG file."""
    folder.mkdir(parents=True, exist_ok=True)
    svg = front_svg(result)
    (folder / "pulleys.svg").write_text(svg, encoding="utf-8")
    path = folder / "pulleys.png"
    path.write_bytes(to_png(svg))
    return [path]
