"""Spectrogram as one image, the crank's orders drawn over it, its speed beneath."""

from __future__ import annotations

import base64
import io
from typing import Any, Final

import altair as alt
import numpy as np
import numpy.typing as npt
from PIL import Image

from beltside.casework.results import Crank, ListenResult, Spectrogram
from beltside.proof.definition import Definition, RowStore, defined
from beltside.proof.look import (
    ACCENT,
    BODY_PX,
    INK,
    LINE_HEIGHT,
    PAPER,
    SMALL_PX,
    WIDTH_PX,
    title,
    wrapped,
)
from beltside.proof.wording import Said, crank_sentence, order_words

Float64 = npt.NDArray[np.float64]

_AXIS_PX: Final = 72
_PLOT_PX: Final = WIDTH_PX - _AXIS_PX
_IMAGE_HEIGHT_PX: Final = 330
_SPEED_HEIGHT_PX: Final = 130
_LOWEST_HZ: Final = 8.0
_HIGHEST_HZ: Final = 16_000.0
_GREYS: Final = 24
"""Steps from paper to ink: more can't be told apart in sunlight and make the file larger."""
_QUIET_PERCENT: Final = 30.0
_LOUD_PERCENT: Final = 99.7
_DEEPEST_DB: Final = 150.0
_FREQUENCY_TICKS: Final = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000)
_NARROWEST_SPEED: Final = 0.12
"""The speed axis spans at least this share of the median, so that idle looks as steady as it is."""


def spectrogram_chart(result: ListenResult, said: Said = str) -> Definition:
    """Level over time and frequency, with crank speed as first and firing order over it.

    The picture says in words when there is no crank speed, and why. `said` gives its words in
    another language.
    """
    spectrogram = result.pictures.spectrogram
    store = RowStore()
    duration_s = _duration_s(result)
    panels: list[Any] = []
    notes = [crank_sentence(result, said)]
    if spectrogram is not None and spectrogram.level_db.size:
        panels.append(_image_panel(store, result, spectrogram, duration_s, said))
        notes.append(said("Dark: louder than the sound around that pitch usually is."))
    else:
        notes.append(said("No spectrogram could be made of this take."))
    if result.crank is not None and len(result.crank.track) > 1:
        panels.append(_speed_panel(store, result.crank, duration_s, said))
    if not panels:
        panels.append(_words_panel(store, said("Nothing to draw.")))
    chart = alt.vconcat(*panels).properties(
        title=alt.TitleParams(**title(said(f"What was heard: {result.file}"), notes))
    )
    return defined(chart, store)


def _duration_s(result: ListenResult) -> float:
    ends = [result.duration_s]
    if result.pictures.spectrogram is not None and len(result.pictures.spectrogram.time_s):
        ends.append(float(result.pictures.spectrogram.time_s[-1]))
    if result.crank is not None and result.crank.track:
        ends.append(result.crank.track[-1][0])
    return max(*ends, 0.1)


def image_greys(
    spectrogram: Spectrogram, low_hz: float, high_hz: float, duration_s: float
) -> npt.NDArray[np.uint8]:
    """Grey steps of the picture, shape (height, width), row 0 on top; 0 is quiet.

    Rows are bands of equal relative width from `high_hz` down to `low_hz`, as third-octave
    bands are; a pixel holds the power of its band, averaged over its time.
    """
    level = np.asarray(spectrogram.level_db, dtype=np.float64)
    power = np.power(10.0, np.where(np.isfinite(level), level, -200.0) / 10.0)
    edges_hz = np.geomspace(low_hz, high_hz, _IMAGE_HEIGHT_PX + 1)
    bands = _sums(power, np.asarray(spectrogram.frequency_hz, dtype=np.float64), edges_hz)
    edges_s = np.linspace(0.0, duration_s, _PLOT_PX + 1)
    pixels = _sums(bands.T, np.asarray(spectrogram.time_s, dtype=np.float64), edges_s).T
    pixels_db = 10.0 * np.log10(np.maximum(pixels[::-1], 1e-30))
    heard = np.median(pixels_db, axis=1) > pixels_db.max() - _DEEPEST_DB
    if heard.any():
        pixels_db -= _usual_db(pixels_db, heard)[:, None]
    shown = pixels_db[heard] if heard.any() else pixels_db
    quiet, loud = np.percentile(shown, [_QUIET_PERCENT, _LOUD_PERCENT])
    share = np.clip((pixels_db - quiet) / max(float(loud - quiet), 1.0), 0.0, 1.0)
    greys: npt.NDArray[np.uint8] = np.rint(share * (_GREYS - 1)).astype(np.uint8)
    return greys


def _usual_db(pixels_db: Float64, heard: npt.NDArray[np.bool_]) -> Float64:
    """What is usual at each row's frequency: the rows' medians, smoothed over their neighbours.

    Engine noise falls by tens of decibels from low to high; without this the picture would
    show that fall and little else. Rows outside the recording (not `heard`) take the value of
    the nearest one inside.
    """
    rows = np.arange(heard.size)
    medians = np.interp(rows, rows[heard], np.median(pixels_db[heard], axis=1))
    reach = max(medians.size // 8, 1)
    padded = np.pad(medians, reach, mode="reflect", reflect_type="odd")
    window = np.hanning(2 * reach + 3)[1:-1]
    smooth: Float64 = np.convolve(padded, window / window.sum(), mode="valid")
    return smooth


def _sums(values: Float64, at: Float64, edges: Float64) -> Float64:
    """What of `values` (n, m), cells centred `at` (n,), lies between `edges` (k + 1,): (k, m).

    A cell reaches half-way to its neighbours and is spread evenly over its width.
    """
    if len(at) == 1:
        return np.repeat(values, len(edges) - 1, axis=0)
    between = 0.5 * (at[1:] + at[:-1])
    borders = np.concatenate(([2 * at[0] - between[0]], between, [2 * at[-1] - between[-1]]))
    total = np.concatenate((np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)))
    place = np.interp(edges, borders, np.arange(len(borders), dtype=np.float64))
    below = np.minimum(place.astype(np.int64), len(at) - 1)
    share = (place - below)[:, None]
    at_edges: Float64 = total[below] * (1.0 - share) + total[below + 1] * share
    return np.diff(at_edges, axis=0)


def png_data_uri(greys: npt.NDArray[np.uint8]) -> str:
    """Grey steps as a PNG from paper to ink in a data URI."""
    image = Image.frombytes("P", (greys.shape[1], greys.shape[0]), greys.tobytes())
    paper, ink = _rgb(PAPER), _rgb(INK)
    palette: list[int] = []
    for step in range(_GREYS):
        share = step / (_GREYS - 1)
        palette += [round(p + (i - p) * share) for p, i in zip(paper, ink, strict=True)]
    image.putpalette(palette)
    buffer = io.BytesIO()
    image.save(buffer, format="PNG", optimize=True)
    return "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _time_axis(said: Said, *, shown: bool) -> alt.Axis:
    return alt.Axis(
        title=said("time (s)") if shown else None,
        labels=shown,
        grid=False,
        tickCount=6,
        format="~g",
    )


def _image_panel(
    store: RowStore,
    result: ListenResult,
    spectrogram: Spectrogram,
    duration_s: float,
    said: Said,
) -> Any:
    high_hz = min(float(spectrogram.frequency_hz[-1]), _HIGHEST_HZ)
    low_hz = min(_LOWEST_HZ, high_hz / 4.0)
    uri = png_data_uri(image_greys(spectrogram, low_hz, high_hz, duration_s))
    time_scale = alt.Scale(domain=[0.0, duration_s], nice=False)
    x = alt.X("t:Q", scale=time_scale, axis=_time_axis(said, shown=result.crank is None))
    y = alt.Y(
        "f:Q",
        scale=alt.Scale(type="log", domain=[low_hz, high_hz], nice=False),
        axis=alt.Axis(
            title=said("frequency (Hz)"),
            grid=False,
            values=[tick for tick in _FREQUENCY_TICKS if low_hz <= tick <= high_hz],
            format=",d",
            minExtent=_AXIS_PX - 26,
        ),
    )
    middle = {"t": duration_s / 2.0, "f": float(np.sqrt(low_hz * high_hz)), "image": uri}
    layers: list[alt.Chart] = [
        store.chart("spectrogram", [middle])
        .mark_image(width=_PLOT_PX, height=_IMAGE_HEIGHT_PX, aspect=False)
        .encode(x=x, y=y, url="image:N")
    ]
    crank = result.crank
    if crank is not None and crank.track:
        layers += _order_curves(
            store, crank, result.pictures.firing_order, duration_s, (low_hz, high_hz), x, y, said
        )
    return alt.layer(*layers).properties(width=_PLOT_PX, height=_IMAGE_HEIGHT_PX)


def _order_curves(
    store: RowStore,
    crank: Crank,
    firing_order: float | None,
    duration_s: float,
    band_hz: tuple[float, float],
    x: alt.X,
    y: alt.Y,
    said: Said,
) -> list[alt.Chart]:
    """First and firing order over time with a paper-coloured rim, named at their start."""
    orders = {1.0: said("crank turns")}
    if firing_order is not None and firing_order > 1.0:
        orders[firing_order] = said(f"firing, order {order_words(firing_order)}")
    curves: list[dict[str, Any]] = []
    names: list[dict[str, Any]] = []
    for order, name in orders.items():
        points = [(t_s, rpm * order / 60.0) for t_s, rpm in crank.track]
        curves += [
            {"t": round(t_s, 3), "f": round(f_hz, 3), "name": name}
            for t_s, f_hz in points
            if band_hz[0] <= f_hz <= band_hz[1] and 0.0 <= t_s <= duration_s
        ]
        names.append({"t": points[0][0], "f": points[0][1], "name": name, "above": order != 1.0})
    layers: list[alt.Chart] = []
    for colour, width in ((PAPER, 6.0), (ACCENT, 2.6)):
        layers.append(
            store.chart("orders", curves)
            .mark_line(color=colour, strokeWidth=width, strokeJoin="round")
            .encode(x=x, y=y, detail="name:N")
        )
    for above in (True, False):
        rows = [row for row in names if row["above"] is above]
        for halo in (True, False):
            layers.append(
                store.chart(f"order names {'above' if above else 'below'}", rows)
                .mark_text(
                    align="left",
                    baseline="bottom" if above else "top",
                    dx=8,
                    dy=-7 if above else 7,
                    fontSize=SMALL_PX,
                    fontWeight="bold",
                    color=PAPER if halo else INK,
                    stroke=PAPER if halo else None,
                    strokeWidth=5 if halo else 0,
                )
                .encode(x=x, y=y, text="name:N")
            )
    return layers


def _speed_panel(store: RowStore, crank: Crank, duration_s: float, said: Said) -> Any:
    half_span = 0.5 * max(
        crank.fastest_rpm - crank.slowest_rpm, _NARROWEST_SPEED * crank.rpm_median
    )
    middle = 0.5 * (crank.fastest_rpm + crank.slowest_rpm)
    domain = [max(0.0, middle - 1.15 * half_span), middle + 1.15 * half_span]
    x = alt.X(
        "t:Q",
        scale=alt.Scale(domain=[0.0, duration_s], nice=False),
        axis=_time_axis(said, shown=True),
    )
    y = alt.Y(
        "rpm:Q",
        scale=alt.Scale(domain=domain, nice=False, zero=False),
        axis=alt.Axis(
            title=said("crank (rpm)"),
            tickCount=4,
            format=",d",
            grid=True,
            minExtent=_AXIS_PX - 26,
        ),
    )
    track = [{"t": round(t_s, 3), "rpm": round(rpm, 1)} for t_s, rpm in crank.track]
    line = store.chart("crank speed", track).mark_line(color=ACCENT, strokeWidth=2.6)
    return alt.layer(line.encode(x=x, y=y)).properties(width=_PLOT_PX, height=_SPEED_HEIGHT_PX)


def _words_panel(store: RowStore, text: str) -> Any:
    rows = [{"text": row, "row": n} for n, row in enumerate(wrapped(text, BODY_PX, WIDTH_PX))]
    height_px = round(len(rows) * BODY_PX * LINE_HEIGHT)
    return (
        store.chart("words", rows)
        .mark_text(align="left", baseline="top", color=INK, fontSize=BODY_PX)
        .encode(
            x=alt.value(0),
            y=alt.Y(
                "row:Q", axis=None, scale=alt.Scale(domain=[0, len(rows)], range=[0, height_px])
            ),
            text="text:N",
        )
        .properties(width=WIDTH_PX, height=height_px)
    )
