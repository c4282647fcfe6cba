"""From an altair chart and its rows to one Vega-Lite definition, and from that to SVG and PNG.

The rows are kept beside the chart while it is built and put in at the end: altair checks the
definition against the Vega-Lite schema, and going through thousands of rows would take seconds.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt
import vl_convert
from PIL import Image

from beltside.proof.look import PNG_SCALE, config

Definition = dict[str, Any]
"""A Vega-Lite 6 definition with its data, ready for a page, SVG or PNG."""

Rows = Sequence[Mapping[str, Any]]


class RowStore:
    """The rows of one chart under their names."""

    def __init__(self) -> None:
        self.rows: dict[str, list[dict[str, Any]]] = {}

    def chart(self, name: str, rows: Rows) -> alt.Chart:
        """A chart, still without a mark, that draws `rows`."""
        self.rows[name] = [dict(row) for row in rows]
        return alt.Chart(alt.NamedData(name=name))


def defined(chart: Any, store: RowStore) -> Definition:
    """The finished definition of `chart`, checked against the Vega-Lite schema."""
    definition: Definition = chart.configure(**config()).to_dict()
    definition["datasets"] = store.rows
    return definition


def to_svg(definition: Definition, *, decimal: str = ".", thousands: str = ",") -> str:
    """The chart as SVG text; nothing is fetched from anywhere.

    `decimal` stands before the decimals of its figures, `thousands` between thousands.
    """
    figures = {"decimal": decimal, "thousands": thousands, "grouping": [3], "currency": ["", ""]}
    svg: str = vl_convert.vegalite_to_svg(definition, allowed_base_urls=[], format_locale=figures)
    return svg


def to_png(svg: str) -> bytes:
    """An SVG of `to_svg` as PNG, some 1100 px wide, in 64 colours to keep the file small."""
    full = vl_convert.svg_to_png(svg, scale=PNG_SCALE)
    with Image.open(io.BytesIO(full)) as image:
        few = image.convert("RGB").quantize(
            64, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
        )
    buffer = io.BytesIO()
    few.save(buffer, format="PNG")
    return buffer.getvalue()
