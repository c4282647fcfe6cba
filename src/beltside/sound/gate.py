"""The one gate through which arrays and rates enter the sound room."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.track import CrankTrack

Float32 = npt.NDArray[np.float32]
Float64 = npt.NDArray[np.float64]
Complex64 = npt.NDArray[np.complex64]
AnyFloat = npt.NDArray[np.floating[Any]]


def require_signal(
    name: str, values: npt.ArrayLike, *, shortest: int = 1, dimensions: int | None = 1
) -> AnyFloat:
    """Give back `values` as a float array when it is one this room can work on.

    Parameters
    ----------
    name
        What it is, for the message.
    values
        Samples, time last, shape (n,) or (..., n). float32 stays float32, anything else that
        is a real number becomes float64.
    shortest
        Fewest samples along the last axis.
    dimensions
        Number of axes, or None when any number from one up will do.

    Raises
    ------
    InputError
        When it is not real numbers, has the wrong number of axes, or holds a NaN or infinity.
    OutOfRangeError
        When it is too short.
    """
    array = np.asarray(values)
    if array.dtype.kind not in "fiu":
        raise InputError(
            f"{name} holds {array.dtype} values", allowed="real numbers", instead="a float32 array"
        )
    result: AnyFloat = array if array.dtype in (np.float32, np.float64) else array.astype(float)
    if array.ndim == 0 or (dimensions is not None and array.ndim != dimensions):
        wanted = "one or more axes" if dimensions is None else f"{dimensions} axis or axes"
        raise InputError(
            f"{name} has shape {array.shape}",
            allowed=f"{wanted}, time or order last",
            instead="one channel at a time, or the mean of the channels",
        )
    if array.shape[-1] < shortest or array.size == 0:
        raise OutOfRangeError(
            f"{name} has {array.shape[-1]} values",
            allowed=f"{shortest} or more",
            instead="a longer stretch of sound",
        )
    if not np.isfinite(result).all():
        raise InputError(
            f"{name} holds {int(np.sum(~np.isfinite(result)))} values that are not finite",
            allowed="finite numbers only",
            instead="leave out or repair the damaged stretch first",
        )
    return result


def steps_of(count: int, step: float) -> Float64:
    """0, 1, ... count - 1 times `step`."""
    result: Float64 = np.arange(count, dtype=np.float64) * step
    return result


def require_positive(name: str, value: float, unit: str) -> float:
    """Give back `value` when it is finite and above zero.

    Raises
    ------
    OutOfRangeError
        When it is not.

    >>> require_positive("sample rate", 48000, "Hz")
    48000.0
    """
    number = float(value)
    if not (np.isfinite(number) and number > 0.0):
        raise OutOfRangeError(
            f"{name} is {number:g} {unit}",
            allowed=f"above 0 {unit}, finite",
            instead="check the figure and its unit",
        )
    return number


def require_track(track: CrankTrack) -> CrankTrack:
    """Give back the crank track when its moments rise and its speeds are finite and above zero.

    Raises
    ------
    InputError
        When they do not.
    """
    time_s = require_signal("track time_s", track.time_s)
    rpm = require_signal("track rpm", track.rpm)
    if time_s.shape != rpm.shape or bool(np.any(np.diff(time_s) <= 0.0)):
        raise InputError(
            f"the crank track has {time_s.size} moments and {rpm.size} speeds, or moments that "
            "do not rise",
            allowed="one speed for each of a rising row of moments",
            instead="sort the moments and drop the doubles",
        )
    if bool(np.any(rpm <= 0.0)):
        raise OutOfRangeError(
            f"the crank track goes down to {float(rpm.min()):g} rpm",
            allowed="above 0 rpm throughout",
            instead="cut the take where the engine stands still",
        )
    return track
