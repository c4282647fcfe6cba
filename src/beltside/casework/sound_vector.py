"""A fingerprint as one vector of length 1, whose inner product with another is their likeness."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.casework.takes import HEARING_VERSION
from beltside.sound.fingerprint import Fingerprint, Nuisance, cleaned

VECTOR_VERSION: Final = 100 * HEARING_VERSION
"""Hundreds count what is heard, ones this vector: only equal versions are compared."""


def sound_vector(
    fingerprint: Fingerprint, nuisance: Nuisance | None
) -> npt.NDArray[np.float32] | None:
    """The vector of a fingerprint, shape (n,); None where there is nothing to compare.

    The likeness of two takes is the cosine of their profiles, the nuisance taken out
    (`sound.fingerprint.likeness`); so it is the inner product of these rows of length 1. That is
    exact for takes that reach the same zones; of two that do not, the zones that only one reaches
    make them a little farther apart than they are. None without a crank speed, and where rhythm or
    tones are flat: a take of which only the texture is known is 0.8 or more from every other.
    """
    if fingerprint.rhythm is None or fingerprint.tones is None:
        return None
    if not np.ptp(fingerprint.rhythm) or not np.ptp(fingerprint.tones):
        return None
    row, reached = cleaned(fingerprint, nuisance)
    row = row * reached
    length = float(np.linalg.norm(row))
    return (row / length).astype(np.float32) if length > 0.0 else None
