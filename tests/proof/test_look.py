"""The look: contrast by a standard, and text that takes the width it is given."""

from __future__ import annotations

import io

import numpy as np
import pytest
import vl_convert
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from beltside.proof import look

SAMPLES = [
    "coolant pump",
    "Most likely: coolant pump bearing, 8 in 10 (78 %).",
    "AC compressor",
    "orders 4.02, 8.04, 12.1",
    "WWWWMMMM @@ %%%",
    "illicit jilting, filled till (3).m4a",
]


def _relative_luminance(colour: str) -> float:
    """WCAG 2.1, definition of relative luminance."""
    channels = [int(colour[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("colour", [look.INK, look.SOFT_INK, look.ACCENT])
def test_text_colours_stand_out_from_the_paper(colour: str) -> None:
    # WCAG 2.1 success criterion 1.4.3: at least 4.5 to 1.
    dark, light = sorted((_relative_luminance(colour), _relative_luminance(look.PAPER)))
    assert (light + 0.05) / (dark + 0.05) >= 4.5


def _rendered_width_px(text: str, size_px: int, weight: str) -> float:
    scale = 2.0
    escaped = text.replace("&", "&amp;").replace("<", "&lt;")
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="900" height="60">'
        '<rect width="900" height="60" fill="white"/>'
        f'<text x="10" y="40" font-family="{look.FONT}" font-size="{size_px}px" '
        f'font-weight="{weight}">{escaped}</text></svg>'
    )
    with Image.open(io.BytesIO(vl_convert.svg_to_png(svg, scale=scale))) as image:
        dark = np.asarray(image.convert("L")) < 128
    columns = np.flatnonzero(dark.any(axis=0))
    return float(columns[-1] - columns[0] + 1) / scale


@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("text", SAMPLES)
def test_text_width_keeps_what_the_rendered_text_takes(text: str, bold: bool) -> None:
    rendered = _rendered_width_px(text, 16, "bold" if bold else "normal")
    kept = look.text_width_px(text, 16, bold=bold)
    assert rendered <= kept <= 1.25 * rendered


@settings(max_examples=100)
@given(st.text(max_size=200), st.floats(min_value=60.0, max_value=600.0))
def test_wrapped_rows_fit_their_width(text: str, width_px: float) -> None:
    for row in look.wrapped(text, 16.0, width_px, most_lines=4):
        assert look.text_width_px(row, 16.0) <= width_px


@settings(max_examples=100)
@given(st.lists(st.text("abcdefgh", min_size=1, max_size=8), max_size=30))
def test_wrapping_loses_no_word_when_there_are_rows_enough(words: list[str]) -> None:
    rows = look.wrapped(" ".join(words), 16.0, 200.0, most_lines=40)
    assert " ".join(rows).split() == words


def test_what_moves_the_cursor_never_reaches_a_picture() -> None:
    assert look.wrapped("belt\x1b[2J \ud800on", 16.0, 400.0) == ["belt?[2J ?on"]
