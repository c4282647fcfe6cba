"""The two pictures of the proof sheet: levels in bands, and lines over order, before and after.

Before is drawn grey, after in the accent colour; the words beside each say which is which.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

from beltside.proof.drawing import Drawing
from beltside.proof.look import clipped, text_width_px

if TYPE_CHECKING:
    from beltside.casework.proof_sheet import Charts, ProofSheet

WIDTH: Final = 420.0
HEIGHT: Final = 264.0
LEFT: Final = 44.0
RIGHT: Final = 8.0
TOP: Final = 34.0
FOOT: Final = 44.0
TEXT: Final = 14.0
TICKS: Final = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
NAMED_HZ: Final = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)
MARK_ROW: Final = 17.0


def level_picture(sheet: ProofSheet) -> Drawing | None:
    """Third-octave levels before and after; None when nothing was compared."""
    bands = sheet.charts.bands
    if len(bands) < 2:
        return None
    drawing = Drawing(WIDTH, HEIGHT, "Level before and after", level_words(sheet.charts))
    down = _frame(drawing, [level for _, *pair in bands for level in pair], TOP)
    _legend(drawing, "Level by pitch", TOP - 14)
    step = (WIDTH - LEFT - RIGHT) / len(bands)
    foot = HEIGHT - FOOT
    ends = []
    free = LEFT - 8.0
    for n, (hz, before, after) in enumerate(bands):
        left = LEFT + n * step
        top = down(before)
        drawing.box(
            (left + 0.12 * step, top), 0.76 * step, max(foot - top, 0.5), stroke=None, fill="trace"
        )
        ends.append((left + 0.5 * step, down(after)))
        if any(math.isclose(hz, named) for named in NAMED_HZ):
            words = f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}"
            half = 0.5 * text_width_px(words, TEXT)
            if left + 0.5 * step - half > free:
                drawing.text((left + 0.5 * step, foot + 17), words, size_px=TEXT, anchor="middle")
                free = left + 0.5 * step + half + 6.0
    drawing.line(ends, stroke="accent", width_px=2.5)
    for point in ends:
        drawing.circle(point, 3.2, stroke="paper", fill="accent", width_px=0.8)
    drawing.text((LEFT, foot + 37), "pitch (Hz)", size_px=TEXT, role="soft")
    return drawing


def order_picture(sheet: ProofSheet) -> Drawing | None:
    """Order spectra before and after with the lines that changed most; None without any."""
    points = sheet.charts.orders
    if len(points) < 10:
        return None
    marks = sorted(sheet.charts.marks, key=lambda one: one[1])
    top = TOP + MARK_ROW * len(marks)
    drawing = Drawing(
        WIDTH, HEIGHT + MARK_ROW * len(marks), "Lines over order before and after",
        order_words(sheet.charts),
    )  # fmt: skip
    low_order, high_order = points[0][0], points[-1][0]
    span = math.log(high_order / low_order)

    def across(order: float) -> float:
        order = min(max(order, low_order), high_order)
        return LEFT + math.log(order / low_order) / span * (WIDTH - LEFT - RIGHT)

    levels = [level for _, *pair in points for level in pair]
    down = _frame(drawing, levels, top)
    foot = drawing.height_px - FOOT
    _legend(drawing, "Lines by order", TOP - 14)
    outline = "".join(f"L{across(order):.1f} {down(before):.1f}" for order, before, _ in points)
    drawing.path(
        f"M{across(low_order):.1f} {foot:.1f}{outline}L{across(high_order):.1f} {foot:.1f}Z",
        stroke=None,
        fill="trace",
    )
    drawing.line(
        [(across(order), down(after)) for order, _, after in points], stroke="accent", width_px=1.6
    )
    for tick in TICKS:
        if low_order <= tick * 1.02 and tick <= high_order * 1.03:
            drawing.text((across(tick), foot + 17), f"{tick:g}", size_px=TEXT, anchor="middle")
    for n, (name, order, quieter) in enumerate(marks):
        x, y = across(order), TOP + MARK_ROW * n + 6
        words = clipped(f"{name}: {quieter:.0f} dB quieter", TEXT, WIDTH - LEFT - RIGHT)
        width = text_width_px(words, TEXT)
        start = x + 5 if x + 5 + width <= WIDTH else max(x - 5 - width, 0.0)
        drawing.text((start, y), words, size_px=TEXT)
        nearest = min(points, key=lambda one: abs(math.log(one[0] / order)))
        under = start - 3 < x < start + width
        drawing.line(
            [(x, y + 4 if under else y - 10), (x, down(max(nearest[1], nearest[2])) - 2)],
            stroke="ink",
            width_px=1.0,
        )
    drawing.text((LEFT, foot + 37), "events in one turn of the crank", size_px=TEXT, role="soft")
    return drawing


def level_words(charts: Charts) -> str:
    """What the picture of levels shows, for those who don't see it."""
    if not charts.bands:
        return ""
    hz, before, after = max(charts.bands, key=lambda one: one[1] - one[2])
    return (
        f"Level in {len(charts.bands)} third-octave bands before and after, at one gain. "
        f"The greatest change is at {hz:g} Hz: from {before:.0f} to {after:.0f} dB."
    )


def order_words(charts: Charts) -> str:
    """What the picture of lines shows, for those who don't see it."""
    marks = "; ".join(
        f"{name} at order {order:g} is {quieter:.0f} dB quieter"
        for name, order, quieter in charts.marks
    )
    return "Level over events in one turn of the crank, before and after." + (
        f" {marks[0].upper()}{marks[1:]}." if marks else ""
    )


def _frame(drawing: Drawing, levels: list[float], top: float) -> Callable[[float], float]:
    """Level lines with their numbers; gives the function from level to height."""
    high = math.ceil((max(levels) + 1.0) / 10.0) * 10.0
    low = math.floor((float(np.quantile(levels, 0.02)) - 4.0) / 10.0) * 10.0
    low = min(max(low, high - 70.0), high - 10.0)
    foot = drawing.height_px - FOOT

    def down(level: float) -> float:
        share = (min(max(level, low), high) - low) / (high - low)
        return foot - share * (foot - top)

    step = 20.0 if high - low > 40.0 else 10.0
    for tick in np.arange(low, high + 0.1, step):
        y = down(float(tick))
        drawing.line([(LEFT, y), (WIDTH - RIGHT, y)], stroke="trace", width_px=0.6)
        drawing.text(
            (LEFT - 6, y + 5), f"{tick:.0f}".replace("-", "−"), size_px=TEXT, anchor="end",
            role="soft",
        )  # fmt: skip
    return down


def _legend(drawing: Drawing, title: str, y: float) -> None:
    """Title, and what the two colours mean."""
    drawing.text((0, y), title, size_px=TEXT + 1, bold=True)
    drawing.box((150, y - 10), 16, 10, stroke=None, fill="trace")
    drawing.text((171, y), "before", size_px=TEXT)
    drawing.line([(232, y - 5), (250, y - 5)], stroke="accent", width_px=2.5)
    drawing.text((255, y), "after", size_px=TEXT)
    drawing.text((WIDTH - RIGHT, y), "level (dB)", size_px=TEXT, anchor="end", role="soft")
