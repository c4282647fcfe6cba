"""Taut loops: what must stay the same however a drive is laid, and what has no loop."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError, OutOfRangeError
from beltside.drive.loop import NoTangentError, crossed_belt_length, open_belt_length, taut_loop

RADII = st.floats(20.0, 90.0)


@st.composite
def rings(draw: st.DrawFn) -> tuple[list[complex], list[float]]:
    """Circles that stand clear of each other on a ring, met clockwise, some bent the other way."""
    count = draw(st.integers(2, 12))
    radii = [draw(RADII) for _ in range(count)]
    backs = [count > 3 and draw(st.booleans()) and place % 2 == 1 for place in range(count)]
    ring = 120.0 / math.sin(math.pi / max(count, 3))
    centres = [
        (ring + draw(st.floats(-8.0, 8.0))) * cmath.exp(-2j * math.pi * place / count)
        for place in range(count)
    ]
    return centres, [-r if back else r for r, back in zip(radii, backs, strict=True)]


@settings(max_examples=60, deadline=None)
@given(rings(), st.floats(0.0, 6.28), st.floats(0.2, 5.0), st.integers(0, 11))
def test_turned_scaled_and_started_anywhere(
    ring: tuple[list[complex], list[float]], angle: float, scale: float, first: int
) -> None:
    centres, radii = ring
    loop = taut_loop(centres, radii)
    turned = taut_loop(
        [scale * c * cmath.exp(1j * angle) + 17 - 4j for c in centres], [scale * r for r in radii]
    )
    assert turned.length == pytest.approx(scale * loop.length)
    # A wrap of nothing and one of a full turn are neighbours.
    for one, other in zip(turned.wraps, loop.wraps, strict=True):
        assert math.cos(one - other) == pytest.approx(1.0)
    k = first % len(centres)
    rolled = taut_loop(centres[k:] + centres[:k], radii[k:] + radii[:k])
    assert rolled.spans == pytest.approx(loop.spans[k:] + loop.spans[:k])
    assert rolled.length == pytest.approx(loop.length)


@settings(max_examples=60, deadline=None)
@given(rings())
def test_mirrored_and_run_backwards(ring: tuple[list[complex], list[float]]) -> None:
    centres, radii = ring
    loop = taut_loop(centres, radii)
    mirrored = taut_loop([c.conjugate() for c in centres], [-r for r in radii])
    assert mirrored.length == pytest.approx(loop.length)
    assert mirrored.turns == -loop.turns
    backwards = taut_loop(centres[::-1], [-r for r in radii[::-1]])
    assert backwards.length == pytest.approx(loop.length)
    assert backwards.turns == -loop.turns


@settings(max_examples=60, deadline=None)
@given(rings())
def test_spans_are_tangents(ring: tuple[list[complex], list[float]]) -> None:
    centres, radii = ring
    loop = taut_loop(centres, radii)
    count = len(centres)
    for i in range(count):
        j = (i + 1) % count
        way = loop.arrives[j] - loop.leaves[i]
        assert abs(way) == pytest.approx(loop.spans[i])
        for centre, touch, radius in (
            (centres[i], loop.leaves[i], radii[i]),
            (centres[j], loop.arrives[j], radii[j]),
        ):
            arm = touch - centre
            assert abs(arm) == pytest.approx(abs(radius))
            assert (arm * way.conjugate()).real == pytest.approx(0.0, abs=1e-6)
            # The centre lies to the right of travel where the belt turns clockwise.
            assert (way.conjugate() * -arm).imag * radius < 0.0


def test_a_belt_of_one_circle_round_two_equal_ones() -> None:
    loop = taut_loop([0j, 200j], [40.0, 40.0])
    assert loop.length == pytest.approx(400.0 + 2.0 * math.pi * 40.0)
    assert loop.wraps == pytest.approx((math.pi, math.pi))


def test_open_is_shorter_than_crossed() -> None:
    assert open_belt_length(300.0, 120.0, 60.0) < crossed_belt_length(300.0, 120.0, 60.0)


@pytest.mark.parametrize(
    ("centres", "radii"),
    [([0j], [1.0]), ([0j, 5j], [1.0]), ([0j, 5j], [1.0, 0.0])],
)
def test_no_loop_of_nothing(centres: list[complex], radii: list[float]) -> None:
    with pytest.raises(InputError):
        taut_loop(centres, radii)


def test_circles_within_each_other_have_no_tangent() -> None:
    with pytest.raises(NoTangentError) as caught:
        taut_loop([0j, 10 + 0j], [40.0, 20.0])
    assert caught.value.pair == (0, 1)
    with pytest.raises(NoTangentError):
        taut_loop([0j, 50 + 0j], [40.0, -20.0])


@pytest.mark.parametrize("distance", [0.0, -5.0, math.nan, math.inf])
def test_a_distance_must_be_one(distance: float) -> None:
    with pytest.raises(OutOfRangeError):
        open_belt_length(distance, 10.0, 10.0)
