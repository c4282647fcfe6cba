"""How every chart looks: paper, ink, one accent, text to be read on a phone in sunlight."""

from __future__ import annotations

from typing import Any, Final

from beltside.proof.wording import printable

PAPER: Final = "#faf8f2"
INK: Final = "#1c1b19"
SOFT_INK: Final = "#4f4b45"
TRACE: Final = "#8b8478"
SHADE: Final = "#cfc9bb"
HAIRLINE: Final = "#e2ddd0"
ACCENT: Final = "#a83a0c"
"""Contrast with the paper 6.3:1 (WCAG 2.1 asks for 4.5:1)."""

FONT: Final = "sans-serif"
TITLE_PX: Final = 21
BODY_PX: Final = 16
SMALL_PX: Final = 14
LINE_HEIGHT: Final = 1.3
"""Line pitch over text size."""

WIDTH_PX: Final = 560
"""Drawing width before scaling; PNG files are `PNG_SCALE` times as large."""
PADDING_PX: Final = 16
PNG_SCALE: Final = 1.9

# Advance widths of the Helvetica regular face in thousandths of the text size, from the
# Adobe Core 14 font metrics; checked against rendered text in tests/proof/test_look.py.
_ADVANCE: Final[dict[str, int]] = {
    **dict.fromkeys("ijl", 222),
    "'": 191,
    **dict.fromkeys(" !,./:;I[]\\ft|", 278),
    **dict.fromkeys("-()r`{}", 333),
    '"': 355,
    "*": 389,
    **dict.fromkeys("Jckszvxy", 500),
    **dict.fromkeys("0123456789abdeghnopqu?L#$_", 556),
    **dict.fromkeys("+<=>~", 584),
    **dict.fromkeys("FTZ", 611),
    **dict.fromkeys("ABEKPSVXY&", 667),
    **dict.fromkeys("CDHNRUw", 722),
    **dict.fromkeys("GOQ", 778),
    **dict.fromkeys("mM", 833),
    "%": 889,
    "W": 944,
    "@": 1015,
}
_UNKNOWN_ADVANCE: Final = 700
_WIDE_ADVANCE: Final = 1050
_WIDE_FROM: Final = 0x1100
"""From this code point on letters may be as wide as they are high (Hangul, Han, emoji)."""
_BOLD_FACTOR: Final = 1.09
_OTHER_FACE_FACTOR: Final = 1.04
"""Reserve for viewers that show an SVG in another sans-serif face."""


def text_width_px(text: str, size_px: float, *, bold: bool = False) -> float:
    """Width to keep free for `text` [px]: never less than it takes, a little more."""
    total = sum(
        _ADVANCE.get(letter, _WIDE_ADVANCE if ord(letter) >= _WIDE_FROM else _UNKNOWN_ADVANCE)
        for letter in text
    )
    factor = _OTHER_FACE_FACTOR * (_BOLD_FACTOR if bold else 1.0)
    return total / 1000.0 * size_px * factor


def clipped(text: str, size_px: float, width_px: float, *, bold: bool = False) -> str:
    """`text` cut to fit into `width_px`, with "..." at its end when something is cut off.

    >>> clipped("coolant pump", 16.0, 200.0)
    'coolant pump'
    >>> clipped("coolant pump bearing", 16.0, 100.0)
    'coolant...'
    """
    text = printable(text)
    if text_width_px(text, size_px, bold=bold) <= width_px:
        return text
    while text and text_width_px(text + "...", size_px, bold=bold) > width_px:
        text = text[:-1]
    return text.rstrip() + "..."


def wrapped(
    text: str, size_px: float, width_px: float, *, most_lines: int = 6, bold: bool = False
) -> list[str]:
    """`text` in lines that fit into `width_px`; what `most_lines` can't hold ends in "...".

    >>> wrapped("coolant pump bearing", 16.0, 110.0)
    ['coolant pump', 'bearing']
    """
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_px(longer, size_px, bold=bold) <= width_px:
            lines[-1] = longer
        else:
            lines.append(word)
    if len(lines) > most_lines:
        lines = [*lines[: most_lines - 1], " ".join(lines[most_lines - 1 :])]
    return [clipped(line, size_px, width_px, bold=bold) for line in lines]


def title(text: str, notes: list[str], width_px: float = WIDTH_PX) -> dict[str, Any]:
    """Vega-Lite title: the name large, notes beneath it, all wrapped to the drawing's width."""
    return {
        "text": wrapped(text, TITLE_PX, width_px, most_lines=2, bold=True),
        "subtitle": [line for note in notes for line in wrapped(note, BODY_PX, width_px)],
    }


def config() -> dict[str, Any]:
    """Vega-Lite configuration common to all charts."""
    return {
        "background": PAPER,
        "padding": PADDING_PX,
        "font": FONT,
        "aria": False,
        "view": {"stroke": None},
        "title": {
            "anchor": "start",
            "frame": "bounds",
            "color": INK,
            "fontSize": TITLE_PX,
            "fontWeight": "bold",
            "subtitleColor": SOFT_INK,
            "subtitleFontSize": BODY_PX,
            "subtitleLineHeight": BODY_PX * LINE_HEIGHT,
            "subtitlePadding": 6,
            "lineHeight": TITLE_PX * 1.2,
            "offset": 12,
        },
        "axis": {
            "labelColor": INK,
            "labelFontSize": SMALL_PX,
            "titleColor": INK,
            "titleFontSize": BODY_PX,
            "titleFontWeight": "normal",
            "titlePadding": 8,
            "gridColor": HAIRLINE,
            "domainColor": INK,
            "tickColor": INK,
            "labelFlush": False,
        },
        "concat": {"spacing": 14},
    }
