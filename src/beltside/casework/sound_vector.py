"""A fingerprint as one vector of length 1, whose inner product with another is their likeness."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.sound.fingerprint import WEIGHTS, Fingerprint
from beltside.sound.gate import Float64

VECTOR_VERSION: Final = 1
"""Goes up when the fingerprint or this vector changes: only equal versions are compared."""


def sound_vector(fingerprint: Fingerprint) -> npt.NDArray[np.float32] | None:
    """The vector of a fingerprint, shape (n,); None where there is nothing to compare.

    The likeness of two takes is the weighted mean of two correlations (`sound.fingerprint`). A
    correlation is the inner product of what is left after taking off the mean and dividing by the
    length, so with the roots of the weights both fit into one vector. None without a crank speed,
    and where rhythm or tones are flat: a take of which only the texture is known is 0.8 or more
    from every other.
    """
    if fingerprint.rhythm is None or fingerprint.tones is None:
        return None
    rhythm, tones = _direction(fingerprint.rhythm), _direction(fingerprint.tones)
    if rhythm is None or tones is None:
        return None
    whole = sum(WEIGHTS.values())
    parts = [
        np.sqrt(WEIGHTS["rhythm"] / whole) * rhythm,
        np.sqrt(WEIGHTS["tones"] / whole) * tones,
    ]
    return np.concatenate(parts).astype(np.float32)


def _direction(profile: Float64) -> Float64 | None:
    """The profile without its mean, of length 1, in a row; None when it is flat."""
    off = (profile - profile.mean()).ravel()
    length = float(np.linalg.norm(off))
    return off / length if length > 0.0 else None
