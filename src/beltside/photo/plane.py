"""Circles, points and things of known size in one plane: tilt, perspective and scale undone.

Everything seen shares one view: the slope of the plane, the focal length and the lens
distortion. A circle adds its centre and radius, a point its place. The taps decide all of it
together by least squares (Gauss-Newton with Levenberg's damping), each tap weighed in pixels;
weak priors stand for what phones and hands are like. docs/methods/photo.md has the derivation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from beltside.base.errors import InputError
from beltside.photo.camera import Array, View

TAP_ERROR_PX: Final = 3.0
"""How far a tap lies beside what was meant, one standard deviation a coordinate, when not told."""

USUAL_FOCAL: Final = 0.68
"""Focal length over picture diagonal of phone main cameras: 24 to 35 mm for a diagonal of
43.3 mm (the 24 x 36 mm frame of ISO 516); common practice, no source."""
_FOCAL_SPREAD: Final = 0.40
_FOCAL_KNOWN_SPREAD: Final = 0.04
_BEND_SPREAD: Final = 0.06
_SLOPE_SPREAD: Final = 0.6
_GLOBALS: Final = 5  # p, q, ln focal, bend, ln scale
_STEPS: Final = 40
_STEP: Final = 1e-6
_NO_SCALE_SPREAD: Final = 1e-3
_HUBER: Final = 2.5
_SIGMA_PRIOR_COUNT: Final = 6.0
_LEAST_FACTOR: Final = 0.6
_RIVAL: Final = 6.0
_SMALL_GAIN: Final = 1e-3
_SMALL_SLOPE: Final = 0.1


@dataclass(frozen=True)
class Circle:
    """A circle in the plane, seen at points on its edge.

    Attributes
    ----------
    pixels
        Points on the edge [px], shape (n, 2), n >= 3.
    sigma_px
        Error of each point across the edge, one standard deviation [px].
    diameter_mm, diameter_sigma_mm
        Its diameter when known, and how well.
    forward_mm
        How far it lies before the common plane, towards the camera [mm].
    """

    pixels: Array
    sigma_px: float = TAP_ERROR_PX
    diameter_mm: float | None = None
    diameter_sigma_mm: float = 0.1
    forward_mm: float = 0.0


@dataclass(frozen=True)
class Marks:
    """Points in the plane, shape (n, 2) [px]; `layout_mm`, same shape, when they belong to
    something whose shape is known (corners of a card), up to turning and shifting it."""

    pixels: Array
    sigma_px: float = TAP_ERROR_PX
    layout_mm: Array | None = None


@dataclass(frozen=True)
class PlaneFit:
    """What was found.

    Attributes
    ----------
    view
        The camera, see `View`.
    mm_per_unit
        Scale: mm for one unit of the plane; None when nothing of known size was seen.
    circles
        x, y, radius of each circle [mm, or units without a scale], shape (n, 3).
    points
        Places of all marks, one after another [mm or units], shape (m, 2).
    covariance
        Of circles (x, y, radius by turns), then points, then slope p, q [as these]; square.
    residual_px
        For each circle how far each of its points lies off it [px].
    tap_error_px
        How large the taps' error seems to be over what was assumed, as a factor [1].
    rival
        The second-best tilt as another fit, when it explains the taps nearly as well.
    """

    view: View
    mm_per_unit: float | None
    circles: Array
    points: Array
    covariance: Array
    residual_px: tuple[Array, ...]
    tap_error_factor: float
    rival: PlaneFit | None = None


def fit_plane(
    width_px: float,
    height_px: float,
    circles: Sequence[Circle],
    marks: Sequence[Marks] = (),
    *,
    focal_px: float | None = None,
    flat_lens: bool = False,
) -> PlaneFit:
    """The view that explains all points best, and places and sizes in it.

    Parameters
    ----------
    width_px, height_px
        Size of the picture [px].
    circles, marks
        What was seen, all in one plane.
    focal_px
        Focal length when the picture tells it [px].
    flat_lens
        True when the lens distortion is known to be undone already.

    Raises
    ------
    InputError
        When there is nothing to fit, or a circle has fewer than 3 points.
    """
    if not circles and not marks:
        raise InputError("nothing was marked in the picture", allowed="circles or points")
    for circle in circles:
        if circle.pixels.shape[0] < 3:
            raise InputError(
                f"a circle with {circle.pixels.shape[0]} points",
                allowed="3 or more points on each edge",
                instead="tap 5 or more, spread round the edge",
            )
    problem = _Problem(width_px, height_px, circles, marks, focal_px, flat_lens)
    found: list[tuple[float, Array]] = []
    # A tilted circle looks nearly alike when tilted the other way: that is tried as well.
    starts = [(0.0, 0.0), (0.45, 0.0), (0.0, 0.45)] if not problem.known else [(0.0, 0.0)]
    while starts:
        cost, values = problem.solve(starts.pop(0), found)
        if all(_far(values, one) for _, one in found):
            found.append((cost, values))
            if len(found) == 1 and np.hypot(*values[:2]) > _SMALL_SLOPE:
                starts = [(-float(values[0]), -float(values[1]))]
    found.sort(key=lambda one: one[0])
    best = problem.result(found[0][1])
    others = [
        values
        for cost, values in found[1:]
        if cost - found[0][0] < _RIVAL and _far(values, found[0][1])
    ]
    return replace(best, rival=problem.result(others[0])) if others else best


def _far(one: Array, other: Array) -> bool:
    return bool(np.hypot(*(one[:2] - other[:2])) > 0.02)


class _Problem:
    """Parameters: p, q, ln(focal), bend, ln(mm per unit), circles (x, y, r), points (x, y),
    known layouts (x, y, angle)."""

    def __init__(
        self,
        width_px: float,
        height_px: float,
        circles: Sequence[Circle],
        marks: Sequence[Marks],
        focal_px: float | None,
        flat_lens: bool,
    ) -> None:
        self.width_px, self.height_px = width_px, height_px
        self.circles = circles
        self.free = [m for m in marks if m.layout_mm is None]
        self.known = [m for m in marks if m.layout_mm is not None]
        self.diagonal_px = math.hypot(width_px, height_px)
        self.scaled = bool(self.known) or any(c.diameter_mm is not None for c in circles)
        self.focal_mean = math.log(focal_px or USUAL_FOCAL * self.diagonal_px)
        self.focal_spread = _FOCAL_KNOWN_SPREAD if focal_px else _FOCAL_SPREAD
        self.bend_spread = 0.002 if flat_lens else _BEND_SPREAD
        counts = [c.pixels.shape[0] for c in circles]
        self.owner = np.repeat(np.arange(len(circles)), counts)
        self.edge_px = np.concatenate([c.pixels for c in circles]) if circles else np.zeros((0, 2))
        self.edge_sigma = np.repeat([c.sigma_px for c in circles], counts)
        self.forward_mm = np.repeat([c.forward_mm for c in circles], counts)
        self.forward_any = bool(np.any(self.forward_mm))
        self.free_px = (
            np.concatenate([m.pixels for m in self.free]) if self.free else np.zeros((0, 2))
        )
        self.n_circles, self.n_free = len(circles), self.free_px.shape[0]
        self.n_values = _GLOBALS + 3 * self.n_circles + 2 * self.n_free + 3 * len(self.known)

    def view(self, values: Array) -> View:
        return View(
            self.width_px,
            self.height_px,
            float(values[0]),
            float(values[1]),
            math.exp(float(values[2])),
            float(values[3]),
        )

    def start(self, slope: tuple[float, float]) -> Array:
        """Circles through their points as seen in a view of that slope."""
        values = np.zeros(self.n_values)
        values[:4] = (*slope, self.focal_mean, 0.0)
        view = self.view(values)
        position = _GLOBALS
        sizes = []
        for circle in self.circles:
            values[position : position + 3] = _circle_through(view.to_plane(circle.pixels))
            if circle.diameter_mm is not None:
                sizes.append(circle.diameter_mm / (2.0 * values[position + 2]))
            position += 3
        values[position : position + 2 * self.n_free] = view.to_plane(self.free_px).ravel()
        position += 2 * self.n_free
        for mark in self.known:
            assert mark.layout_mm is not None
            places = view.to_plane(mark.pixels)
            scale, angle = _turn(mark.layout_mm, places)
            sizes.append(1.0 / scale)
            values[position : position + 3] = (*places.mean(axis=0), angle)
            position += 3
        values[4] = math.log(float(np.median(sizes))) if sizes else 0.0
        return values

    def residuals(self, values: Array, jacobian: bool = False) -> tuple[Array, Array]:
        """Residuals in standard deviations and, when asked for, their derivative.

        The derivative takes the weights as constant: they change far slower than the residuals.
        """
        view = self.view(values)
        scale = math.exp(values[4])
        rows: list[Array] = []
        wide = np.zeros((self._row_count(), self.n_values) if jacobian else (0, 0))
        at, column = 0, _GLOBALS
        if self.n_circles:
            local = values[column : column + 3 * self.n_circles].reshape(-1, 3)[self.owner]
            forward = self.forward_mm / scale if self.forward_any else 0.0
            places, across = _with_gradient(view, self.edge_px, forward)
            arm = places - local[:, :2]
            length = np.maximum(np.linalg.norm(arm, axis=1), 1e-12)
            unit = arm / length[:, None]
            # Pixels for one unit of the plane across the edge.
            per_unit = 1.0 / np.maximum(
                np.linalg.norm(np.einsum("nij,ni->nj", across, unit), axis=1), 1e-12
            )
            weight = per_unit / self.edge_sigma
            rows.append((length - local[:, 2]) * weight)
            n = len(self.owner)
            if jacobian:
                index = np.arange(n)
                wide[index, column + 3 * self.owner] = -unit[:, 0] * weight
                wide[index, column + 3 * self.owner + 1] = -unit[:, 1] * weight
                wide[index, column + 3 * self.owner + 2] = -weight
                for number, moved in enumerate(self._moved(values)):
                    ahead = self.forward_mm / math.exp(moved[4]) if self.forward_any else 0.0
                    change = self.view(moved).to_plane(self.edge_px, ahead) - places
                    wide[:n, number] = np.sum(change * unit, axis=1) * weight / _STEP
            at += n
            column += 3 * self.n_circles
        for mark in (*self.free, *self.known):
            n = mark.pixels.shape[0]
            places, across = _with_gradient(view, mark.pixels, 0.0)
            back = np.linalg.inv(across) / mark.sigma_px
            block = wide[at : at + 2 * n]
            if mark.layout_mm is None:
                target = values[column : column + 2 * n].reshape(-1, 2)
                for k in range(n if jacobian else 0):
                    block[2 * k : 2 * k + 2, column + 2 * k : column + 2 * k + 2] = -back[k]
                column += 2 * n
            else:
                x, y, angle = values[column : column + 3]
                turn = np.array(
                    [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
                )
                turned = (mark.layout_mm - mark.layout_mm.mean(axis=0)) / scale @ turn.T
                target = turned + np.array([x, y])
                if jacobian:
                    swept = np.stack([-turned[:, 1], turned[:, 0]], axis=1)
                    block[:, column : column + 2] = -back.reshape(-1, 2)
                    block[:, column + 2] = -np.einsum("nij,nj->ni", back, swept).ravel()
                    block[:, 4] = np.einsum("nij,nj->ni", back, turned).ravel()
                column += 3
            rows.append(np.einsum("nij,nj->ni", back, places - target).ravel())
            for number, moved in enumerate(self._moved(values)[:4] if jacobian else ()):
                change = self.view(moved).to_plane(mark.pixels) - places
                block[:, number] = np.einsum("nij,nj->ni", back, change).ravel() / _STEP
            at += 2 * n
        rows.append(self._priors(values, scale, wide[at:]))
        return np.concatenate(rows), wide

    def _moved(self, values: Array) -> list[Array]:
        """The values with each of the first five moved by a little."""
        return [values + _STEP * (np.arange(self.n_values) == k) for k in range(_GLOBALS)]

    def _priors(self, values: Array, scale: float, block: Array) -> Array:
        """What is expected before any tap, and the known diameters; their derivative in `block`."""
        spreads = (_SLOPE_SPREAD, _SLOPE_SPREAD, self.focal_spread, self.bend_spread)
        means = (0.0, 0.0, self.focal_mean, 0.0)
        rows: list[float] = []
        for number, circle in enumerate(self.circles):
            if circle.diameter_mm is not None:
                at = _GLOBALS + 3 * number + 2
                spread = circle.diameter_sigma_mm
                if block.size:
                    block[len(rows), at] = 2.0 * scale / spread
                    block[len(rows), 4] = 2.0 * scale * values[at] / spread
                rows.append((2.0 * values[at] * scale - circle.diameter_mm) / spread)
        for number, (mean, spread) in enumerate(zip(means, spreads, strict=True)):
            if block.size:
                block[len(rows), number] = 1.0 / spread
            rows.append((values[number] - mean) / spread)
        if not self.scaled:
            if block.size:
                block[len(rows), 4] = 1.0 / _NO_SCALE_SPREAD
            rows.append(values[4] / _NO_SCALE_SPREAD)
        return np.array(rows)

    def _row_count(self) -> int:
        return self.n_seen + 4 + int(not self.scaled)

    @property
    def n_seen(self) -> int:
        """Rows that stand for something seen or known, which come first."""
        known = sum(circle.diameter_mm is not None for circle in self.circles)
        return int(
            len(self.owner) + sum(2 * m.pixels.shape[0] for m in (*self.free, *self.known)) + known
        )

    def solve(
        self, slope: tuple[float, float], found: Sequence[tuple[float, Array]]
    ) -> tuple[float, Array]:
        """Cost and values at the minimum reached from that slope.

        A search that runs into one of the minima `found` already ends there.
        """
        values = self.start(slope)
        damping = 1e-3
        residual, wide = self.residuals(values, jacobian=True)
        cost = _huber_cost(residual)
        for _ in range(_STEPS):
            weight = _huber_weight(residual)
            weighted = wide * weight[:, None]
            normal = weighted.T @ weighted
            gradient = weighted.T @ (weight * residual)
            diagonal = np.maximum(np.diag(normal), 1e-12)
            improved = False
            for _ in range(8):
                step = np.linalg.solve(normal + np.diag(damping * diagonal), -gradient)
                trial = values + step
                if self._possible(trial):
                    new_cost = _huber_cost(self.residuals(trial)[0])
                    if new_cost < cost:
                        improved = True
                        break
                damping *= 6.0
            if not improved:
                break
            gain = cost - new_cost
            values, cost = trial, new_cost
            damping = max(damping / 5.0, 1e-9)
            residual, wide = self.residuals(values, jacobian=True)
            known = any(abs(cost - c) < 0.5 and not _far(values, v) for c, v in found)
            if gain < _SMALL_GAIN or (known and gain < 0.5):
                break
        return cost, values

    def _possible(self, values: Array) -> bool:
        """All of the picture lies before the camera and is bent within reason."""
        if (
            not np.all(np.isfinite(values))
            or abs(values[3]) > 0.35
            or abs(values[2] - self.focal_mean) > 2.0
        ):
            return False
        view = self.view(values)
        pixels = np.concatenate([self.edge_px, self.free_px, *(m.pixels for m in self.known)])
        rays = view.rays(pixels)
        if np.any(1.0 + view.p * rays[:, 0] + view.q * rays[:, 1] < 0.1):
            return False
        radii = values[_GLOBALS : _GLOBALS + 3 * self.n_circles].reshape(-1, 3)[:, 2]
        return bool(np.all(radii > 0.0))

    def result(self, values: Array) -> PlaneFit:
        residual, wide = self.residuals(values, jacobian=True)
        weight = _huber_weight(residual)
        weighted = wide * weight[:, None]
        covariance = np.linalg.pinv(weighted.T @ weighted, hermitian=True)
        n_edge = len(self.owner)
        taps = residual[: self.n_seen]
        surplus = max(self.n_seen - (self.n_values - 4 - (not self.scaled)), 0)
        squares = float(np.sum((weight[: self.n_seen] * taps) ** 2))
        factor = math.sqrt((_SIGMA_PRIOR_COUNT + squares) / (_SIGMA_PRIOR_COUNT + surplus))
        covariance = covariance * max(factor, _LEAST_FACTOR) ** 2
        scale = math.exp(values[4])
        n_out = 3 * self.n_circles + 2 * self.n_free
        local = values[_GLOBALS : _GLOBALS + n_out]
        change = np.zeros((n_out + 2, self.n_values))
        change[:n_out, _GLOBALS : _GLOBALS + n_out] = scale * np.eye(n_out)
        change[:n_out, 4] = scale * local
        change[n_out:, :2] = np.eye(2)
        out = scale * local
        split = 3 * self.n_circles
        off_px = residual[:n_edge] * self.edge_sigma
        return PlaneFit(
            view=self.view(values),
            mm_per_unit=scale if self.scaled else None,
            circles=out[:split].reshape(-1, 3),
            points=out[split:].reshape(-1, 2),
            covariance=change @ covariance @ change.T,
            residual_px=tuple(off_px[self.owner == k] for k in range(self.n_circles)),
            tap_error_factor=factor,
        )


def _huber_weight(residual: Array) -> Array:
    size = np.abs(residual)
    return np.sqrt(np.where(size > _HUBER, _HUBER / np.maximum(size, 1e-12), 1.0))


def _huber_cost(residual: Array) -> float:
    size = np.abs(residual)
    return float(np.sum(np.where(size > _HUBER, 2 * _HUBER * size - _HUBER**2, size**2)))


def _with_gradient(view: View, pixels: Array, forward: Array | float) -> tuple[Array, Array]:
    """Places in the plane and their derivative by the pixel, shapes (n, 2) and (n, 2, 2)."""
    half = 0.5
    step = np.array([half, 0.0])
    by_x = view.to_plane(pixels + step, forward) - view.to_plane(pixels - step, forward)
    step = np.array([0.0, half])
    by_y = view.to_plane(pixels + step, forward) - view.to_plane(pixels - step, forward)
    return view.to_plane(pixels, forward), np.stack([by_x, by_y], axis=-1)


def _circle_through(places: Array) -> tuple[float, float, float]:
    """Centre and radius of the circle nearest to places (Kasa 1976, algebraic)."""
    middle = places.mean(axis=0)
    spread = max(float(np.abs(places - middle).max()), 1e-12)
    scaled = (places - middle) / spread
    wide = np.column_stack([2.0 * scaled, np.ones(len(scaled))])
    solved = np.linalg.lstsq(wide, np.sum(scaled**2, axis=1), rcond=None)[0]
    radius = math.sqrt(max(solved[2] + solved[0] ** 2 + solved[1] ** 2, 1e-12))
    return (
        float(middle[0] + solved[0] * spread),
        float(middle[1] + solved[1] * spread),
        radius * spread,
    )


def _turn(layout: Array, places: Array) -> tuple[float, float]:
    """Scale and angle that carry a layout nearest to places, both shape (n, 2)."""
    one = layout - layout.mean(axis=0)
    other = places - places.mean(axis=0)
    z = one[:, 0] + 1j * one[:, 1]
    w = other[:, 0] + 1j * other[:, 1]
    product = np.sum(np.conj(z) * w) / np.sum(np.abs(z) ** 2)
    return float(abs(product)), float(np.angle(product))
