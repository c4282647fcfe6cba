"""The gate lets real, finite numbers of the right shape through and nothing else."""

import numpy as np
import pytest

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.gate import require_positive, require_signal, require_track, steps_of
from beltside.sound.track import CrankTrack


def test_float32_stays_and_whole_numbers_become_floats() -> None:
    single = np.ones(4, dtype=np.float32)
    assert require_signal("x", single) is single
    assert require_signal("x", [1, 2, 3]).dtype == np.float64


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_not_finite_is_refused_with_a_count(value: float) -> None:
    with pytest.raises(InputError, match="holds 2 values that are not finite"):
        require_signal("sound", [0.0, value, value])


@pytest.mark.parametrize("values", [["a"], [1j], [None], np.array([True])])
def test_not_numbers_is_refused(values: object) -> None:
    with pytest.raises(InputError, match="real numbers"):
        require_signal("sound", values)  # type: ignore[arg-type]


def test_wrong_shape_and_too_short_are_refused() -> None:
    with pytest.raises(InputError, match="shape"):
        require_signal("sound", np.ones((2, 3)))
    with pytest.raises(InputError, match="shape"):
        require_signal("sound", 1.0)
    with pytest.raises(OutOfRangeError, match="3 values"):
        require_signal("sound", np.ones((2, 3)), shortest=4, dimensions=None)
    with pytest.raises(OutOfRangeError):
        require_signal("sound", np.ones((0, 3)), dimensions=None)


@pytest.mark.parametrize("value", [0.0, -1.0, np.nan, np.inf])
def test_positive(value: float) -> None:
    with pytest.raises(OutOfRangeError):
        require_positive("rate", value, "Hz")


def test_track() -> None:
    good = CrankTrack.constant(800.0)
    assert require_track(good) is good
    ones = np.ones(2)
    with pytest.raises(InputError, match="rise"):
        require_track(CrankTrack(ones, ones, ones, ones))
    with pytest.raises(OutOfRangeError, match="rpm"):
        require_track(CrankTrack(np.arange(2.0), np.array([1.0, -1.0]), ones, ones))


def test_steps() -> None:
    assert steps_of(3, 0.5).tolist() == [0.0, 0.5, 1.0]
