"""Sharpness: how high-pitched a sound's loudness lies, by DIN 45692:2009."""

from __future__ import annotations

from typing import Final

import numpy as np

from beltside.base.errors import OutOfRangeError
from beltside.sound.loudness import STEP_BARK, Loudness

SCALE: Final = 0.11
"""Makes noise one critical band wide at 1 kHz and 60 dB read 1 acum (DIN 45692:2009; the
standard lets each program set it between 0.105 and 0.115)."""

BEND_BARK: Final = 15.8
"""From here on high pitch counts more (DIN 45692:2009, equation 2)."""


def sharpness(heard: Loudness) -> float:
    """Sharpness [acum]: 0.11 times the centre of loudness over pitch, high pitch counting more.

    The weight is 1 up to 15.8 Bark, above it 0.15 exp(0.42 (z - 15.8)) + 0.85.

    Raises
    ------
    OutOfRangeError
        For a sound too soft to be heard.
    """
    if heard.sone <= 0.0:
        raise OutOfRangeError(
            "a sound below the threshold of hearing", allowed="above 0 sone", instead="a louder one"
        )
    # Middles of the steps: the integral of what is known at their ends.
    bark = STEP_BARK * (np.arange(heard.specific.size) + 0.5)
    weight = np.where(bark > BEND_BARK, 0.15 * np.exp(0.42 * (bark - BEND_BARK)) + 0.85, 1.0)
    step = np.diff(np.concatenate(([heard.specific[0]], heard.specific)))
    middle = heard.specific - 0.5 * step
    return SCALE * float(np.sum(middle * weight * bark)) * STEP_BARK / heard.sone
