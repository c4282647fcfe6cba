"""The ledger of a fill."""

from __future__ import annotations

import pytest

from beltside.base.errors import OutOfRangeError
from beltside.coolant.fill import BLEED_STEPS, ledger


def test_as_much_in_as_out_is_settled() -> None:
    found = ledger([3.0, 2.5], [2.0, 2.0, 1.5])
    assert found.missing_l == pytest.approx(0.0)
    assert found.settled
    assert found.missing_low_l < 0.0 < found.missing_high_l


def test_a_litre_missing_is_air_and_is_warned_of() -> None:
    found = ledger([6.0], [5.0])
    assert found.missing_l == pytest.approx(1.0)
    assert not found.settled
    assert found.recheck_l >= 1.0
    assert "missing" in found.warnings[0]


def test_range_by_hand() -> None:
    """Own rule: each amount 2 % and 0.05 L; 1.645 sigma of 5 L and 5 L: 0.26 L."""
    found = ledger([5.0], [5.0])
    assert found.missing_high_l == pytest.approx(1.645 * (2 * (0.1**2 + 0.05**2)) ** 0.5)


def test_a_guess_of_what_was_spilled_widens_the_range() -> None:
    sure = ledger([6.0], [6.0])
    unsure = ledger([5.0], [6.0], spilled_l=1.0)
    assert unsure.missing_high_l > sure.missing_high_l + 0.2


def test_more_in_than_out_is_said() -> None:
    assert "more went in" in ledger([3.0], [5.0], capacity_l=8.0).warnings[0]


def test_more_out_than_the_system_holds_is_said() -> None:
    assert "check the figures" in ledger([9.0], [9.0], capacity_l=6.0).warnings[0]


def test_far_more_than_the_capacity_cannot_come_out() -> None:
    """A slipped decimal point: 55 L for 5.5 L."""
    with pytest.raises(OutOfRangeError, match="decimal point"):
        ledger([55.0], [5.0], capacity_l=8.0)


def test_a_dry_system_takes_its_capacity() -> None:
    found = ledger([], [6.0], capacity_l=7.0, dry=True)
    assert found.missing_l == pytest.approx(1.0)
    with pytest.raises(OutOfRangeError, match="capacity"):
        ledger([], [6.0], dry=True)


@pytest.mark.parametrize("amounts", [([-1.0], [1.0]), ([1.0], [99.0]), ([], [])])
def test_figures_outside_are_refused(amounts: tuple[list[float], list[float]]) -> None:
    with pytest.raises(OutOfRangeError):
        ledger(*amounts)


def test_bleeding_ends_with_looking_again_cold() -> None:
    assert "cool" in BLEED_STEPS[-1]
    assert "cold" in BLEED_STEPS[0]
