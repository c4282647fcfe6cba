"""Before and after in one picture: third-octave bands, and the orders of the crank.

Both at the first take's gain. Before is drawn grey, after in the accent colour; the words beside
each band say the same, so that nothing hangs on colour.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import BeltsideError
from beltside.proof.compare_words import answer, band_sentence, hertz_words, loudness_sentence
from beltside.proof.definition import to_png
from beltside.proof.drawing import Drawing
from beltside.proof.labels import spread
from beltside.proof.look import (
    BODY_PX,
    LINE_HEIGHT,
    PADDING_PX,
    SMALL_PX,
    TITLE_PX,
    WIDTH_PX,
    clipped,
    wrapped,
)
from beltside.proof.wording import order_words, part_words

if TYPE_CHECKING:
    from beltside.casework.compare_results import CompareResult, LineChange, Range

Float64 = npt.NDArray[np.float64]

_ROW_PX: Final = 24
_LEFT_PX: Final = 74
_RIGHT_PX: Final = 150
_PLOT_PX: Final = WIDTH_PX - _LEFT_PX - _RIGHT_PX
_ORDER_PX: Final = 560
_LABEL_PX: Final = 40
_MOST_LABELS: Final = 12
_SHOWN_DB: Final = 70.0
_TICKS: Final = (0.5, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32)


def bands_picture(result: CompareResult) -> Drawing:
    """Third-octave levels before and after, with how much quieter each band is."""
    heading = _heading(
        "Third-octave bands, before and after",
        [
            answer(result),
            *filter(None, [band_sentence(result), loudness_sentence(result)]),
            "Grey bar: before. Line with dot: after, at the same gain and crank speed (dB).",
        ],
    )
    bands = [band for band in result.bands if band.drawn_after_db is not None]
    height = heading[1] + _ROW_PX * max(len(bands), 1) + 46.0
    drawing = Drawing(WIDTH_PX + 2 * PADDING_PX, height, heading[0][0][0], answer(result))
    _draw_heading(drawing, heading[0])
    if not bands:
        drawing.text((PADDING_PX, heading[1] + 16), "Nothing to show.", size_px=BODY_PX)
        return drawing
    levels = [level for band in bands for level in (band.before_db, band.drawn_after_db or 0.0)]
    top = float(np.ceil(max(levels) / 10.0) * 10.0)
    low = max(float(np.floor((min(levels) - 3.0) / 10.0) * 10.0), top - _SHOWN_DB)
    left = PADDING_PX + _LEFT_PX

    def across(level_db: float) -> float:
        share = (min(max(level_db, low), top) - low) / (top - low)
        return left + share * _PLOT_PX

    foot = heading[1] + _ROW_PX * len(bands)
    for tick in np.arange(low, top + 0.1, 20.0 if top - low > 50.0 else 10.0):
        drawing.line(
            [(across(tick), heading[1]), (across(tick), foot)], stroke="trace", width_px=0.5
        )
        drawing.text((across(tick), foot + 18), f"{tick:.0f}", anchor="middle", role="soft")
    drawing.text((left, foot + 36), "level (dB of full scale)", role="soft")
    for number, band in enumerate(bands):
        middle = heading[1] + _ROW_PX * (number + 0.5)
        drawing.text((left - 8, middle + 5), hertz_words(band.nominal_hz), anchor="end")
        drawing.box(
            (left, middle - 7), max(across(band.before_db) - left, 0.5), 14,
            stroke=None, fill="trace",
        )  # fmt: skip
        end = across(band.drawn_after_db or low)
        drawing.line([(left, middle), (end, middle)], stroke="accent", width_px=3.0)
        drawing.circle((end, middle), 4.0, stroke="paper", fill="accent", width_px=1.0)
        drawing.text(
            (WIDTH_PX + PADDING_PX, middle + 5), short_change(band.quieter_db), anchor="end"
        )
    return drawing


def short_change(change: Range) -> str:
    """A change in as few letters as can be.

    >>> from beltside.casework.compare_results import Range
    >>> short_change(Range(6.1, 4.9, 7.3)), short_change(Range(0.2, -0.9, 1.3))
    ('6.1 dB quieter', 'no sure change')
    >>> short_change(Range(-3.0, -4.0, -2.0)), short_change(Range(12.0, 9.0, None))
    ('3.0 dB louder', '9.0 dB quieter +')
    """
    if change.value is None or (change.low is None and change.high is None):
        return "can't be told"
    if change.high is None:
        sure = change.low is not None and change.low > 0.0
        return f"{change.low:.1f} dB quieter +" if sure else "can't be told"
    if change.low is None:
        return f"{-change.high:.1f} dB louder +" if change.high < 0.0 else "can't be told"
    if change.low > 0.0:
        return f"{change.value:.1f} dB quieter"
    if change.high < 0.0:
        return f"{-change.value:.1f} dB louder"
    return "no sure change"


def orders_picture(result: CompareResult) -> Drawing:
    """Order spectra before and after, explained lines named."""
    before, after = result.pictures.before, result.pictures.after
    lines = [line for line in result.orders if line.spectrum == "sound"]
    if before is not None:
        lines = [line for line in lines if line.order < float(before.order[-1])]
    named = " Named: lines a part explains." if lines else ""
    heading = _heading(
        "Orders of the crank, before and after",
        [answer(result), f"Thick: before. Thin: after, at the same gain.{named}"],
    )
    height = heading[1] + _ORDER_PX + 46.0
    drawing = Drawing(WIDTH_PX + 2 * PADDING_PX, height, heading[0][0][0], answer(result))
    _draw_heading(drawing, heading[0])
    if before is None or after is None:
        drawing.text((PADDING_PX, heading[1] + 16), "Nothing to show.", size_px=BODY_PX)
        return drawing
    reach = max([16.0, *(1.1 * line.order for line in lines)])
    last = min(reach, float(before.order[-1]), float(after.order[-1]))
    first = 0.4
    top = float(np.ceil(max(_highest(before, last), _highest(after, last)) / 10.0) * 10.0)
    floor = float(np.median(np.asarray(after.background_db)[np.asarray(after.order) <= last]))
    low = max(float(np.floor((floor - 12.0) / 10.0) * 10.0), top - _SHOWN_DB - 20.0)
    left = PADDING_PX + 44.0
    plot = _PLOT_PX - 20.0 if lines else WIDTH_PX - 60.0

    def down(order: float) -> float:
        share = (np.sqrt(order) - np.sqrt(first)) / (np.sqrt(last) - np.sqrt(first))
        return heading[1] + float(share) * _ORDER_PX

    def across(level_db: float) -> float:
        return left + (min(max(level_db, low), top) - low) / (top - low) * plot

    foot = heading[1] + _ORDER_PX
    for tick in np.arange(low, top + 0.1, 20.0):
        drawing.line([(across(tick), heading[1]), (across(tick), foot)], stroke="trace",
                     width_px=0.5)  # fmt: skip
        drawing.text((across(tick), foot + 18), f"{tick:.0f}", anchor="middle", role="soft")
    drawing.text((left, foot + 36), "level (dB of full scale)", role="soft")
    for order in (tick for tick in _TICKS if first <= tick <= last):
        drawing.text((left - 8, down(order) + 5), f"{order:g}", anchor="end")
    for spectrum, role, wide in ((before, "trace", 2.4), (after, "accent", 1.2)):
        points = _thinned(
            np.asarray(spectrum.order, dtype=np.float64),
            np.asarray(spectrum.level_db, dtype=np.float64), first, last,
        )  # fmt: skip
        drawing.line(
            [(across(level), down(order)) for order, level in points],
            stroke="trace" if role == "trace" else "accent", width_px=wide,
        )  # fmt: skip
    _name_lines(drawing, lines, down, (heading[1], foot), left + plot)
    return drawing


def _name_lines(
    drawing: Drawing,
    lines: list[LineChange],
    down: object,
    rows: tuple[float, float],
    right: float,
) -> None:
    assert callable(down)
    named = sorted(lines, key=lambda line: -line.significance)[:_MOST_LABELS]
    named.sort(key=lambda line: line.order)
    wanted = [float(down(line.order)) for line in named]
    places = spread(wanted, [_LABEL_PX] * len(named), *rows)
    for line, at, place in zip(named, wanted, places, strict=True):
        drawing.line([(right - 14, at), (right + 4, at), (right + 18, place)], width_px=1.0)
        room = WIDTH_PX + PADDING_PX - right - 24
        name = f"{part_words(line.part)}, {order_words(line.order)}"
        drawing.text((right + 24, place - 2), clipped(name, SMALL_PX, room), bold=True)
        words = "gone" if line.gone else short_change(line.quieter_db)
        drawing.text((right + 24, place + 14), clipped(words, SMALL_PX, room), role="soft")


def _highest(spectrum: object, last: float) -> float:
    order = np.asarray(spectrum.order)  # type: ignore[attr-defined]
    level = np.asarray(spectrum.level_db)  # type: ignore[attr-defined]
    return float(np.max(level[(order >= 0.4) & (order <= last)]))


def _thinned(
    order: Float64, level_db: Float64, first: float, last: float, steps: int = 560
) -> list[tuple[float, float]]:
    """Highest point of each of `steps` steps, even in the square root of order."""
    inside = (order >= first) & (order <= last)
    order, level_db = order[inside], level_db[inside]
    share = (np.sqrt(order) - np.sqrt(first)) / (np.sqrt(last) - np.sqrt(first))
    step = np.minimum((share * steps).astype(np.intp), steps - 1)
    by_level = np.lexsort((level_db, step))
    lasts = by_level[np.flatnonzero(np.diff(step[by_level], append=-1) != 0)]
    return [(float(order[k]), float(level_db[k])) for k in np.sort(lasts)]


def _heading(title: str, notes: list[str]) -> tuple[list[tuple[str, float, bool]], float]:
    """Rows of the heading (text, size, bold) and where the picture begins [px]."""
    rows = [(row, float(TITLE_PX), True) for row in wrapped(title, TITLE_PX, WIDTH_PX, bold=True)]
    rows += [
        (row, float(BODY_PX), False) for note in notes for row in wrapped(note, BODY_PX, WIDTH_PX)
    ]
    return rows, PADDING_PX + sum(size * LINE_HEIGHT for _, size, _ in rows) + 14.0


def _draw_heading(drawing: Drawing, rows: list[tuple[str, float, bool]]) -> None:
    down = float(PADDING_PX)
    for text, size, bold in rows:
        drawing.text((PADDING_PX, down + size), text, size_px=size, bold=bold,
                     role="ink" if bold else "soft")  # fmt: skip
        down += size * LINE_HEIGHT


def save_compare_pictures(result: CompareResult, folder: Path) -> list[Path]:
    """Write `compare-bands` and `compare-orders` into `folder` as PNG and SVG.

    Gives the PNG files; none when the takes are not comparable.

    Raises
    ------
    BeltsideError
        When the folder can't be made or written into.
    """
    if not result.comparable:
        return []
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, drawing in (
            ("compare-bands", bands_picture(result)),
            ("compare-orders", orders_picture(result)),
        ):
            svg = drawing.svg()
            (folder / f"{name}.svg").write_text(svg, encoding="utf-8")
            picture = folder / f"{name}.png"
            picture.write_bytes(to_png(svg))
            written.append(picture)
    except OSError as error:
        raise BeltsideError(
            f"the pictures can't be written into {folder}: {error.strerror or error}",
            instead="another folder, one you may write into",
        ) from error
    return written
