"""Pictures: pulleys from a photo, holes without taps, old part against new part.

Drawn by bench/photo_stranger.py, which shares nothing with the rig. References: taps taken as they
are, a circle through each rim's taps without undoing anything (the naive way), and for the match
scipy's linear_sum_assignment inside an alternating search from 36 turns.

What taps alone can tell at all: bench/photo_limit.py.

usage: python bench/photo.py [--views 200] [--pairs 500] [--seed 77]
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np
from scipy.optimize import linear_sum_assignment

import photo_stranger as stranger
from figures import Figure, table

PARTS = ("crank", "alternator", "idler", "coolant-pump", "tensioner", "ac-compressor", "fan")


def front(views: int, seed: int, taps_each: int = 6) -> list[Figure]:
    """Ratios and positions of `views` tilted views."""
    from beltside.casework.photo_pulleys import measure_front

    rng = np.random.default_rng(seed)
    size = (3000, 2250)
    ratio: dict[str, list[float]] = {"photo": [], "taps": [], "naive": []}
    place: dict[str, list[float]] = {"photo": [], "taps": []}
    held = total = 0
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(views):
            centers, sizes = draw_drive(rng)
            image, camera = stranger.front_picture(rng, centers, sizes, size)
            photo, file = Path(folder) / "front.bmp", Path(folder) / "rims.toml"
            cv2.imwrite(str(photo), image)
            taps, _ = draw_taps(rng, camera, centers, sizes, taps_each)
            lines = [f"width_px = {size[0]}", f"height_px = {size[1]}"]
            for k, one in enumerate(taps):
                lines += ["[[rim]]", f'part = "{PARTS[k]}"', f"taps = {one.round(1).tolist()}"]
                if k == 0:
                    lines.append(f"diameter_mm = {sizes[0]:.3f}")
            file.write_text("\n".join(lines), encoding="utf-8")
            for way, given in (("photo", photo), ("taps", None)):
                result = measure_front(file, given)
                got = np.array([one.ratio for one in result.pulleys])
                ratio[way] += list(np.abs(got * sizes[0] / sizes - 1.0)[1:])
                z = np.array([(one.x_mm or 0) + 1j * (one.y_mm or 0) for one in result.pulleys])
                # Which way is up is a matter of how the phone was held: turned to fit best.
                true = centers @ [1, 1j]
                z *= np.exp(-1j * np.angle(np.sum(z * np.conj(true))))
                place[way] += list(np.abs(z - true)[1:] / np.abs(true).max())
                if way == "photo":
                    for pulley, d in zip(result.pulleys[1:], sizes[1:], strict=True):
                        total += 1
                        held += pulley.ratio_low <= d / sizes[0] <= pulley.ratio_high
            naive = [cv2.minEnclosingCircle(one.astype(np.float32))[1] for one in taps]
            ratio["naive"] += list(np.abs(np.array(naive) / naive[0] * sizes[0] / sizes - 1.0)[1:])
    few = f"{views} views, 6 taps a rim, 3 px"

    def within(values: list[float], limit: float) -> float:
        return float(np.mean(np.array(values) <= limit))

    base = np.median(ratio["naive"])
    return [
        Figure(
            "ratios within 1.5 %, with the photo",
            within(ratio["photo"], 0.015),
            "%",
            0.95,
            True,
            few,
        ),
        Figure(
            "median error of a ratio, with the photo",
            float(np.median(ratio["photo"])),
            "%",
            0.015,
            note=f"naive circles {100 * base:.2f} %: {base / np.median(ratio['photo']):.0f} times",
        ),
        Figure(
            "ratios within 1.5 %, taps alone",
            within(ratio["taps"], 0.015),
            "%",
            None,
            True,
            f"naive circles {100 * within(ratio['naive'], 0.015):.0f} %",
        ),
        Figure(
            "95 % of ratios, taps alone, within",
            float(np.quantile(ratio["taps"], 0.95)),
            "%",
            0.015,
        ),
        Figure(
            "positions within 2 %, with the photo",
            within(place["photo"], 0.02),
            "%",
            0.95,
            True,
            "of the drive's size, turned to fit",
        ),
        Figure("positions within 2 %, taps alone", within(place["taps"], 0.02), "%", 0.95, True),
        Figure("90 % ranges that hold the true ratio", held / max(total, 1), "%", 0.85, True),
    ]


def draw_taps(
    rng: np.random.Generator,
    camera: stranger.Camera,
    centers: np.ndarray,
    sizes: np.ndarray,
    taps_each: int,
) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Taps on each rim, 3 px off, and where round the rim [rad] they were meant."""
    taps, turns = [], []
    for (x, y), d in zip(centers, sizes, strict=True):
        turn = rng.uniform(0, 2 * np.pi) + 2 * np.pi * np.arange(taps_each) / taps_each
        turn += rng.normal(0, 0.15, taps_each)
        rim = np.column_stack([x + d / 2 * np.cos(turn), y + d / 2 * np.sin(turn)])
        taps.append(camera.project(rim) + rng.normal(0, 3.0, rim.shape))
        turns.append(turn)
    return taps, turns


def draw_drive(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Centres and diameters of 4 to 7 pulleys that don't touch [mm]."""
    n = int(rng.integers(4, 8))
    while True:
        sizes = np.append(rng.uniform(115, 165), rng.uniform(50, 135, n - 1))
        centers = np.vstack([[0, 0], rng.uniform([-210, -40], [230, 320], (n - 1, 2))])
        apart = np.linalg.norm(centers[:, None] - centers, axis=2) + 1e4 * np.eye(n)
        if (apart > (sizes[:, None] + sizes) / 2 + 8).all():
            return centers, sizes


def _plate(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """4 to 8 holes, nothing near symmetry asked or avoided."""
    n = int(rng.integers(4, 9))
    while True:
        holes = rng.uniform(-55, 55, (n, 2)) * [1.0, 0.8]
        apart = np.linalg.norm(holes[:, None] - holes, axis=2) + 1e4 * np.eye(n)
        if apart.min() > 17.0:
            return holes, rng.choice([6.6, 8.6, 9.0, 10.5], n)


def found(pictures: int, seed: int) -> list[Figure]:
    """Holes found without taps."""
    from beltside.photo.holes import find_part

    rng = np.random.default_rng(seed)
    all_found = holes_found = holes_there = extra = 0
    for _ in range(pictures):
        holes, sizes = _plate(rng)
        disc = (float(holes[:, 0].max() + 45.0), 0.0, 24.25)
        image, camera = stranger.part_picture(rng, holes, sizes, disc)
        part = find_part(np.ascontiguousarray(image[:, :, ::-1]))
        want = camera.project(holes)
        got = np.array([[one.x_px, one.y_px] for one in part.holes]).reshape(-1, 2)
        apart = np.linalg.norm(want[:, None] - got[None], axis=2)
        hit = int((apart.min(axis=1) < 4.0).sum()) if len(got) else 0
        holes_found, holes_there = holes_found + hit, holes_there + len(want)
        extra += len(got) - hit
        all_found += hit == len(want) and len(got) == hit
    return [
        Figure(
            "pictures with every hole found, none too many",
            all_found / pictures,
            "%",
            0.9,
            True,
            f"{pictures} pictures",
        ),
        Figure("holes found", holes_found / holes_there, "%", 0.9, True, f"{extra} too many"),
    ]


def match(pairs: int, seed: int) -> list[Figure]:
    """Orientation, verdicts and time; holes tapped (centres and 5 edge points) in tilted views."""
    from beltside.bolting.match import match_holes
    from beltside.casework.match_part import read_part

    rng = np.random.default_rng(seed)
    right = naive_right = false_fits = fits = told_off = 0
    took = []
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(pairs):
            holes, sizes = _plate(rng)
            n = len(holes)
            order = rng.permutation(n)
            flip = rng.random() < 0.3
            turn = rng.uniform(-np.pi, np.pi)
            spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
            for moved in (False, True):
                made = holes + rng.normal(0, 0.3, holes.shape)
                if moved:
                    way = rng.uniform(0, 2 * np.pi)
                    made[rng.integers(n)] += 1.5 * np.array([np.cos(way), np.sin(way)])
                other = (made @ spin.T * ([-1, 1] if flip else [1, 1]))[order]
                parts = []
                for name, one, d in (("old", holes, sizes), ("new", other, sizes[order])):
                    path = Path(folder) / f"{name}.toml"
                    path.write_text(_tapped(rng, one, d), encoding="utf-8")
                    parts.append(read_part(path).holes)
                start = time.process_time()
                result = match_holes(*parts)
                took.append(time.process_time() - start)
                if moved:
                    false_fits += result.verdict.startswith("fits")
                    told_off += result.verdict == "doesn't fit"
                    continue
                fits += result.verdict.startswith("fits")
                right += any(
                    way.flipped == flip and all(order[j] == i for i, j in way.partner.items())
                    for way in result.orientations[:1]
                )
                naive_right += _alternating(parts[0].places_mm, parts[1].places_mm, order, flip)
    note = f"{pairs} pairs"
    return [
        Figure(
            "right orientation",
            right / pairs,
            "%",
            0.99,
            True,
            f"{note}; alternating search {100 * naive_right / pairs:.1f} %",
        ),
        Figure('false "fits", one hole moved 1.5 mm', false_fits / pairs, "%", 0.01, note=note),
        Figure("good pairs told to fit", fits / pairs, "%", None, note="the others: can't tell"),
        Figure("moved hole told not to fit", told_off / pairs, "%", None),
        Figure("time of a match, slowest in 100", float(np.quantile(took, 0.99)), "s", 0.05),
    ]


def _tapped(rng: np.random.Generator, holes: np.ndarray, sizes: np.ndarray) -> str:
    """A part file: a card's corners, and six points on every hole's edge, 1 px off each."""
    low = holes.min(axis=0)
    card = np.array([[0.0, 0.0], [85.6, 0.0], [85.6, 53.98], [0.0, 53.98]]) + low - [0.0, 75.0]
    camera = stranger.camera(rng, (4000, 3000), np.concatenate([holes, card]), 25.0)
    turn = 2 * np.pi * np.arange(6) / 6
    lines = ["width_px = 4000", "height_px = 3000", "tap_error_px = 1.0", "[known]"]
    corners = camera.project(card) + rng.normal(0, 1.0, (4, 2))
    lines += ["width_mm = 85.6", "height_mm = 53.98", f"corners = {corners.round(2).tolist()}"]
    for (x, y), d in zip(holes, sizes, strict=True):
        rim = np.column_stack([x + d / 2 * np.cos(turn), y + d / 2 * np.sin(turn)])
        seen = camera.project(rim) + rng.normal(0, 1.0, rim.shape)
        lines += ["[[hole]]", f"taps = {seen.round(2).tolist()}"]
    return "\n".join(lines)


def _alternating(old: np.ndarray, new: np.ndarray, order: np.ndarray, flip: bool) -> bool:
    """The usual way: assign, turn, assign again, from 36 turns and both sides; is it right?"""
    best = (np.inf, False, np.arange(len(old)))
    z = (old - old.mean(axis=0)) @ [1, 1j]
    for over in (False, True):
        w = (new - new.mean(axis=0)) @ [-1 if over else 1, 1j]
        for turn in np.arange(36) * np.pi / 18:
            angle = np.exp(1j * turn)
            for _ in range(6):
                columns = linear_sum_assignment(np.abs(angle * z[:, None] - w[None]) ** 2)[1]
                product = np.sum(np.conj(z) * w[columns])
                angle = product / abs(product)
            cost = float(np.sum(np.abs(angle * z - w[columns]) ** 2))
            if cost < best[0]:
                best = (cost, over, columns)
    return best[1] == flip and bool(np.all(order[best[2]] == np.arange(len(old))))


def measure(views: int, pairs: int, seed: int) -> list[Figure]:
    """All figures of this page."""
    return [*match(pairs, seed), *found(views, seed), *front(views, seed)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=200)
    parser.add_argument("--pairs", type=int, default=500)
    parser.add_argument("--seed", type=int, default=77)
    arguments = parser.parse_args()
    print(table(match(arguments.pairs, arguments.seed)), flush=True)
    print(table(found(arguments.views, arguments.seed)), flush=True)
    print(table(front(arguments.views, arguments.seed)), flush=True)


if __name__ == "__main__":
    main()
