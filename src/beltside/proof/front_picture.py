"""The pulleys as measured from a photo, seen squarely from the front, with their sizes."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from beltside.casework.photo_pulleys import FrontResult, PulleySeen
from beltside.proof import look
from beltside.proof.definition import to_png
from beltside.proof.drawing import Drawing
from beltside.proof.wording import part_words

_SIDE_PX: Final = 520.0
_TOP_PX: Final = 84.0
_LINE_PX: Final = 17.0


def front_svg(result: FrontResult) -> str:
    """Every rim where it was found, tilt and lens undone, with diameter or ratio."""
    low_x = min(one.place[0] - one.place[2] for one in result.pulleys)
    high_x = max(one.place[0] + one.place[2] for one in result.pulleys)
    low_y = min(one.place[1] - one.place[2] for one in result.pulleys)
    high_y = max(one.place[1] + one.place[2] for one in result.pulleys)
    scale = _SIDE_PX / max(high_x - low_x, high_y - low_y, 1e-9)
    width = _SIDE_PX + 2 * look.PADDING_PX + 40.0
    left = (width - (high_x - low_x) * scale) / 2.0
    height = _TOP_PX + (high_y - low_y) * scale + 46.0
    words = ", ".join(f"{part_words(one.part)} {_size(one)}" for one in result.pulleys)
    drawing = Drawing(width, height, "Pulleys from a photo", words)
    drawing.text((look.PADDING_PX, 34.0), "Pulleys from a photo", size_px=look.TITLE_PX, bold=True)
    drawing.text(
        (look.PADDING_PX, 58.0),
        f"Seen squarely; a tilt of {result.tilt_deg:.0f} degrees is undone.",
        role="soft",
    )
    for one in result.pulleys:
        center = (
            left + (one.place[0] - low_x) * scale,
            _TOP_PX + (high_y - one.place[1]) * scale,
        )
        radius = one.place[2] * scale
        drawing.circle(center, radius, stroke="ink", fill="paper", width_px=2.5)
        if one.face == "back":
            drawing.circle(center, radius - 5.0, stroke="trace", width_px=1.0)
        drawing.circle(center, 2.5, stroke=None, fill="ink")
        lines = [part_words(one.part), _size(one), _range(one)]
        widest = max(look.text_width_px(line, look.SMALL_PX) for line in lines)
        if widest < 1.3 * radius:
            y = center[1] - _LINE_PX * 0.4
            x, anchor = center[0], "middle"
        else:
            y = center[1] - _LINE_PX * 0.4
            right = center[0] + radius + 6.0 + widest < width
            x = center[0] + (radius + 6.0) * (1 if right else -1)
            anchor = "start" if right else "end"
        for number, line in enumerate(lines):
            drawing.text(
                (x, y + (number + (0.9 if number else -0.2)) * _LINE_PX),
                line,
                anchor="middle"
                if anchor == "middle"
                else ("start" if anchor == "start" else "end"),
                bold=number == 1,
                role="soft" if number == 2 else "ink",
            )
    drawing.text(
        (look.PADDING_PX, height - 14.0),
        "Ranges hold 9 of 10 times. A double ring runs on the belt's back.",
        role="soft",
    )
    return drawing.svg()


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
