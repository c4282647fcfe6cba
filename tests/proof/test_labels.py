"""Labels: none overlap, none leaves the picture, each part keeps its clearest line."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import isotonic_regression

from beltside.casework.results import ExplainedLine
from beltside.proof.labels import line_labels, spread

ROOM_PX = 620.0
HEIGHT_PX = 46.0

wanted_places = st.lists(st.floats(min_value=0.0, max_value=ROOM_PX), min_size=1, max_size=13).map(
    sorted
)


@settings(max_examples=200)
@given(wanted_places)
def test_labels_never_overlap_and_stay_inside(wanted: list[float]) -> None:
    places = spread(wanted, [HEIGHT_PX] * len(wanted), 0.0, ROOM_PX)
    gaps = np.diff(places)
    assert np.all(gaps >= HEIGHT_PX - 1e-6)
    assert min(places) >= HEIGHT_PX / 2.0 - 1e-6
    assert max(places) <= ROOM_PX - HEIGHT_PX / 2.0 + 1e-6


@settings(max_examples=100)
@given(wanted_places, st.randoms(use_true_random=False))
def test_labels_of_unlike_heights_never_overlap(wanted: list[float], random: object) -> None:
    heights = [20.0 + 25.0 * random.random() for _ in wanted]  # type: ignore[attr-defined]
    places = spread(wanted, heights, 0.0, ROOM_PX)
    for (a, h), (b, k) in zip(
        zip(places, heights, strict=True), list(zip(places, heights, strict=True))[1:], strict=False
    ):
        assert b - k / 2.0 >= a + h / 2.0 - 1e-6


@settings(max_examples=100)
@given(wanted_places)
def test_places_are_the_nearest_possible_in_least_squares(wanted: list[float]) -> None:
    # scipy's isotonic regression is a second implementation of the same problem.
    offsets = np.arange(len(wanted)) * HEIGHT_PX
    reference = isotonic_regression(np.array(wanted) - offsets).x + offsets
    places = spread(wanted, [HEIGHT_PX] * len(wanted), -1e5, 1e5)
    assert places == pytest.approx(reference.tolist(), abs=1e-6)


def test_labels_with_room_stay_where_they_are_wanted() -> None:
    assert spread([100.0, 200.0, 300.0], [40.0] * 3, 0.0, 400.0) == [100.0, 200.0, 300.0]


def test_more_labels_than_room_are_refused() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        spread([10.0, 20.0], [40.0, 40.0], 0.0, 79.0)


def test_no_labels_take_no_place() -> None:
    assert spread([], [], 0.0, 100.0) == []


def test_harmonics_of_one_source_share_a_label(made: ModuleType) -> None:
    sound = [line for line in made.lines() if line.spectrum == "sound"]
    labels, _ = line_labels(sound, most=99)
    firing = next(label for label in labels if label.source == "firing")
    assert firing.orders == "orders 2, 4, 6"
    assert firing.strongest.order == 2.0
    assert len(firing.lines) == 3


def test_each_part_keeps_a_label_when_there_are_too_many() -> None:
    crowd = [
        ExplainedLine("alternator", f"source {n}", 1.0 + n, -50.0, 20.0 - 0.1 * n)
        for n in range(20)
    ]
    quiet = ExplainedLine("idler", "shaft", 3.3, -70.0, 2.0)
    labels, left_out = line_labels([*crowd, quiet], most=12)
    assert len(labels) == 12
    assert len(left_out) == 9
    assert "idler" in {label.part for label in labels}
    orders = [label.strongest.order for label in labels]
    assert orders == sorted(orders)
