"""Hole match against general-purpose routines.

Second implementations: scipy.optimize.linear_sum_assignment (Jonker and Volgenant 1987),
scipy.linalg.orthogonal_procrustes (Schoenemann 1966), shapely for areas.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from scipy.linalg import orthogonal_procrustes
from scipy.optimize import linear_sum_assignment

from beltside.bolting.match import holes, match_holes
from beltside.bolting.match_assign import assignments
from beltside.bolting.match_overlap import overlap


def procrustes_rms(old: np.ndarray, new: np.ndarray) -> float:
    """Left over after the best turn (mirroring allowed), by the routine of Schoenemann 1966."""
    a, b = old - old.mean(axis=0), new - new.mean(axis=0)
    turn, _ = orthogonal_procrustes(a, b)
    return float(np.sqrt(np.mean(np.sum((a @ turn - b) ** 2, axis=1))))


@pytest.mark.parametrize("n", [4, 5, 6])
def test_the_best_of_all_permutations(n: int) -> None:
    # Schoenemann 1966 on every one of the n! permutations: nothing may be cheaper.
    rng = np.random.default_rng(n)
    for _ in range(4):
        old, new = rng.uniform(-60, 60, (n, 2)), rng.uniform(-60, 60, (n, 2))
        cheapest = min(procrustes_rms(old, new[list(p)]) for p in itertools.permutations(range(n)))
        best = assignments(old, new).best[0]
        assert best.rms_mm == pytest.approx(cheapest, rel=1e-9)
        assert procrustes_rms(old, new[list(best.partner)]) == pytest.approx(cheapest, rel=1e-9)


def test_with_the_turn_known_linear_assignment_agrees() -> None:
    # Jonker and Volgenant 1987: once turn and shift are known, no assignment is cheaper.
    rng = np.random.default_rng(3)
    for n in (5, 8, 12):
        old = rng.uniform(-70, 70, (n, 2))
        turn = rng.uniform(-np.pi, np.pi)
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        order = rng.permutation(n)
        new = (old @ spin.T + [12.0, -7.0] + rng.normal(0, 0.2, old.shape))[order]
        best = match_holes(holes(old), holes(new)).best
        assert best is not None
        laid = best.on_new(old)
        cost = np.sum((laid[:, None] - new[None]) ** 2, axis=2)
        rows, columns = linear_sum_assignment(cost)
        assert dict(zip(rows.tolist(), columns.tolist(), strict=True)) == best.partner


def test_more_holes_on_one_side() -> None:
    # All injections of 4 holes into 6, each by Schoenemann 1966; both ways round.
    rng = np.random.default_rng(8)
    few, many = rng.uniform(-50, 50, (4, 2)), rng.uniform(-50, 50, (6, 2))
    cheapest = min(procrustes_rms(few, many[list(p)]) for p in itertools.permutations(range(6), 4))
    assert assignments(few, many).best[0].rms_mm == pytest.approx(cheapest, rel=1e-9)
    back = assignments(many, few).best[0]
    assert back.rms_mm == pytest.approx(cheapest, rel=1e-9)
    assert sorted(k for k in back.partner if k >= 0) == [0, 1, 2, 3]


def test_overlap_against_polygon_clipping() -> None:
    # shapely (GEOS, OGC Simple Features, ISO 19125) clips exactly; ours samples 400 by 400.
    rng = np.random.default_rng(2)
    for _ in range(4):
        shapes = []
        for _ in range(2):
            angle = np.sort(rng.uniform(0, 2 * np.pi, 9))
            reach = rng.uniform(20, 50, 9)
            shapes.append(np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1))
        one, other = (shapely.Polygon(shape).buffer(0) for shape in shapes)
        if not (shapely.Polygon(shapes[0]).is_valid and shapely.Polygon(shapes[1]).is_valid):
            continue
        found = overlap(*shapes)
        assert found.common_mm2 == pytest.approx(one.intersection(other).area, rel=0.01)
        assert found.old_mm2 == pytest.approx(one.area, rel=0.01)
        share = one.intersection(other).area / one.union(other).area
        assert found.share == pytest.approx(share, abs=0.005)
