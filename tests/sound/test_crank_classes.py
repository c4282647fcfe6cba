"""Heights of an engine's lines by class, on spectra drawn line by line."""

import numpy as np
import pytest

from beltside.sound.crank_choice import LineEvidence
from beltside.sound.crank_classes import CLASS_MEASURES, class_heights

STEP = 1.0 / 64.0


def spectrum(orders: dict[float, float], pulse: dict[float, float] | None = None) -> LineEvidence:
    """Lines of those heights, nothing between; up to order 16 and from order 0.5 on."""

    def row(lines: dict[float, float]) -> np.ndarray:
        values = np.zeros(round(17.0 / STEP))
        for order, height in lines.items():
            values[round(order / STEP)] = height
        return values

    rows = [row(orders)] + ([row(pulse)] if pulse is not None else [])
    count = len(rows)
    return LineEvidence(
        step=STEP,
        segment_turns=32.0,
        height=np.array(rows),
        usable=np.full(count, 16.0),
        lowest=np.full(count, 0.5),
        pulse_row=count - 1 if pulse is not None else -1,
    )


def heights(lines: LineEvidence, multiple: float = 1.0, cylinders: int = 4) -> dict[str, float]:
    return dict(
        zip(CLASS_MEASURES, class_heights(lines, multiple, cylinders, 4).tolist(), strict=True)
    )


def four_cylinder() -> LineEvidence:
    """Fires at order 2 and its multiples with height 8, shows the other whole orders with 3 and
    half orders with 1: every line of a four-stroke four-cylinder."""
    half = {number / 2.0: 1.0 for number in range(1, 33)}
    whole = {float(number): 3.0 for number in range(1, 17)}
    firing = {2.0 * number: 8.0 for number in range(1, 9)}
    return spectrum({**half, **whole, **firing})


def test_each_class_has_its_own_mean() -> None:
    """One line of height 0 is counted in: 4 odd and 4 even firing lines, 8 of two cylinders, 16 of
    one."""
    found = heights(four_cylinder())
    assert found["low_firing_odd"] == pytest.approx(8.0 * 4 / 5)
    assert found["low_firing_even"] == pytest.approx(8.0 * 4 / 5)
    assert found["low_some_cylinders"] == pytest.approx(3.0 * 8 / 9)
    assert found["low_whole_cycle"] == pytest.approx(16 / 17)
    assert found["low_between"] == 0.0
    # Between two half orders; the last firing line has no neighbour above it.
    assert found["low_lead_mean"] == pytest.approx(7.0 * 7 / 8)


def test_at_double_speed_firing_lacks_its_lead_and_at_half_every_other_line() -> None:
    double, half = heights(four_cylinder(), 2.0), heights(four_cylinder(), 0.5)
    assert double["low_some_cylinders"] == pytest.approx(8.0 * 4 / 5)
    assert double["low_between"] == pytest.approx(1.0, abs=0.1)
    assert half["low_firing_odd"] == pytest.approx(3.0 * 4 / 5)
    assert half["low_firing_even"] == pytest.approx(8.0 * 4 / 5)


def test_signals_stand_apart_and_a_missing_one_at_zero() -> None:
    both = heights(spectrum({2.0: 5.0}, {2.0: 9.0}))
    assert both["pulse_firing_odd"] == pytest.approx(9.0 / 5.0)
    assert both["low_firing_odd"] == pytest.approx(5.0 / 5.0)
    alone = heights(spectrum({2.0: 5.0}))
    assert all(alone[name] == 0.0 for name in alone if name.startswith("pulse"))


def test_one_loud_whine_counts_as_one_line() -> None:
    assert heights(spectrum({2.0: 500.0}))["low_firing_odd"] == pytest.approx(12.0 / 5.0)


@pytest.mark.parametrize("cylinders", [1, 2, 3, 5, 6, 8, 10, 12, 16])
@pytest.mark.parametrize("multiple", [1.0 / 8.0, 1.0, 8.0, 40.0])
def test_any_engine_and_any_multiple_gives_finite_heights(cylinders: int, multiple: float) -> None:
    found = class_heights(four_cylinder(), multiple, cylinders, 4)
    assert found.shape == (len(CLASS_MEASURES),)
    assert np.isfinite(found).all()
