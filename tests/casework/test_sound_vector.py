"""The inner product of two vectors is the likeness of the fingerprints, by the fingerprint's own
distance and by scipy's correlation."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.stats import pearsonr

from beltside.casework.sound_vector import sound_vector
from beltside.sound.fingerprint import (
    WEIGHTS,
    Fingerprint,
    distance,
    rhythm_orders,
    tone_orders,
)


def made(seed: int) -> Fingerprint:
    rng = np.random.default_rng(seed)
    return Fingerprint(
        rng.gamma(0.5, 1.0, (3, rhythm_orders().size)),
        rng.gamma(0.5, 1.0, tone_orders().size),
        rng.normal(size=7),
    )


@pytest.mark.parametrize("mixed", [0.0, 0.5, 1.0])
def test_distance_is_one_less_the_inner_product(mixed: float) -> None:
    one, other = made(1), made(2)
    assert one.rhythm is not None
    assert other.rhythm is not None
    assert one.tones is not None
    assert other.tones is not None
    other = dataclasses.replace(
        other, rhythm=mixed * one.rhythm + (1 - mixed) * other.rhythm, tones=other.tones
    )
    assert other.rhythm is not None
    assert other.tones is not None
    first, second = sound_vector(one), sound_vector(other)
    assert first is not None
    assert second is not None
    assert np.linalg.norm(first) == pytest.approx(1.0, abs=1e-6)
    apart = 1.0 - float(first @ second)
    assert max(apart, 0.0) == pytest.approx(distance(one, other), abs=1e-5)
    rhythm = pearsonr(one.rhythm.ravel(), other.rhythm.ravel()).statistic
    tones = pearsonr(one.tones, other.tones).statistic
    likeness = (WEIGHTS["rhythm"] * rhythm + WEIGHTS["tones"] * tones) / sum(WEIGHTS.values())
    assert 1.0 - apart == pytest.approx(likeness, abs=1e-5)


def test_nothing_to_compare() -> None:
    assert sound_vector(Fingerprint(None, None, np.zeros(7))) is None
    flat = dataclasses.replace(made(1), tones=np.ones(tone_orders().size))
    assert sound_vector(flat) is None
