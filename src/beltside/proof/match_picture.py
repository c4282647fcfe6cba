"""The old part's holes laid on the new part's: which way up, what is left over, where to look."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np

from beltside.casework.match_parts import MatchResult, PairResult
from beltside.proof import look
from beltside.proof.definition import to_png
from beltside.proof.drawing import Drawing, Point

_SIDE_PX: Final = 420.0
_TOP_PX: Final = 92.0
_PAD_PX: Final = 56.0
_USUAL_HOLE_MM: Final = 8.0
_EXAGGERATED: Final = 10.0


def match_svg(pair: PairResult, say: Callable[[str], str] = str) -> str:
    """One pair as a drawing: old dashed, new drawn full, what is left over ten times as long.

    `say` gives what stands on it for each English text.
    """
    best = pair.match.best
    second = pair.second.holes
    places = [second.places_mm]
    if len(pair.second.outline_mm):
        places.append(pair.second.outline_mm)
    if best is not None:
        places.append(best.on_new(pair.first.holes.places_mm))
    every = np.concatenate(places)
    low, high = every.min(axis=0) - 6.0, every.max(axis=0) + 6.0
    scale = (_SIDE_PX - 20.0) / float(max(high - low))
    width = 2 * _PAD_PX + _SIDE_PX
    drawn_px = float(high[1] - low[1]) * scale
    height = _TOP_PX + drawn_px + 128.0
    left = (width - float(high[0] - low[0]) * scale) / 2.0

    def at(place: object) -> Point:
        x, y = np.asarray(place, dtype=float)
        return left + float(x - low[0]) * scale, _TOP_PX + float(high[1] - y) * scale

    drawing = Drawing(
        width,
        height,
        say(f"{pair.first.name} on {pair.second.name}: {pair.verdict}"),
        "; ".join(say(one) for one in pair.reasons),
    )
    room = width - 2 * look.PADDING_PX
    title = look.clipped(say(f"{pair.verdict[0].upper()}{pair.verdict[1:]}"), look.TITLE_PX, room)
    drawing.text((look.PADDING_PX, 34.0), title, size_px=look.TITLE_PX, bold=True)
    about = say(f"{pair.first.name} (dashed) laid on {pair.second.name} (full)")
    drawing.text((look.PADDING_PX, 58.0), look.clipped(about, look.SMALL_PX, room), role="soft")
    if len(pair.second.outline_mm) > 2:
        _closed(drawing, [at(p) for p in pair.second.outline_mm], dashed=False)
    if best is not None and len(pair.first.outline_mm) > 2:
        _closed(drawing, [at(p) for p in best.on_new(pair.first.outline_mm)], dashed=True)
    if pair.gap.clear and pair.gap_on_second is not None:
        ends = [at(second.places_mm[k]) for k in pair.gap_on_second]
        drawing.line(ends, stroke="accent", width_px=5.0)
    for number, place in enumerate(second.places_mm):
        size = second.diameter_mm[number]
        radius = 0.5 * scale * (size if np.isfinite(size) else _USUAL_HOLE_MM)
        drawing.circle(at(place), radius, stroke="ink", fill="paper", width_px=2.0)
    if best is not None:
        laid = best.on_new(pair.first.holes.places_mm)
        for number, place in enumerate(laid):
            size = pair.first.holes.diameter_mm[number]
            radius = 0.5 * scale * (size if np.isfinite(size) else _USUAL_HOLE_MM)
            drawing.circle(at(place), radius, stroke="soft", width_px=1.5, dash="4 3")
        for one in best.residuals:
            start = np.asarray(laid[one.old])
            end = start + _EXAGGERATED * (second.places_mm[one.new] - start)
            drawing.line([at(start), at(end)], stroke="accent", width_px=2.5)
            x, y = at(second.places_mm[one.new])
            size = second.diameter_mm[one.new]
            away = 0.5 * scale * (size if np.isfinite(size) else _USUAL_HOLE_MM)
            label = f"{one.new + 1}: {say(f'{one.off_mm:.1f} mm')}"
            drawing.text((x, y + away + 18.0), label, anchor="middle", bold=True)
    y = _TOP_PX + drawn_px + 40.0
    for line in _below(pair):
        for row in look.wrapped(say(line), look.SMALL_PX, 0.88 * room, most_lines=3):
            drawing.text((look.PADDING_PX, y), row, role="soft")
            y += 20.0
    drawing.height_px = max(y, _TOP_PX + drawn_px + 30.0) + 6.0
    return drawing.svg()


def _below(pair: PairResult) -> list[str]:
    said = ["Numbers: the full part's holes and how far off they are; strokes 10 times as long."]
    if pair.gap.clear and pair.gap_on_second is not None:
        said.append(
            f"Thick line: the widest gap, {pair.gap.length_mm:.0f} mm; lay it on the dashed "
            f"part's widest gap (its holes {pair.gap.first + 1} and {pair.gap.second + 1})."
        )
    if pair.reasons:
        said.append(pair.reasons[0][0].upper() + pair.reasons[0][1:] + ".")
    return said


def _closed(drawing: Drawing, points: list[Point], *, dashed: bool) -> None:
    drawing.line(
        [*points, points[0]],
        stroke="soft" if dashed else "trace",
        width_px=1.5,
        dash="4 3" if dashed else "",
    )


def save_match(result: MatchResult, folder: Path) -> list[Path]:
    """Write every pair into `folder` as PNG and SVG; gives the PNG files."""
    folder.mkdir(parents=True, exist_ok=True)
    saved = []
    names = ("match-old-new", "match-old-gasket", "match-new-gasket")
    for name, pair in zip(names, result.pairs, strict=False):
        svg = match_svg(pair)
        (folder / f"{name}.svg").write_text(svg, encoding="utf-8")
        path = folder / f"{name}.png"
        path.write_bytes(to_png(svg))
        saved.append(path)
    return saved
