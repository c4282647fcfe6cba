"""Round things in a picture without a tap: holes of a flat part, its outline, a disc beside it.

A hole is a closed edge shaped like an ellipse. The picture is cut at many levels of lightness and
of two colour differences; a shape that stays round over several cuts is a candidate, its edge is
then found to fractions of a pixel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, cast

import cv2
import numpy as np

from beltside.photo.camera import Array
from beltside.photo.edges import (
    Ellipse,
    Grey,
    Image,
    ellipse_through,
    greys,
    radial_error,
    sharpened_ellipse,
)

_WORK_SIDE_PX: Final = 1600
_CUTS: Final = 24
_LEAST_ASPECT: Final = 0.55
_ROUND: Final = 0.045
_STAYS: Final = 2
_SAME: Final = 0.04
_NEARLY: Final = 0.6


@dataclass(frozen=True)
class FoundPart:
    """What a picture of one flat part shows.

    Attributes
    ----------
    outline_px
        The part's outline, shape (n, 2); empty when it can't be told from the bench [px].
    holes
        Round holes inside it, the largest first.
    discs
        Round things outside it (a coin, a washer), the largest first.
    """

    outline_px: Array
    holes: tuple[Ellipse, ...]
    discs: tuple[Ellipse, ...]


def round_shapes(image: Image, *, least_px: float = 9.0) -> tuple[Ellipse, ...]:
    """Closed round edges of a picture, shape (height, width, 3), largest first.

    `least_px` is the smallest mean diameter looked for, in a picture of 1600 px a side.
    """
    work, factor = _small(image)
    channels = greys(work)
    found: list[tuple[Ellipse, int]] = []
    for channel in channels:
        low, high = np.percentile(channel, [0.5, 99.5])
        if high - low < 8.0:
            continue
        for level in np.linspace(low, high, _CUTS + 2)[1:-1]:
            mask = (channel > level).astype(np.uint8)
            contours, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
            for contour in contours:
                one = _round(contour, work.shape, least_px)
                if one is not None:
                    found.append((one, 1))
    kept = _gathered(found)
    sharp: list[Ellipse] = []
    for one in kept:
        better = sharpened_ellipse(channels, one, max(3.0, 0.08 * one.size_px))
        if better is None:
            continue
        ellipse, points = better
        off = radial_error(ellipse, points)
        if (
            ellipse.aspect < _LEAST_ASPECT
            or ellipse.support < 0.6
            or float(np.sqrt(np.mean(off**2))) > max(0.6, 0.02 * ellipse.size_px)
            or not _like(ellipse, one, 0.25)
        ):
            continue
        if not any(_like(ellipse, other, 0.03) for other in sharp):
            sharp.append(ellipse)
    if factor != 1.0:
        sharp = _full_size(image, sharp, factor)
    return tuple(sorted(sharp, key=lambda one: -one.size_px))


def find_part(image: Image) -> FoundPart:
    """Outline, holes and discs of a picture of one flat part on a bench.

    Of round edges within each other the one where the part's face ends counts.
    """
    shapes = round_shapes(image)
    outline = part_outline(image)
    if len(outline) == 0:
        return FoundPart(outline, _rims(shapes, image), ())
    contour = outline.astype(np.float32).reshape(-1, 1, 2)
    area = cv2.contourArea(contour)
    inside, outside = [], []
    for one in shapes:
        depth = cv2.pointPolygonTest(contour, (one.x_px, one.y_px), True)
        if depth > 0.3 * min(one.a_px, one.b_px) and one.size_px**2 < 0.5 * area:
            inside.append(one)
        elif depth < -0.7 * min(one.a_px, one.b_px):
            outside.append(one)
    return FoundPart(outline, _rims(tuple(inside), image), _outermost(tuple(outside)))


def part_outline(image: Image) -> Array:
    """Outline of the largest thing that stands out from the picture's border, shape (n, 2) [px].

    Empty when nothing does.
    """
    work, factor = _small(image, 600)
    lab = cv2.cvtColor(np.ascontiguousarray(work), cv2.COLOR_RGB2LAB)
    lab = cast(Any, cv2.medianBlur(lab, 5)).astype(np.float32)
    height, width = lab.shape[:2]
    edge = max(4, round(0.03 * min(height, width)))
    border = np.ones((height, width), dtype=bool)
    border[edge:-edge, edge:-edge] = False
    samples = lab[border]
    best: Any = None
    best_score = 0.0
    # A bench is seldom one colour: how unlike all of the border's colours is each pixel?
    middle = np.median(samples, axis=0)
    spread = np.maximum(1.4826 * np.median(np.abs(samples - middle), axis=0), 2.0)
    unlike = np.sqrt(np.sum(((lab - middle) / spread) ** 2, axis=2))
    scaled = np.clip(unlike * 12.0, 0, 255).astype(np.uint8)
    level, _ = cv2.threshold(scaled, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    for cut in (level, 0.75 * level, 1.3 * level):
        mask = (scaled > cut).astype(np.uint8)
        kernel = np.ones((5, 5), np.uint8)
        mask = cast(Any, cv2.morphologyEx(mask, cv2.MORPH_OPEN, kernel))
        mask = cast(Any, cv2.morphologyEx(mask, cv2.MORPH_CLOSE, kernel))
        contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            x, y, w, h = cv2.boundingRect(contour)
            touches = (x <= 1) + (y <= 1) + (x + w >= width - 1) + (y + h >= height - 1)
            area = float(cv2.contourArea(contour))
            full = area / float(cv2.contourArea(cv2.convexHull(contour)) + 1e-9)
            if touches or area < 0.02 * width * height:
                continue
            score = area * full**2
            if score > best_score:
                best, best_score = contour, score
    if best is None:
        return np.zeros((0, 2))
    smooth = cv2.approxPolyDP(best, 1.0, True).reshape(-1, 2).astype(float)
    return np.asarray((smooth + 0.5) * factor - 0.5)


def _small(image: Image, side_px: int = _WORK_SIDE_PX) -> tuple[Image, float]:
    """The picture shrunk to at most `side_px` a side, and how many of its pixels make one there."""
    factor = max(image.shape[:2]) / side_px
    if factor <= 1.0:
        return image, 1.0
    size = (round(image.shape[1] / factor), round(image.shape[0] / factor))
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    return cast(Image, small), image.shape[1] / size[0]


def _round(contour: Any, shape: tuple[int, ...], least_px: float) -> Ellipse | None:
    """The ellipse of a contour when it is one."""
    n = len(contour)
    if n < 3.0 * least_px * 0.9 or n > 2.5 * min(shape[:2]):
        return None
    area = float(cv2.contourArea(contour))
    if area < 0.7 * least_px**2:
        return None
    x, y, w, h = cv2.boundingRect(contour)
    if x <= 0 or y <= 0 or x + w >= shape[1] or y + h >= shape[0] or min(w, h) < 0.45 * max(w, h):
        return None
    # An ellipse fills pi/4 of a box along its axes, 0.64 to 1 of that when it lies aslant.
    if not 0.5 < area / (w * h) < 0.86:
        return None
    points = contour.reshape(-1, 2).astype(float)
    if n > 160:
        points = points[:: n // 80]
    one = ellipse_through(points)
    if one is None or one.aspect < _LEAST_ASPECT:
        return None
    if abs(area / (np.pi * one.a_px * one.b_px) - 1.0) > 0.06 + 2.0 / one.size_px:
        return None
    off = radial_error(one, points)
    if float(np.sqrt(np.mean(off**2))) > _ROUND * one.size_px / 2.0 + 0.45:
        return None
    return one


def _like(one: Ellipse, other: Ellipse, share: float) -> bool:
    """Whether two ellipses are nearly the same."""
    size = max(one.size_px, other.size_px)
    apart = np.hypot(one.x_px - other.x_px, one.y_px - other.y_px)
    return bool(
        apart < 0.5 * share * size + 1.0 and abs(one.size_px - other.size_px) < share * size + 1.5
    )


def _gathered(found: list[tuple[Ellipse, int]]) -> list[Ellipse]:
    """One ellipse for each that stays over several cuts."""
    groups: list[list[Ellipse]] = []
    # A textured bench gives thousands: the first of each group stand in one table.
    firsts = np.empty((len(found), 3))
    for one, _ in found:
        there = firsts[: len(groups)]
        size = np.maximum(there[:, 2], one.size_px)
        apart = np.hypot(there[:, 0] - one.x_px, there[:, 1] - one.y_px)
        like = (apart < 0.5 * _SAME * size + 1.0) & (
            np.abs(there[:, 2] - one.size_px) < _SAME * size + 1.5
        )
        if like.any():
            groups[int(np.argmax(like))].append(one)
        else:
            firsts[len(groups)] = one.x_px, one.y_px, one.size_px
            groups.append([one])
    return [group[len(group) // 2] for group in groups if len(group) >= _STAYS]


def _full_size(image: Image, found: list[Ellipse], factor: float) -> list[Ellipse]:
    """The ellipses again in the picture as it is, each on a cut-out round it."""
    result = []
    for one in found:
        x, y = (one.x_px + 0.5) * factor - 0.5, (one.y_px + 0.5) * factor - 0.5
        reach = int(max(one.a_px, one.b_px) * factor * 1.3 + 12.0)
        left, top = max(int(x) - reach, 0), max(int(y) - reach, 0)
        cut = image[top : int(y) + reach, left : int(x) + reach]
        rough = Ellipse(
            x - left, y - top, one.a_px * factor, one.b_px * factor, one.angle_rad, one.support
        )
        channels: tuple[Grey, ...] = greys(cut, 1.2)
        better = sharpened_ellipse(channels, rough, max(3.0, 1.5 * factor))
        sharp = better[0] if better is not None and _like(better[0], rough, 0.1) else rough
        result.append(
            Ellipse(
                sharp.x_px + left,
                sharp.y_px + top,
                sharp.a_px,
                sharp.b_px,
                sharp.angle_rad,
                sharp.support,
            )
        )
    return result


def _rims(shapes: tuple[Ellipse, ...], image: Image) -> tuple[Ellipse, ...]:
    """Of round edges within each other the rim at the part's face.

    The step from metal to the dark is the strongest; a spot face, a broken edge or what shows
    through a deep hole is fainter. Of edges nearly as strong the outermost counts.
    """
    grey = cast(Any, cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_RGB2GRAY))
    steps = [_step(one, grey) for one in shapes]
    kept = []
    taken: set[int] = set()
    for number, one in enumerate(shapes):
        if number in taken:
            continue
        group = [
            k
            for k, other in enumerate(shapes)
            if k not in taken
            and other.size_px <= one.size_px
            and np.hypot(one.x_px - other.x_px, one.y_px - other.y_px)
            < (0.4 if other.size_px > 0.4 * one.size_px else 0.1) * one.size_px
        ]
        strongest = max(steps[k] for k in group)
        chosen = next(k for k in group if steps[k] >= _NEARLY * strongest)
        kept.append(shapes[chosen])
        taken.update(group)
    return tuple(kept)


def _step(one: Ellipse, grey: Any) -> float:
    """Change of lightness across an ellipse, the median round it."""
    levels = []
    for away in (-2.5, 2.5):
        ring = Ellipse(one.x_px, one.y_px, one.a_px + away, one.b_px + away, one.angle_rad)
        places = ring.points(48).astype(np.float32)
        levels.append(
            cv2.remap(grey, places[:, 0], places[:, 1], cv2.INTER_LINEAR).astype(float).ravel()
        )
    return float(np.median(np.abs(levels[1] - levels[0])))


def _outermost(shapes: tuple[Ellipse, ...]) -> tuple[Ellipse, ...]:
    return tuple(
        one
        for one in shapes
        if not any(
            other.size_px > one.size_px
            and np.hypot(one.x_px - other.x_px, one.y_px - other.y_px) < 0.5 * other.size_px
            for other in shapes
        )
    )
