"""A fingerprint as rows whose inner products with those of another are their likeness."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from beltside.casework.takes import HEARING_VERSION
from beltside.sound.fingerprint import Fingerprint, Nuisance, sound_rows

VECTOR_VERSION: Final = 100 * HEARING_VERSION + 1
"""Hundreds count what is heard, ones these rows: only equal versions are compared."""


def sound_vector(
    fingerprint: Fingerprint, nuisance: Nuisance | None
) -> npt.NDArray[np.float32] | None:
    """The rows of a fingerprint, shape (speeds, n); None where there is nothing to compare.

    That is so without a crank speed: where the metal rings alone would make takes of one place
    and one phone alike.
    """
    if not fingerprint.speeds:
        return None
    rows = sound_rows(fingerprint, nuisance).astype(np.float32)
    # A row without rhythm and tones would be compared by its ringing alone.
    lengths = np.linalg.norm(rows, axis=1)
    return rows if (lengths > 0.1).all() else None
