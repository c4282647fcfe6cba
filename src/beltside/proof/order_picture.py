"""Order spectra as a strip: orders run down, level to the right, explained lines named beside.

A strip suits a phone held upright, and names of any length stand beside their line.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import altair as alt
import numpy as np
import numpy.typing as npt

from beltside.casework.results import ExplainedLine, ListenResult, OrderSpectrum
from beltside.proof.definition import Definition, RowStore, defined
from beltside.proof.labels import LineLabel, line_labels, spread
from beltside.proof.look import (
    ACCENT,
    BODY_PX,
    INK,
    LINE_HEIGHT,
    PAPER,
    SHADE,
    SMALL_PX,
    SOFT_INK,
    TRACE,
    WIDTH_PX,
    clipped,
    text_width_px,
    title,
    wrapped,
)
from beltside.proof.wording import Said, crank_sentence

Float64 = npt.NDArray[np.float64]

MOST_LABELS: Final = 12
_SPECTRUM_POINTS: Final = 1500
_AXIS_PX: Final = 52
_PLOT_PX: Final = 220
_LEADER_PX: Final = 26
_HEIGHT_PX: Final = 620
_LABEL_PX: Final = 46
_SHORTEST_RANGE: Final = 8.0
"""Orders shown at least."""
_TICKS: Final = (0.5, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192)


def order_spectrum_chart(result: ListenResult, said: Said = str) -> Definition:
    """Order spectrum of the sound with each explained line named; `said` gives another language."""
    return _order_chart(
        result,
        result.pictures.sound,
        [line for line in result.lines if line.spectrum == "sound"],
        heading=said(f"Orders of the sound: {result.file}"),
        band_note=None,
        said=said,
    )


def envelope_order_chart(result: ListenResult, said: Said = str) -> Definition:
    """Order spectrum of the envelope with each explained line named and its band stated.

    `said` gives its words in another language.
    """
    spectrum = result.pictures.envelope
    band = spectrum.band_hz if spectrum else None
    return _order_chart(
        result,
        spectrum,
        [line for line in result.lines if line.spectrum == "envelope"],
        heading=said(f"Orders of the rhythm: {result.file}"),
        band_note=said(f"How the loudness between {_band_words(band)} rises and falls.")
        if band
        else None,
        said=said,
    )


def _band_words(band_hz: tuple[float, float]) -> str:
    low, high = band_hz
    if high < 1000:
        return f"{low:.0f} and {high:.0f} Hz"
    return f"{low / 1000:.1f} and {high / 1000:.1f} kHz"


def thinned_peaks(
    order: Float64, level_db: Float64, first: float, last: float, points: int = _SPECTRUM_POINTS
) -> tuple[Float64, Float64]:
    """Orders and levels of at most `points` points that look the same: peaks and dips are kept.

    The range `first` to `last` is cut into points/2 steps, even in the square root of order as
    the axis is; of each step the highest and the lowest value stay, at their own orders.
    """
    inside = np.flatnonzero((order >= first) & (order <= last))
    if len(inside) <= points:
        return order[inside], level_db[inside]
    steps = points // 2
    share = (np.sqrt(order[inside]) - np.sqrt(first)) / (np.sqrt(last) - np.sqrt(first))
    step = np.minimum((share * steps).astype(np.int64), steps - 1)
    by_level = np.lexsort((level_db[inside], step))
    lasts = np.flatnonzero(np.diff(step[by_level], append=-1) != 0)
    firsts = np.concatenate(([0], lasts[:-1] + 1))
    kept = np.unique(np.concatenate((by_level[firsts], by_level[lasts])))
    return order[inside][kept], level_db[inside][kept]


def _range(spectrum: OrderSpectrum, lines: Sequence[ExplainedLine]) -> tuple[float, float]:
    first = max(0.2, float(spectrum.order[0]))
    reach = max((line.order for line in lines), default=_SHORTEST_RANGE) * 1.12
    last = min(max(reach, _SHORTEST_RANGE), float(spectrum.order[-1]))
    return first, max(last, first * 1.5)


def _level_at(spectrum: OrderSpectrum, order: float) -> float:
    """Level of the highest point within 0.5 % of an order, for the dot to sit on its peak."""
    distance = np.abs(np.asarray(spectrum.order, dtype=np.float64) - order)
    near = distance <= max(0.005 * order, float(distance.min()))
    return float(np.max(np.asarray(spectrum.level_db, dtype=np.float64)[near]))


def _background_at(spectrum: OrderSpectrum, order: float) -> float:
    return float(np.interp(order, spectrum.order, spectrum.background_db))


def _order_chart(
    result: ListenResult,
    spectrum: OrderSpectrum | None,
    lines: Sequence[ExplainedLine],
    *,
    heading: str,
    band_note: str | None,
    said: Said,
) -> Definition:
    notes = [crank_sentence(result, said)]
    if result.crank is not None and band_note:
        notes.append(band_note)
    if result.crank is None or spectrum is None or len(spectrum.order) < 2:
        if result.crank is not None:
            notes.append(said("No spectrum could be made of this take."))
        else:
            notes.append(said("Without the crank speed there are no orders to show."))
        return _empty_chart(heading, notes)
    first, last = _range(spectrum, lines)
    shown = [line for line in lines if first <= line.order <= last]
    labels, left_out = line_labels(shown, MOST_LABELS)
    notes.append(said(_reading_note(labels, left_out)))
    level = np.asarray(spectrum.level_db, dtype=np.float64)
    order = np.asarray(spectrum.order, dtype=np.float64)
    background = np.asarray(spectrum.background_db, dtype=np.float64)
    curve_order, curve_level = thinned_peaks(order, level, first, last)
    in_range = (order >= first) & (order <= last)
    # The lowest dips say nothing and would squeeze the peaks: the axis starts below the
    # surroundings, not at the lowest point.
    low_db = float(np.floor((np.min(background[in_range]) - 8.0) / 5.0) * 5.0)
    high_db = float(np.ceil((np.max(level[in_range]) + 1.0) / 5.0) * 5.0)
    high_db = max(high_db, low_db + 20.0)
    per_db = _PLOT_PX / (high_db - low_db)
    right_px = WIDTH_PX - _AXIS_PX
    level_scale = alt.Scale(domain=[low_db, low_db + right_px / per_db], nice=False, zero=False)
    order_scale = alt.Scale(
        type="pow", exponent=0.5, domain=[last, first], nice=False, zero=False, clamp=True
    )
    x_axis = alt.Axis(
        values=_level_ticks(low_db, high_db),
        title=said("level (dB)"),
        titleAnchor="start",
        grid=True,
        domain=False,
        orient="bottom",
    )
    y_axis = alt.Axis(
        values=[tick for tick in _TICKS if first <= tick <= last],
        title=said("order (times per crank turn)"),
        grid=False,
        format="~g",
    )
    x = alt.X("level:Q", scale=level_scale, axis=x_axis)
    y = alt.Y("order:Q", scale=order_scale, axis=y_axis)
    curve = [
        {"order": round(float(o), 4), "level": round(float(v), 2), "floor": low_db}
        for o, v in zip(curve_order, np.maximum(curve_level, low_db), strict=True)
    ]
    grid_order = np.square(np.linspace(np.sqrt(first), np.sqrt(last), 240))
    floor = np.maximum(np.interp(grid_order, order, background), low_db)
    surroundings = [
        {"order": round(float(o), 4), "level": round(float(v), 2)}
        for o, v in zip(grid_order, floor, strict=True)
    ]
    store = RowStore()
    base = store.chart("spectrum", curve)
    layers: list[alt.Chart] = [
        base.mark_area(color=SHADE, opacity=1, orient="horizontal").encode(x=x, x2="floor:Q", y=y),
        base.mark_line(color=TRACE, strokeWidth=0.9).encode(x=x, y=y, order="order:Q"),
        store.chart("surroundings", surroundings)
        .mark_line(color=INK, strokeWidth=1.6, strokeDash=[5, 3])
        .encode(x=x, y=y, order="order:Q"),
        *_label_layers(store, spectrum, labels, shown, (first, last), low_db, per_db, x, y, said),
    ]
    chart = alt.layer(*layers).properties(
        width=right_px, height=_HEIGHT_PX, title=alt.TitleParams(**title(heading, notes))
    )
    return defined(chart, store)


def _reading_note(labels: Sequence[LineLabel], left_out: Sequence[LineLabel]) -> str:
    if not labels:
        return (
            "No line stands out that a shaft or bearing of this drive explains. "
            "Dashed: the surroundings."
        )
    said = "Dots: lines that a part explains. Dashed: the surroundings of each."
    if not left_out:
        return said
    verb = "one is" if len(left_out) == 1 else "ones are"
    return f"{said} {len(left_out)} weaker {verb} not named."


def _level_ticks(low_db: float, high_db: float) -> list[float]:
    step = 10.0 if high_db - low_db <= 45.0 else 20.0
    first = np.ceil(low_db / step) * step
    return [float(tick) for tick in np.arange(first, high_db + 0.1, step)]


def _label_layers(
    store: RowStore,
    spectrum: OrderSpectrum,
    labels: Sequence[LineLabel],
    lines: Sequence[ExplainedLine],
    orders: tuple[float, float],
    low_db: float,
    per_db: float,
    x: alt.X,
    y: alt.Y,
    said: Said,
) -> list[alt.Chart]:
    """Dots on all lines, a bent leader and two rows of text for each label."""
    if not lines:
        return []
    root_first, root_last = np.sqrt(orders[0]), np.sqrt(orders[1])
    per_root = _HEIGHT_PX / (root_last - root_first)

    def place_px(order: float) -> float:
        return float((np.sqrt(order) - root_first) * per_root)

    def order_at(at_px: float) -> float:
        return float((at_px / per_root + root_first) ** 2)

    def level_at_px(at_px: float) -> float:
        return low_db + at_px / per_db

    dots = [
        {
            "order": line.order,
            "level": _level_at(spectrum, line.order),
            "foot": max(low_db, _background_at(spectrum, line.order)),
        }
        for line in lines
    ]
    wanted = [place_px(label.strongest.order) for label in labels]
    places = spread(wanted, [_LABEL_PX] * len(labels), 0.0, float(_HEIGHT_PX))
    text_px = _PLOT_PX + _LEADER_PX + 6
    room_px = WIDTH_PX - _AXIS_PX - text_px
    leaders: list[dict[str, Any]] = []
    names: list[dict[str, Any]] = []
    strengths: list[dict[str, Any]] = []
    details: list[dict[str, Any]] = []
    for number, (label, at_px) in enumerate(zip(labels, places, strict=True)):
        order = label.strongest.order
        path = [
            (_level_at(spectrum, order), order),
            (level_at_px(_PLOT_PX + 2), order),
            (level_at_px(_PLOT_PX + _LEADER_PX), order_at(at_px)),
        ]
        leaders += [
            {"label": number, "step": step, "level": level, "order": at}
            for step, (level, at) in enumerate(path)
        ]
        name_room_px = room_px - 84
        place = {"level": level_at_px(text_px)}
        names.append(
            {
                **place,
                "order": order_at(max(at_px - 10, 0.0)),
                "text": clipped(said(label.part), BODY_PX, name_room_px, bold=True),
            }
        )
        strengths.append(
            {
                "level": level_at_px(text_px + room_px),
                "order": order_at(max(at_px - 10, 0.0)),
                "text": said(f"{label.strongest.excess_db:.1f} dB up"),
            }
        )
        details.append(
            {
                **place,
                "order": order_at(min(at_px + 9, _HEIGHT_PX)),
                "text": _detail_words(label, room_px, said),
            }
        )
    return [
        store.chart("leaders", leaders)
        .mark_line(color=ACCENT, strokeWidth=1.4)
        .encode(x=x, y=y, detail="label:N", order="step:O"),
        store.chart("dots", dots)
        .mark_rule(color=ACCENT, strokeWidth=2.4)
        .encode(x=x, x2="foot:Q", y=y),
        store.chart("dots", dots)
        .mark_point(color=ACCENT, filled=True, size=60, opacity=1, stroke=PAPER, strokeWidth=1)
        .encode(x=x, y=y),
        store.chart("names", names)
        .mark_text(align="left", baseline="middle", color=INK, fontSize=BODY_PX, fontWeight="bold")
        .encode(x=x, y=y, text="text:N"),
        store.chart("strengths", strengths)
        .mark_text(align="right", baseline="middle", color=ACCENT, fontSize=SMALL_PX)
        .encode(x=x, y=y, text="text:N"),
        store.chart("details", details)
        .mark_text(align="left", baseline="middle", color=SOFT_INK, fontSize=SMALL_PX)
        .encode(x=x, y=y, text="text:N"),
    ]


def _detail_words(label: LineLabel, room_px: float, said: Said) -> str:
    """Orders in full, the source cut when both do not fit."""
    orders = said(label.orders)
    source_room_px = room_px - text_width_px(f", {orders}", SMALL_PX)
    return f"{clipped(said(label.source), SMALL_PX, source_room_px)}, {orders}"


def _empty_chart(heading: str, notes: Sequence[str]) -> Definition:
    """A page with the heading and its reasons alone."""
    rows = [row for note in notes for row in wrapped(note, BODY_PX, WIDTH_PX)]
    height_px = round(len(rows) * BODY_PX * LINE_HEIGHT)
    store = RowStore()
    chart = (
        store.chart("notes", [{"text": row, "row": n} for n, row in enumerate(rows)])
        .mark_text(align="left", baseline="top", color=INK, fontSize=BODY_PX)
        .encode(
            x=alt.value(0),
            y=alt.Y(
                "row:Q", axis=None, scale=alt.Scale(domain=[0, len(rows)], range=[0, height_px])
            ),
            text="text:N",
        )
        .properties(width=WIDTH_PX, height=height_px, title=alt.TitleParams(**title(heading, [])))
    )
    return defined(chart, store)
