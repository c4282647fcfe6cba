"""Tightening order against ASME PCC-1, and the elastic model against books and scipy."""

import math

import numpy as np
import pytest
from scipy.interpolate import RBFInterpolator

from beltside.bolting.evenness import elastic_joint, plate_on_springs
from beltside.bolting.flange import Flange, Hole, places
from beltside.bolting.order import STAGES, star_rule, tightening_order

# ASME PCC-1-2019, cross-pattern sequences (order from memory).
PCC_1 = {
    4: [1, 3, 2, 4],
    8: [1, 5, 3, 7, 2, 6, 4, 8],
    12: [1, 7, 4, 10, 2, 8, 5, 11, 3, 9, 6, 12],
}
PCC_1_MORE = {
    16: [1, 9, 5, 13, 3, 11, 7, 15, 2, 10, 6, 14, 4, 12, 8, 16],
    20: [1, 11, 6, 16, 3, 13, 8, 18, 5, 15, 10, 20, 2, 12, 7, 17, 4, 14, 9, 19],
}


def circle(bolts, radius_mm=60.0, **more):
    angle = 2 * np.pi * np.arange(bolts) / bolts
    return Flange(
        tuple(
            Hole(float(radius_mm * np.sin(a)), float(radius_mm * np.cos(a)), str(k + 1))
            for k, a in enumerate(angle)
        ),
        **more,
    )


def from_one(order):
    return [place + 1 for place in order]


@pytest.mark.parametrize("bolts", [4, 8, 12])
@pytest.mark.parametrize("thickness_mm", [6.0, 12.0, 25.0])
@pytest.mark.parametrize("gasket", ["rubber", "paper", "metal"])
def test_published_orders_on_a_circle(bolts, thickness_mm, gasket):
    """ASME PCC-1-2019 orders for 4, 8 and 12 bolts, whatever cover and gasket."""
    found = tightening_order(circle(bolts, cover_thickness_mm=thickness_mm, gasket=gasket))
    assert from_one(found.order) == PCC_1[bolts]


@pytest.mark.parametrize("bolts", [16, 20])
def test_published_orders_of_many_bolts(bolts):
    """ASME PCC-1-2019 (from memory)."""
    assert from_one(star_rule(bolts)) == PCC_1_MORE[bolts]
    assert from_one(tightening_order(circle(bolts, 120.0)).order) == PCC_1_MORE[bolts]


@pytest.mark.parametrize("bolts", [4, 8, 12])
def test_the_search_itself_finds_them_on_a_stiff_cover(bolts, monkeypatch):
    """ASME PCC-1-2019: with the star rule given no preference the search still ends there."""
    monkeypatch.setattr("beltside.bolting.order.is_even_circle", lambda flange: False)
    found = tightening_order(circle(bolts, cover_thickness_mm=60.0))
    assert found.how == "exact"
    assert from_one(found.order) == PCC_1[bolts]


def test_stages():
    """ASME PCC-1-2019: 20-30 %, 50-70 %, 100 %."""
    assert 0.2 <= STAGES[0] <= 0.3
    assert 0.5 <= STAGES[1] <= 0.7
    assert STAGES[2] == 1.0


def test_a_rigid_cover_follows_the_formula_for_eccentric_load():
    """p = P/A + M c / I on a rigid base (Timoshenko, Strength of Materials, 1955)."""
    radius_mm = 50.0
    angle = 2 * np.pi * np.arange(360) / 360
    springs = radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])
    load = np.array([[20.0, 0.0]])
    force, _ = plate_on_springs(load, springs, np.full(360, 3.0), 1e15)
    # On a ring of n equal springs the second moment is n r^2 / 2.
    expected = 1 / 360 * (1 + 2 * 20.0 * springs[:, 0] / radius_mm**2)
    np.testing.assert_allclose(force[:, 0], expected, rtol=1e-6)


def test_a_plate_on_a_bed_sinks_as_hertz_says():
    """w = P / (8 sqrt(k D)) under a load on an endless plate on a bed.

    Hertz 1884; Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells (1959), section 57.
    """
    stiff_nmm, bed = 2.0e6, 0.5
    length_mm = (stiff_nmm / bed) ** 0.25
    step_mm = length_mm / 4
    line = np.arange(-20, 21) * step_mm
    grid = np.array([(x, y) for x in line for y in line])
    _, sink = plate_on_springs(
        np.zeros((1, 2)), grid, np.full(len(grid), bed * step_mm**2), stiff_nmm
    )
    assert sink[0, 0] == pytest.approx(1 / (8 * math.sqrt(bed * stiff_nmm)), rel=0.02)


def test_the_plate_is_scipys_thin_plate_spline():
    """Duchon 1977 as in scipy: the sunken plate through its springs and loads is that spline."""
    flange = circle(5, 50.0)
    joint = elastic_joint(flange)
    at = places(flange.bolts)
    sunk = joint.pressure[:, 0] / flange.gasket_stiffness_mpa
    # Nodes at the bolts are left out of the fit and must be found by it.
    apart = np.hypot(*(joint.nodes_mm[:, None] - at[None]).transpose(2, 0, 1)).min(axis=1)
    kept = apart > 1e-6
    spline = RBFInterpolator(
        np.concatenate([joint.nodes_mm[kept], at]),
        np.concatenate([sunk[kept], joint.sink[:, 0]]),
        kernel="thin_plate_spline",
    )
    np.testing.assert_allclose(spline(joint.nodes_mm[~kept]), sunk[~kept], rtol=1e-5, atol=1e-12)
