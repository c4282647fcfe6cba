"""Drawings that are no charts (a belt drive, a bolt pattern, a plan): SVG with our own look.

A drawing is built from a few shapes with a role each ("ink", "soft", "trace", "accent",
"paper"); the roles take their colours from the look, light or dark, so that a drawing fits the
page it stands on. On paper and in PNG files it is light.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, Literal
from xml.sax.saxutils import escape, quoteattr

from beltside.proof import look
from beltside.proof.wording import printable

Role = Literal["ink", "soft", "trace", "accent", "paper"]
Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]

LIGHT: Final[dict[Role, str]] = {
    "ink": look.INK,
    "soft": look.SOFT_INK,
    "trace": look.TRACE,
    "accent": look.ACCENT,
    "paper": look.PAPER,
}
DARK: Final[dict[Role, str]] = {
    "ink": "#f2efe7",
    "soft": "#c4beb2",
    "trace": "#8f887c",
    "accent": "#f08a5c",
    "paper": "#171614",
}
"""Contrast on the dark paper: ink 15.7:1, soft 9.8:1, accent 7.4:1 (WCAG 2.1 asks for 4.5:1)."""


class Drawing:
    """An SVG drawing, `width_px` by `height_px`, origin at the top left, y down.

    `title` and `description` are what a screen reader says. Text is escaped here and nowhere
    else; what can't be printed is left out of it.
    """

    def __init__(self, width_px: float, height_px: float, title: str, description: str) -> None:
        self.width_px = width_px
        self.height_px = height_px
        self._title = title
        self._description = description
        self._shapes: list[str] = []

    def path(
        self,
        data: str,
        *,
        stroke: Role | None = "ink",
        fill: Role | None = None,
        width_px: float = 1.5,
        dash: str = "",
    ) -> None:
        """A path from SVG path data (numbers and letters only, never a person's text)."""
        dashed = f" stroke-dasharray={quoteattr(dash)}" if dash else ""
        self._shapes.append(
            f"<path d={quoteattr(data)} {_paint(stroke, fill)} stroke-width={_q(width_px)}"
            f' stroke-linecap="round" stroke-linejoin="round"{dashed}/>'
        )

    def line(
        self,
        points: Sequence[Point],
        *,
        stroke: Role = "ink",
        width_px: float = 1.5,
        dash: str = "",
    ) -> None:
        """A line through `points`."""
        first, *others = (f"{_n(x)} {_n(y)}" for x, y in points)
        self.path(
            f"M{first}" + "".join(f"L{point}" for point in others),
            stroke=stroke,
            width_px=width_px,
            dash=dash,
        )

    def circle(
        self,
        center: Point,
        radius_px: float,
        *,
        stroke: Role | None = "ink",
        fill: Role | None = None,
        width_px: float = 1.5,
        dash: str = "",
    ) -> None:
        """A circle."""
        dashed = f" stroke-dasharray={quoteattr(dash)}" if dash else ""
        self._shapes.append(
            f"<circle cx={_q(center[0])} cy={_q(center[1])} r={_q(radius_px)}"
            f" {_paint(stroke, fill)} stroke-width={_q(width_px)}{dashed}/>"
        )

    def box(
        self,
        corner: Point,
        width_px: float,
        height_px: float,
        *,
        stroke: Role | None = "ink",
        fill: Role | None = None,
        line_px: float = 1.5,
        rounded_px: float = 0.0,
    ) -> None:
        """A rectangle with its top left corner at `corner`."""
        self._shapes.append(
            f"<rect x={_q(corner[0])} y={_q(corner[1])} width={_q(width_px)}"
            f" height={_q(height_px)} rx={_q(rounded_px)} {_paint(stroke, fill)}"
            f" stroke-width={_q(line_px)}/>"
        )

    def text(
        self,
        at: Point,
        words: str,
        *,
        size_px: float = look.SMALL_PX,
        anchor: Anchor = "start",
        role: Role = "ink",
        bold: bool = False,
    ) -> None:
        """One line of text whose baseline is at `at`."""
        weight = ' font-weight="bold"' if bold else ""
        self._shapes.append(
            f'<text x={_q(at[0])} y={_q(at[1])} font-family="{look.FONT}" font-size={_q(size_px)}'
            f' text-anchor="{anchor}" class="fill-{role}" fill="{LIGHT[role]}"{weight}>'
            f"{escape(printable(words))}</text>"
        )

    def svg(self) -> str:
        """The whole drawing as SVG text."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width={_q(self.width_px)}'
            f" height={_q(self.height_px)}"
            f' viewBox="0 0 {_n(self.width_px)} {_n(self.height_px)}" role="img">'
            f"<title>{escape(printable(self._title))}</title>"
            f"<desc>{escape(printable(self._description))}</desc>"
            f"<style>{_dark_style()}</style>"
            f'<rect width="100%" height="100%" class="fill-paper" fill="{LIGHT["paper"]}"/>'
            + "".join(self._shapes)
            + "</svg>"
        )


def _dark_style() -> str:
    rules: Iterable[str] = (
        f".stroke-{role}{{stroke:{colour}}}.fill-{role}{{fill:{colour}}}"
        for role, colour in DARK.items()
    )
    return "@media screen and (prefers-color-scheme:dark){" + "".join(rules) + "}"


def _paint(stroke: Role | None, fill: Role | None) -> str:
    names = " ".join(
        [f"stroke-{stroke}"] * (stroke is not None) + [f"fill-{fill}"] * (fill is not None)
    )
    return (
        f'class="{names}" stroke="{LIGHT[stroke] if stroke else "none"}"'
        f' fill="{LIGHT[fill] if fill else "none"}"'
    )


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _q(value: float) -> str:
    return f'"{_n(value)}"'
