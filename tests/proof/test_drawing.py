"""Drawings: well-formed SVG whatever is written on them, readable in light and in dark."""

from __future__ import annotations

import io
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from beltside.proof.definition import to_png
from beltside.proof.drawing import DARK, LIGHT, Drawing


def _luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.1, definition of relative luminance)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("theme", [LIGHT, DARK])
@pytest.mark.parametrize("role", ["ink", "soft", "accent"])
def test_text_contrast(theme: dict[str, str], role: str) -> None:
    """WCAG 2.1, success criterion 1.4.3: 4.5:1 for text."""
    high, low = sorted((_luminance(theme[role]), _luminance(theme["paper"])), reverse=True)
    assert (high + 0.05) / (low + 0.05) >= 4.5


@given(st.text(max_size=40))
def test_any_words_stay_well_formed(words: str) -> None:
    drawing = Drawing(200, 100, words, words)
    drawing.text((10, 20), words)
    ElementTree.fromstring(drawing.svg())


def test_shapes_are_drawn_where_said() -> None:
    drawing = Drawing(100, 60, "t", "d")
    drawing.circle((30, 30), 10, stroke=None, fill="accent")
    drawing.box((60, 20), 20, 20, stroke=None, fill="ink")
    drawing.line([(0, 55), (100, 55)], stroke="soft", width_px=4)
    picture = Image.open(io.BytesIO(to_png(drawing.svg()))).convert("RGB")
    scale = picture.width / 100

    def at(x: float, y: float) -> str:
        return "#{:02x}{:02x}{:02x}".format(*picture.getpixel((int(x * scale), int(y * scale))))

    assert at(30, 30) == LIGHT["accent"]
    assert at(70, 30) == LIGHT["ink"]
    assert at(50, 55) == LIGHT["soft"]
    assert at(50, 10) == LIGHT["paper"]
