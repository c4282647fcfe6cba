"""Odds of the suspects as bars, each with its reasons in words beneath."""

from __future__ import annotations

from typing import Any, Final

import altair as alt

from beltside.casework.results import Because, FindResult, SuspectOdds
from beltside.proof.definition import Definition, RowStore, defined
from beltside.proof.look import (
    ACCENT,
    BODY_PX,
    HAIRLINE,
    INK,
    LINE_HEIGHT,
    SMALL_PX,
    SOFT_INK,
    TITLE_PX,
    WIDTH_PX,
    clipped,
    text_width_px,
    title,
    wrapped,
)
from beltside.proof.wording import answer, bits_words, odds_words, percent_words, ranked, weightiest

_NAME_PX: Final = 18
_BAR_PX: Final = 12
_GAP_PX: Final = 16
_BITS_PX: Final = 78
_MOST_SUSPECTS: Final = 6
_MOST_REASONS: Final = 4
_SMALLEST_NAMED: Final = 0.01
_ROW_PX: Final = SMALL_PX * LINE_HEIGHT


def odds_chart(result: FindResult) -> Definition:
    """Bars of the likeliest suspects with their weightiest reasons; the rest in one sum."""
    suspects = ranked(result)
    named = [
        suspect
        for number, suspect in enumerate(suspects)
        if number == 0 or (number < _MOST_SUSPECTS and suspect.probability >= _SMALLEST_NAMED)
    ]
    rest = suspects[len(named) :]
    page = _Page()
    for number, suspect in enumerate(named):
        page.suspect(suspect, first=number == 0)
    if rest:
        share = sum(suspect.probability for suspect in rest)
        together = "" if len(rest) == 1 else " together"
        page.words(
            f"{len(rest)} more{together}: {odds_words(share)} ({percent_words(share)}).",
            size_px=BODY_PX,
        )
    page.words("+1 bit doubles the odds of a suspect, -1 bit halves them.", size_px=SMALL_PX)
    chart = page.chart().properties(
        title=alt.TitleParams(**title("Which part makes the noise?", [answer(result)]))
    )
    return defined(chart, page.store)


class _Page:
    """Text and bars set from top to bottom, in pixels."""

    def __init__(self) -> None:
        self.store = RowStore()
        self._top_px = 8.0
        self._bars: list[dict[str, Any]] = []
        self._texts: dict[tuple[float, str, str, str], list[dict[str, Any]]] = {}

    def text(
        self,
        text: str,
        at_px: float,
        *,
        size_px: float,
        colour: str = INK,
        bold: bool = False,
        align: str = "left",
    ) -> None:
        style = (size_px, colour, "bold" if bold else "normal", align)
        self._texts.setdefault(style, []).append(
            {"x": at_px, "y": round(self._top_px, 1), "text": text}
        )

    def words(self, text: str, *, size_px: float) -> None:
        for row in wrapped(text, size_px, WIDTH_PX):
            self.text(row, 0.0, size_px=size_px, colour=SOFT_INK)
            self._top_px += size_px * LINE_HEIGHT
        self._top_px += 4

    def suspect(self, suspect: SuspectOdds, *, first: bool) -> None:
        odds = f"{odds_words(suspect.probability)} · {percent_words(suspect.probability)}"
        size_px = TITLE_PX if first else _NAME_PX
        room_px = WIDTH_PX - text_width_px(odds, BODY_PX, bold=first) - 12
        self.text(
            clipped(suspect.name, size_px, room_px, bold=True), 0.0, size_px=size_px, bold=True
        )
        self.text(odds, WIDTH_PX, size_px=BODY_PX, bold=first, align="right")
        self._top_px += size_px * LINE_HEIGHT
        filled_px = max(2.0, suspect.probability * WIDTH_PX)
        colour = ACCENT if first else SOFT_INK
        for start, stop, fill in ((0.0, WIDTH_PX, HAIRLINE), (0.0, filled_px, colour)):
            self._bars.append(
                {
                    "x": start,
                    "x2": stop,
                    "y": self._top_px,
                    "y2": self._top_px + _BAR_PX,
                    "fill": fill,
                }
            )
        self._top_px += _BAR_PX + 7
        kept = weightiest(suspect.because, _MOST_REASONS)
        for reason in kept:
            self._reason(reason)
        more = len(suspect.because) - len(kept)
        if more:
            self.text(
                f"and {more} lighter {'reason' if more == 1 else 'reasons'}",
                _BITS_PX,
                size_px=SMALL_PX,
                colour=SOFT_INK,
            )
            self._top_px += _ROW_PX
        self._top_px += _GAP_PX

    def _reason(self, reason: Because) -> None:
        self.text(bits_words(reason.bits), 0.0, size_px=SMALL_PX)
        said = f"{reason.says} ({reason.from_})"
        for row in wrapped(said, SMALL_PX, WIDTH_PX - _BITS_PX, most_lines=3):
            self.text(row, _BITS_PX, size_px=SMALL_PX, colour=SOFT_INK)
            self._top_px += _ROW_PX
        self._top_px += 2

    def chart(self) -> Any:
        height_px = round(self._top_px)
        x_scale = alt.Scale(domain=[0, WIDTH_PX], range=[0, WIDTH_PX], nice=False)
        y_scale = alt.Scale(domain=[0, height_px], range=[0, height_px], nice=False)
        x = alt.X("x:Q", scale=x_scale, axis=None)
        y = alt.Y("y:Q", scale=y_scale, axis=None)
        layers: list[alt.Chart] = [
            self.store.chart("bars", self._bars)
            .mark_rect(opacity=1)
            .encode(x=x, x2="x2:Q", y=y, y2="y2:Q", fill=alt.Fill("fill:N", scale=None))
        ]
        for number, (style, rows) in enumerate(self._texts.items()):
            size_px, colour, weight, align = style
            layers.append(
                self.store.chart(f"text {number}", rows)
                .mark_text(
                    align="right" if align == "right" else "left",
                    baseline="top",
                    fontSize=size_px,
                    fontWeight="bold" if weight == "bold" else "normal",
                    color=colour,
                )
                .encode(x=x, y=y, text="text:N")
            )
        return alt.layer(*layers).properties(width=WIDTH_PX, height=height_px)
