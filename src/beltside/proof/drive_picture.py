"""The belt drive drawn to scale from the front: pulleys, belt, spans, wraps, directions."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.drive_results import DrivePulley, DriveResult
from beltside.proof import look
from beltside.proof.charts import file_stem
from beltside.proof.definition import to_png
from beltside.proof.drawing import Anchor, Drawing, Role
from beltside.proof.wording import Said, part_words

Point = tuple[float, float]
Box = tuple[float, float, float, float]

WIDTH_PX: Final = 600.0
TALLEST_PX: Final = 760.0
MARGIN_PX: Final = 84.0
BELT_PX: Final = 4.5
LABEL_PX: Final = 14.0
SPAN_PX: Final = 13.0
_HEAD_PX: Final = 88.0
_FOOT_PX: Final = 64.0
_DIRECTIONS: Final = 16


def drive_drawing(result: DriveResult, said: Said = str) -> Drawing:
    """The drive as a drawing; `said` gives its words in another language.

    Raises
    ------
    InputError
        When the sheet gives no positions.
    """
    if not result.spans:
        raise InputError(
            "a drive without positions can't be drawn",
            allowed="x_mm and y_mm for every pulley",
        )
    return _Sketch(result, said).drawing


def save_drive_picture(result: DriveResult, folder: Path, stem: str) -> list[Path]:
    """Write the drawing into `folder` as PNG and SVG; gives the path of the PNG file.

    Raises
    ------
    InputError
        When the sheet gives no positions.
    BeltsideError
        When the folder can't be made or written into.
    """
    svg = drive_drawing(result).svg()
    name = f"{file_stem(stem, ())}-belt"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{name}.svg").write_text(svg, encoding="utf-8")
        picture = folder / f"{name}.png"
        picture.write_bytes(to_png(svg))
    except OSError as error:
        raise BeltsideError(
            f"the picture can't be written into {folder}: {error.strerror or error}",
            instead="another folder, one you may write into",
        ) from error
    return [picture]


class _Sketch:
    """Draws in the order of the layers: pulleys, belt, words."""

    def __init__(self, result: DriveResult, said: Said) -> None:
        self._result = result
        self._said = said
        edges = [
            (
                (one.x_mm or 0.0) + side * 0.5 * one.running_diameter_mm,
                (one.y_mm or 0.0) + side * 0.5 * one.running_diameter_mm,
            )
            for one in result.pulleys
            for side in (-1.0, 1.0)
        ]
        left, right = min(x for x, _ in edges), max(x for x, _ in edges)
        low, high = min(y for _, y in edges), max(y for _, y in edges)
        self._scale = min(
            (WIDTH_PX - 2.0 * MARGIN_PX) / (right - left),
            (TALLEST_PX - 2.0 * 40.0) / (high - low),
        )
        self._across = 0.5 * (WIDTH_PX - self._scale * (right + left))
        self._top = _HEAD_PX + 40.0 + self._scale * high
        height = _HEAD_PX + 80.0 + self._scale * (high - low) + _FOOT_PX
        self._middle = self._at((0.5 * (left + right), 0.5 * (low + high)))
        self._taken: list[Box] = []
        self.drawing = Drawing(WIDTH_PX, height, self._title(), self._description())
        self._words_above()
        for pulley in result.pulleys:
            self._pulley(pulley)
        self._belt()
        for pulley in result.pulleys:
            self._turning(pulley)
        self._arrows()
        for pulley in result.pulleys:
            self._name(pulley)
        self._span_words()
        self._ruler(height)

    def _at(self, point: Point) -> Point:
        return self._across + self._scale * point[0], self._top - self._scale * point[1]

    def _title(self) -> str:
        return self._result.name or self._said("Belt drive")

    def _description(self) -> str:
        told = [f"The belt drive from the front, belt {self._result.belt_length_mm:.0f} mm."]
        for one in self._result.pulleys:
            told.append(
                f"{part_words(one.part)}: {one.diameter_mm:g} mm, turns {one.turns}, wrap "
                f"{one.wrap_deg:.0f} degrees."
            )
        return " ".join(map(self._said, told))

    def _words_above(self) -> None:
        title = look.clipped(self._title(), look.TITLE_PX, WIDTH_PX - 48.0, bold=True)
        self.drawing.text((24.0, 40.0), title, size_px=look.TITLE_PX, bold=True)
        error = self._result.belt_length_error_mm or 0.0
        words = self._said(
            f"From the front. Effective belt length {self._result.belt_length_mm:.0f} mm "
            f"(± {error:.0f} mm by careful measuring)"
        )
        if self._result.changed:
            changed = ", ".join(self._result.changed)
            words = self._said(f"{changed}: {self._result.belt_length_mm:.0f} mm belt")
        self.drawing.text((24.0, 66.0), look.clipped(words, LABEL_PX, WIDTH_PX - 48.0), role="soft")

    def _pulley(self, one: DrivePulley) -> None:
        centre = self._at((one.x_mm or 0.0, one.y_mm or 0.0))
        radius = 0.5 * one.diameter_mm * self._scale
        # A ribbed pulley shows its groove as a second ring; a flat one does not.
        self.drawing.circle(centre, radius, stroke="trace", fill="paper", width_px=1.5)
        if one.face == "ribbed":
            self.drawing.circle(centre, max(radius - 5.0, 2.0), stroke="trace", width_px=1.0)
        self.drawing.circle(centre, 2.5, stroke=None, fill="soft")
        self._taken.append((centre[0] - 4.0, centre[1] - 4.0, centre[0] + 4.0, centre[1] + 4.0))

    def _belt(self) -> None:
        spans, pulleys = self._result.spans, self._result.pulleys
        x, y = self._at(spans[0].start)
        data = f"M{x:.2f} {y:.2f}"
        for place, span in enumerate(spans):
            pulley = pulleys[(place + 1) % len(pulleys)]
            x, y = self._at(span.end)
            data += f"L{x:.2f} {y:.2f}"
            radius = 0.5 * pulley.running_diameter_mm * self._scale
            large = int((pulley.wrap_deg or 0.0) > 180.0)
            # SVG's y runs down, so its positive sweep is clockwise to the eye, as ours.
            sweep = int(pulley.turns == "clockwise")
            x, y = self._at(pulley.leaves or span.end)
            data += f"A{radius:.2f} {radius:.2f} 0 {large} {sweep} {x:.2f} {y:.2f}"
        self.drawing.path(data + "Z", stroke="ink", width_px=BELT_PX)

    def _arrows(self) -> None:
        for span in self._result.spans:
            start, end = self._at(span.start), self._at(span.end)
            length = math.dist(start, end)
            if length < 34.0:
                continue
            way = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
            tip = (
                start[0] + way[0] * (0.5 * length + 7.0),
                start[1] + way[1] * (0.5 * length + 7.0),
            )
            self._arrow_head(tip, way, 14.0, "accent")

    def _arrow_head(self, tip: Point, way: Point, size: float, role: Role) -> None:
        back = (tip[0] - way[0] * size, tip[1] - way[1] * size)
        side = (-way[1] * 0.5 * size, way[0] * 0.5 * size)
        corners = (
            tip,
            (back[0] + side[0], back[1] + side[1]),
            (back[0] - side[0], back[1] - side[1]),
        )
        data = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in corners) + "Z"
        self.drawing.path(data, stroke="paper", fill=role, width_px=1.0)

    def _turning(self, one: DrivePulley) -> None:
        """A bent arrow inside the pulley, the way it turns."""
        centre = self._at((one.x_mm or 0.0, one.y_mm or 0.0))
        radius = 0.5 * one.diameter_mm * self._scale - 11.0
        if radius < 9.0:
            return
        clockwise = one.turns == "clockwise"
        first, last = (-150.0, -75.0) if clockwise else (-30.0, -105.0)
        points = [
            (
                centre[0] + radius * math.cos(math.radians(first + (last - first) * step / 12)),
                centre[1] + radius * math.sin(math.radians(first + (last - first) * step / 12)),
            )
            for step in range(13)
        ]
        self.drawing.line(points, stroke="soft", width_px=1.8)
        turn = 1.0 if clockwise else -1.0
        angle = math.radians(last)
        way = (-math.sin(angle) * turn, math.cos(angle) * turn)
        tip = (points[-1][0] + way[0] * 6.0, points[-1][1] + way[1] * 6.0)
        self._arrow_head(tip, way, 9.0, "soft")

    def _name(self, one: DrivePulley) -> None:
        lines = [
            self._said(part_words(one.part)),
            self._said(f"{one.diameter_mm:g} mm, {one.wrap_deg:.0f}°"),
        ]
        width = max(look.text_width_px(line, LABEL_PX, bold=True) for line in lines)
        height = 2.0 * 18.0
        centre = self._at((one.x_mm or 0.0, one.y_mm or 0.0))
        radius = 0.5 * one.diameter_mm * self._scale
        if width < 1.62 * radius and radius > 44.0:
            self._write(lines, centre[0], centre[1] + 8.0, "middle")
            return
        away = math.atan2(centre[1] - self._middle[1], centre[0] - self._middle[0])
        box = self._nearest_own(centre, radius, away, width, height)
        if box is None:
            lines, height = lines[:1], 18.0
            width = look.text_width_px(lines[0], LABEL_PX, bold=True)
            if width < 1.6 * radius and radius > 30.0:
                self._write(lines, centre[0], centre[1] + 4.0, "middle")
                return
            box = self._nearest_own(centre, radius, away, width, height)
        if box is not None:
            self._taken.append(box)
            self._write(lines, 0.5 * (box[0] + box[2]), box[1], "middle")

    def _nearest_own(
        self, centre: Point, radius: float, away: float, width: float, height: float
    ) -> Box | None:
        """A free box that no other pulley lies nearer to; else any free one."""
        boxes = [
            box for box in self._around(centre, radius, away, width, height) if self._is_free(box)
        ]
        own = [box for box in boxes if self._belongs(box, centre)]
        return next(iter(own or boxes), None)

    def _belongs(self, box: Box, centre: Point) -> bool:
        def room(one: DrivePulley) -> tuple[float, Point]:
            x, y = self._at((one.x_mm or 0.0, one.y_mm or 0.0))
            near = (min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3]))
            return math.dist((x, y), near) - 0.5 * one.diameter_mm * self._scale, (x, y)

        return min(room(one) for one in self._result.pulleys)[1] == centre

    def _write(self, lines: Sequence[str], x: float, top: float, anchor: Anchor) -> None:
        for number, line in enumerate(lines):
            self.drawing.text(
                (x, top + 14.0 + 18.0 * number),
                line,
                size_px=LABEL_PX,
                anchor=anchor,
                bold=number == 0,
                role="ink" if number == 0 else "soft",
            )

    def _around(
        self, centre: Point, radius: float, away: float, width: float, height: float
    ) -> Iterator[Box]:
        """Boxes beside a pulley, the ones away from the middle first, then further out."""
        for gap in (10.0, 22.0, 40.0):
            for step in range(_DIRECTIONS):
                turn = (step + 1) // 2 * (1 if step % 2 else -1) * 2.0 * math.pi / _DIRECTIONS
                way = (math.cos(away + turn), math.sin(away + turn))
                reach = radius + gap
                x = centre[0] + way[0] * (reach + 0.5 * width)
                y = centre[1] + way[1] * (reach + 0.5 * height)
                yield x - 0.5 * width, y - 0.5 * height, x + 0.5 * width, y + 0.5 * height

    def _free(self, boxes: Iterator[Box]) -> Box | None:
        return next((box for box in boxes if self._is_free(box)), None)

    def _is_free(self, box: Box) -> bool:
        left, top, right, bottom = box
        if left < 6.0 or right > WIDTH_PX - 6.0 or top < _HEAD_PX - 12.0:
            return False
        if bottom > self.drawing.height_px - _FOOT_PX + 6.0:
            return False
        if any(
            left < other[2] + 8.0
            and other[0] - 8.0 < right
            and top < other[3] + 8.0
            and other[1] - 8.0 < bottom
            for other in self._taken
        ):
            return False
        for one in self._result.pulleys:
            x, y = self._at((one.x_mm or 0.0, one.y_mm or 0.0))
            near = (min(max(x, left), right), min(max(y, top), bottom))
            if math.dist((x, y), near) < 0.5 * one.running_diameter_mm * self._scale + 4.0:
                return False
        return not any(
            _cuts(box, self._at(span.start), self._at(span.end), BELT_PX + 2.0)
            for span in self._result.spans
        )

    def _span_words(self) -> None:
        for span in self._result.spans:
            words = f"{span.length_mm:.0f} mm"
            width, height = look.text_width_px(words, SPAN_PX), 15.0
            start, end = self._at(span.start), self._at(span.end)
            box = self._free(_beside(start, end, width, height))
            if box is None:
                continue
            self._taken.append(box)
            self.drawing.text(
                (0.5 * (box[0] + box[2]), box[1] + 12.0),
                words,
                size_px=SPAN_PX,
                anchor="middle",
                role="soft",
            )

    def _ruler(self, height: float) -> None:
        length = next(
            (step for step in (200.0, 100.0, 50.0, 20.0) if step * self._scale < 140.0), 10.0
        )
        y = height - 30.0
        end = 24.0 + length * self._scale
        self.drawing.line([(24.0, y), (end, y)], width_px=2.0)
        for x in (24.0, end):
            self.drawing.line([(x, y - 5.0), (x, y + 5.0)], width_px=2.0)
        self.drawing.text((end + 10.0, y + 5.0), f"{length:.0f} mm", size_px=LABEL_PX)
        self.drawing.text(
            (WIDTH_PX - 24.0, y + 5.0),
            self._said("figures: diameter, wrap; along the belt: free spans"),
            size_px=SPAN_PX,
            anchor="end",
            role="soft",
        )


def _beside(start: Point, end: Point, width: float, height: float) -> Iterator[Box]:
    """Boxes for a span's length, close to it on either side."""
    length = max(math.dist(start, end), 1e-9)
    normal = ((end[1] - start[1]) / length, (start[0] - end[0]) / length)
    for share in (0.5, 0.3, 0.7):
        middle = (
            start[0] + share * (end[0] - start[0]),
            start[1] + share * (end[1] - start[1]),
        )
        for gap in (4.0, 12.0):
            for side in (1.0, -1.0):
                reach = gap + BELT_PX + 0.5 * (abs(normal[0]) * width + abs(normal[1]) * height)
                x, y = middle[0] + side * normal[0] * reach, middle[1] + side * normal[1] * reach
                yield x - 0.5 * width, y - 0.5 * height, x + 0.5 * width, y + 0.5 * height


def _cuts(box: Box, start: Point, end: Point, room: float) -> bool:
    """Whether a line comes within `room` of a box; looked at point by point."""
    steps = max(int(math.dist(start, end) / 3.0), 1)
    for step in range(steps + 1):
        x = start[0] + (end[0] - start[0]) * step / steps
        y = start[1] + (end[1] - start[1]) * step / steps
        if box[0] - room < x < box[2] + room and box[1] - room < y < box[3] + room:
            return True
    return False
