"""A picture of the front of the engine: pulleys with diameters, positions and ratios."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError
from beltside.base.words import PULLEY_PARTS, part_kind, suggest_part
from beltside.casework.formats.photo_keys import KnownKeys, load_keys, refuse
from beltside.casework.formats.rim_file import RimFileKeys, RimKeys
from beltside.drive.check import FACES
from beltside.media.picture import Picture, read_picture
from beltside.photo.edges import Ellipse, greys
from beltside.photo.holes import round_shapes
from beltside.photo.plane import TAP_ERROR_PX, Circle, Marks, PlaneFit, fit_plane
from beltside.photo.rims import sharpened_rim

Array = npt.NDArray[np.float64]

_RANGE: Final = 1.645
"""Standard deviations to either side of a 90 % range."""
_ELLIPSE_SIGMA_PX: Final = 1.0
_MOST_TILT_DEG: Final = 40.0
_MANY_TAPS: Final = 12


@dataclass(frozen=True)
class PulleySeen:
    """One pulley.

    Attributes
    ----------
    part, face
        As in the drive sheet.
    ratio, ratio_low, ratio_high
        Diameter over the first crank's diameter (over the first rim's without a crank), 90 %
        range [1].
    diameter_mm, diameter_low_mm, diameter_high_mm
        None without a known size; 90 % range [mm].
    x_mm, y_mm, place_sigma_mm
        Centre from the crank, right and up, and how sure; None without a known size [mm].
    place
        Centre and radius with the crank's radius as unit: x, y, r.
    taps
        Points used, and whether the picture's own edge was used.
    sharpened
        Whether its edge in the picture was used.
    worst_tap_px
        Largest distance of a tap from the rim found [px].
    """

    part: str
    face: str
    ratio: float
    ratio_low: float
    ratio_high: float
    diameter_mm: float | None
    diameter_low_mm: float | None
    diameter_high_mm: float | None
    x_mm: float | None
    y_mm: float | None
    place_sigma_mm: float | None
    place: tuple[float, float, float]
    taps: int
    sharpened: bool
    worst_tap_px: float


@dataclass(frozen=True)
class FrontResult:
    """What a picture of the front tells.

    Attributes
    ----------
    pulleys
        In the order given, which is the belt's.
    tilt_deg, bend_percent
        What was undone: tilt, and lens distortion at the picture's corner.
    sheet
        A drive sheet (TOML text); empty when something for it is missing.
    no_sheet
        Why there is none.
    warnings
        What to know before trusting it.
    """

    pulleys: tuple[PulleySeen, ...]
    tilt_deg: float
    bend_percent: float
    sheet: str
    no_sheet: str
    warnings: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain dict; mm to 0.1, ratios to 0.0001."""

        def r(value: float | None, digits: int = 1) -> float | None:
            return None if value is None else round(value, digits)

        return {
            "pulleys": [
                {
                    "part": one.part,
                    "face": one.face,
                    "ratio": r(one.ratio, 4),
                    "ratio_low": r(one.ratio_low, 4),
                    "ratio_high": r(one.ratio_high, 4),
                    "diameter_mm": r(one.diameter_mm),
                    "diameter_low_mm": r(one.diameter_low_mm),
                    "diameter_high_mm": r(one.diameter_high_mm),
                    "x_mm": r(one.x_mm),
                    "y_mm": r(one.y_mm),
                    "place_sigma_mm": r(one.place_sigma_mm),
                    "sharpened": one.sharpened,
                }
                for one in self.pulleys
            ],
            "tilt_deg": r(self.tilt_deg),
            "bend_percent": r(self.bend_percent, 2),
            "sheet": self.sheet or None,
            "no_sheet": self.no_sheet or None,
            "warnings": list(self.warnings),
        }


@dataclass(frozen=True)
class Suggestions:
    """Round shapes of a picture that may be rims, largest first; `toml` to be filled in."""

    ellipses: tuple[Ellipse, ...]
    toml: str

    def to_json(self) -> dict[str, Any]:
        """Plain dict, pixels to 0.1."""
        return {"suggestions": [_ellipse_keys(one) for one in self.ellipses], "toml": self.toml}


def _ellipse_keys(one: Ellipse) -> list[float]:
    return [
        round(value, 1)
        for value in (one.x_px, one.y_px, one.a_px, one.b_px, math.degrees(one.angle_rad))
    ]


def suggest_rims(photo: Path, *, most: int = 12) -> Suggestions:
    """Ellipses that suggest themselves as rims, with a rim file to put names into.

    Raises
    ------
    BeltsideError
        When the photo cannot be read.
    """
    picture = read_picture(photo)
    found: list[Ellipse] = []
    least = 0.03 * math.hypot(picture.width_px, picture.height_px)
    for one in round_shapes(picture.pixels):
        # Of rings about one middle the outermost is the rim.
        inner = any(
            math.hypot(one.x_px - other.x_px, one.y_px - other.y_px) < 0.3 * other.size_px
            for other in found
        )
        if one.size_px >= least and not inner:
            found.append(one)
    kept = tuple(found[:most])
    lines = ["[engine]", "cylinders = 4  # change to yours", ""]
    for number, one in enumerate(kept, start=1):
        lines += [
            "[[rim]]",
            f'part = "crank"  # shape {number} of {photo.name}: put the part\'s name',
            f"ellipse = {json.dumps(_ellipse_keys(one))}",
            "",
        ]
    return Suggestions(kept, "\n".join(lines))


def measure_front(taps: Path, photo: Path | None = None) -> FrontResult:
    """Pulleys from the rims marked in a picture.

    Parameters
    ----------
    taps
        The rim file (TOML).
    photo
        The picture; with it every rim is drawn onto its edge in the picture first.

    Raises
    ------
    InputError
        When the rim file says too little, or something impossible.
    """
    keys = load_keys(taps, RimFileKeys)
    _check(taps, keys)
    picture = read_picture(photo) if photo else None
    width = float(picture.width_px) if picture else keys.width_px
    height = float(picture.height_px) if picture else keys.height_px
    if width is None or height is None:
        raise refuse(taps, (), "the picture's size is missing", "width_px and height_px")
    error_px = keys.tap_error_px or TAP_ERROR_PX
    circles = [_circle(rim, error_px) for rim in keys.rim]
    extra, marks = _known(keys.known, error_px)
    warnings = list(picture.warnings if picture else ())
    focal = picture.focal_px if picture else None
    fit = fit_plane(width, height, [*circles, *extra], marks, focal_px=focal)
    sharp = [False] * len(circles)
    if picture is not None:
        fit, sharp = _sharpen(picture, fit, circles, extra, marks, focal)
    warnings += _doubts(keys.rim, fit, circles, sharp)
    pulleys = _pulleys(keys, fit, circles, sharp)
    sheet, why_not = _sheet(keys, pulleys)
    return FrontResult(
        pulleys,
        fit.view.tilt_deg,
        100.0 * fit.view.bend,
        sheet,
        why_not,
        tuple(warnings),
    )


def _check(path: Path, keys: RimFileKeys) -> None:
    if not keys.rim:
        raise refuse(path, ("rim",), "no rim", "[[rim]] with part and taps, once for each pulley")
    names = [rim.part for rim in keys.rim]
    for number, rim in enumerate(keys.rim, start=1):
        if part_kind(rim.part) not in PULLEY_PARTS:
            near = suggest_part(rim.part, PULLEY_PARTS)
            hint = f"; {near}?" if near else ""
            raise refuse(
                path, ("rim", number, "part"), f'"{rim.part}"', ", ".join(PULLEY_PARTS) + hint
            )
        if names.count(rim.part) > 1:
            raise refuse(
                path, ("rim", number, "part"), f'"{rim.part}" twice', "idler, idler-2 and so on"
            )
        if rim.face not in FACES:
            raise refuse(path, ("rim", number, "face"), f'"{rim.face}"', '"ribbed" or "back"')
        if rim.ellipse is None and len(rim.taps) < 3:
            raise refuse(
                path,
                ("rim", number, "taps"),
                f"{len(rim.taps)} taps on {rim.part}",
                "3 or more, spread round the rim; 5 and more are better",
            )
        if rim.ellipse is not None and min(rim.ellipse[2:4]) < 2.0:
            raise refuse(
                path, ("rim", number, "ellipse"), "a half axis below 2 px", "2 px and more"
            )
    if keys.known is not None and (wrong := keys.known.problem()):
        raise refuse(path, ("known",), "not clear", wrong)
    if keys.known is not None and keys.known.diameter_mm and len(keys.known.taps or ()) < 3:
        raise refuse(path, ("known", "taps"), "fewer than 3 taps", "3 or more on the disc's edge")


def _circle(rim: RimKeys, error_px: float) -> Circle:
    if rim.ellipse is not None:
        x, y, a, b, degrees = rim.ellipse
        points = Ellipse(x, y, a, b, math.radians(degrees)).points(16)
        circle = Circle(points, _ELLIPSE_SIGMA_PX)
    else:
        circle = Circle(np.array(rim.taps, dtype=float), error_px)
    return replace(
        circle,
        diameter_mm=rim.diameter_mm,
        diameter_sigma_mm=0.2,
        forward_mm=rim.forward_mm,
    )


def _known(known: KnownKeys | None, error_px: float) -> tuple[list[Circle], list[Marks]]:
    if known is None:
        return [], []
    if known.length_mm is not None:
        layout = np.array([[0.0, 0.0], [known.length_mm, 0.0]])
        return [], [Marks(np.array(known.between, dtype=float), error_px, layout)]
    if known.width_mm is not None and known.height_mm is not None:
        corners = np.array(known.corners, dtype=float)
        first, second = corners[1] - corners[0], corners[2] - corners[1]
        sign = 1.0 if first[0] * second[1] - first[1] * second[0] < 0.0 else -1.0
        w, h = known.width_mm, sign * known.height_mm
        return [], [Marks(corners, error_px, np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]))]
    circle = Circle(
        np.array(known.taps, dtype=float),
        error_px,
        diameter_mm=known.diameter_mm,
        diameter_sigma_mm=known.error_mm,
        forward_mm=-known.lower_mm,
    )
    return [circle], []


def _sharpen(
    picture: Picture,
    fit: PlaneFit,
    circles: list[Circle],
    extra: list[Circle],
    marks: list[Marks],
    focal: float | None,
) -> tuple[PlaneFit, list[bool]]:
    """Rims drawn onto their edges; twice, since the first view may be rough."""
    channels = greys(picture.pixels, 1.5)
    sharp = [False] * len(circles)
    for _ in range(2):
        seen, sharp = [], []
        for number, circle in enumerate(circles):
            better = sharpened_rim(channels, fit, number, circle)
            seen.append(better or circle)
            sharp.append(better is not None)
        if not any(sharp):
            return fit, sharp
        fit = fit_plane(picture.width_px, picture.height_px, [*seen, *extra], marks, focal_px=focal)
    return fit, sharp


def _doubts(
    rims: list[RimKeys], fit: PlaneFit, circles: list[Circle], sharp: list[bool]
) -> list[str]:
    said = []
    if fit.rival is not None:
        other = fit.rival.view
        said.append(
            f"the tilt is not settled: {fit.view.tilt_deg:.0f} or {other.tilt_deg:.0f} degrees "
            "explain the taps alike; tap 5 or more points on each rim"
        )
    if all(len(c.pixels) < 5 for c in circles) and not any(sharp):
        said.append(
            "with fewer than 5 taps on every rim the tilt can't be told; the ranges are wide"
        )
    elif not any(sharp) and min(len(c.pixels) for c in circles) < _MANY_TAPS:
        said.append(
            f"sizes are from taps alone; the photo itself, or {_MANY_TAPS} and more taps on each "
            "rim, narrow the ranges"
        )
    if fit.view.tilt_deg > _MOST_TILT_DEG:
        said.append(
            f"the picture is tilted by {fit.view.tilt_deg:.0f} degrees; squarer to the pulleys "
            "measures better"
        )
    for rim, circle, sharpened in zip(rims, circles, sharp, strict=True):
        if len(circle.pixels) > 3 and not sharpened:
            off = np.abs(fit.residual_px[rims.index(rim)])
            if off.max() > 4.0 * circle.sigma_px:
                said.append(
                    f"{rim.part}: tap {int(np.argmax(off)) + 1} lies {off.max():.0f} px off the rim"
                )
    return said


def _pulleys(
    keys: RimFileKeys, fit: PlaneFit, taps: list[Circle], sharp: list[bool]
) -> tuple[PulleySeen, ...]:
    names = [rim.part for rim in keys.rim]
    base = names.index("crank") if "crank" in names else 0
    turn = _upright(keys, fit)
    unit = fit.circles[base, 2]
    centers = (fit.circles[:, :2] - fit.circles[base, :2]) @ turn.T
    found = []
    for number, rim in enumerate(keys.rim):
        radius = fit.circles[number, 2]
        of = 3 * number + 2
        at = 3 * base + 2
        ratio = radius / unit
        gradient = np.zeros(fit.covariance.shape[0])
        gradient[of] += 1.0 / radius
        gradient[at] -= 1.0 / unit
        relative = math.sqrt(max(float(gradient @ fit.covariance @ gradient), 0.0))
        if fit.rival is not None:
            other = fit.rival.circles
            relative = math.hypot(relative, 0.5 * (other[number, 2] / other[base, 2] / ratio - 1.0))
        spread = math.sqrt(max(float(fit.covariance[of, of]), 0.0))
        difference = np.zeros((2, fit.covariance.shape[0]))
        difference[0, 3 * number] += 1.0
        difference[1, 3 * number + 1] += 1.0
        difference[0, 3 * base] -= 1.0
        difference[1, 3 * base + 1] -= 1.0
        place = math.sqrt(max(float(np.trace(difference @ fit.covariance @ difference.T)) / 2, 0.0))
        scaled = fit.mm_per_unit is not None
        low, high = 2.0 * (radius - _RANGE * spread), 2.0 * (radius + _RANGE * spread)
        found.append(
            PulleySeen(
                part=rim.part,
                face=rim.face,
                ratio=ratio,
                ratio_low=ratio * math.exp(-_RANGE * relative),
                ratio_high=ratio * math.exp(_RANGE * relative),
                diameter_mm=2.0 * radius if scaled else None,
                diameter_low_mm=max(low, 0.0) if scaled else None,
                diameter_high_mm=high if scaled else None,
                x_mm=float(centers[number, 0]) if scaled else None,
                y_mm=float(centers[number, 1]) if scaled else None,
                place_sigma_mm=place if scaled else None,
                place=(
                    float(centers[number, 0] / unit),
                    float(centers[number, 1] / unit),
                    float(ratio),
                ),
                taps=len(taps[number].pixels),
                sharpened=sharp[number],
                worst_tap_px=float(np.abs(fit.residual_px[number]).max()),
            )
        )
    return tuple(found)


def _upright(keys: RimFileKeys, fit: PlaneFit) -> Array:
    """Turn that sets upright what the technician marked as upright."""
    if keys.up is None:
        return np.eye(2)
    low, high = fit.view.to_plane(np.array(keys.up, dtype=float))
    along = (high - low) / max(float(np.linalg.norm(high - low)), 1e-12)
    return np.array([[along[1], -along[0]], [along[0], along[1]]])


def _sheet(keys: RimFileKeys, pulleys: tuple[PulleySeen, ...]) -> tuple[str, str]:
    if any(one.diameter_mm is None for one in pulleys):
        return "", "nothing of known size: give one diameter_mm, or [known]; ratios need none"
    if keys.engine is None:
        return "", "[engine] with cylinders is missing in the rim file"
    if not any(one.part == "crank" for one in pulleys):
        return "", "the crank pulley is not among the rims"
    lines = []
    if keys.name:
        lines.append(f"name = {json.dumps(keys.name)}")
    groups: tuple[tuple[str, Mapping[str, Any]], ...] = (
        ("engine", keys.plain_engine()),
        ("belt", keys.belt.model_dump(exclude_none=True)),
    )
    for group, values in groups:
        lines += [f"[{group}]", *(f"{key} = {json.dumps(value)}" for key, value in values.items())]
    for one in pulleys:
        assert one.diameter_low_mm is not None
        assert one.diameter_high_mm is not None
        assert one.diameter_mm is not None
        assert one.x_mm is not None
        assert one.y_mm is not None
        lines += [
            "[[pulley]]",
            f'part = "{one.part}"',
            f"x_mm = {one.x_mm + 0.0:.1f}",
            f"y_mm = {one.y_mm + 0.0:.1f}",
            f"diameter_mm = {one.diameter_mm:.1f}  # from a photo: {one.diameter_low_mm:.1f} to "
            f"{one.diameter_high_mm:.1f}",
            f'face = "{one.face}"',
        ]
    return "\n".join(lines) + "\n", ""


def write_sheet(result: FrontResult, path: Path) -> None:
    """Write the drive sheet; never over a file that is there.

    Raises
    ------
    InputError
        When there is no sheet to write, or something is there already.
    """
    if not result.sheet:
        raise InputError(f"there is no drive sheet: {result.no_sheet}")
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(result.sheet)
    except FileExistsError:
        raise InputError(f"{path} is there already", instead="another name") from None
