"""The inner product of two vectors is the likeness of the fingerprints, by the fingerprint's own
distance and by scipy's correlation."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.stats import pearsonr

from beltside.casework.shipped import fingerprint_nuisance
from beltside.casework.sound_vector import sound_vector
from beltside.sound.fingerprint import (
    WEIGHTS,
    ZONES_HZ,
    Fingerprint,
    distance,
    rhythm_orders,
    tone_orders,
)


def made(seed: int) -> Fingerprint:
    rng = np.random.default_rng(seed)
    return Fingerprint(
        rng.gamma(0.5, 1.0, (len(ZONES_HZ), rhythm_orders().size)),
        rng.gamma(0.5, 1.0, tone_orders().size),
        rng.normal(size=7),
    )


def mixed(share: float) -> tuple[Fingerprint, Fingerprint]:
    one, other = made(1), made(2)
    assert one.rhythm is not None
    assert other.rhythm is not None
    return one, dataclasses.replace(other, rhythm=share * one.rhythm + (1 - share) * other.rhythm)


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_distance_is_one_less_the_inner_product(share: float) -> None:
    one, other = mixed(share)
    for nuisance in (None, fingerprint_nuisance()):
        first, second = sound_vector(one, nuisance), sound_vector(other, nuisance)
        assert first is not None
        assert second is not None
        assert np.linalg.norm(first) == pytest.approx(1.0, abs=1e-6)
        apart = max(1.0 - float(first @ second), 0.0)
        assert apart == pytest.approx(distance(one, other, nuisance), abs=1e-5)


def test_without_nuisance_it_is_the_weighted_correlation() -> None:
    """By scipy's pearsonr: rhythm and tones, each about its own mean."""
    one, other = mixed(0.5)
    first, second = sound_vector(one, None), sound_vector(other, None)
    assert first is not None
    assert second is not None
    assert one.rhythm is not None
    assert other.rhythm is not None
    assert one.tones is not None
    assert other.tones is not None
    rhythm = pearsonr(one.rhythm.ravel(), other.rhythm.ravel()).statistic
    tones = pearsonr(one.tones, other.tones).statistic
    likeness = (WEIGHTS["rhythm"] * rhythm + WEIGHTS["tones"] * tones) / sum(WEIGHTS.values())
    assert float(first @ second) == pytest.approx(likeness, abs=1e-5)


def test_a_zone_that_only_one_take_reaches_never_makes_them_more_alike() -> None:
    one = made(1)
    assert one.rhythm is not None
    low = one.rhythm.copy()
    low[-1] = 0.0
    narrow = dataclasses.replace(one, rhythm=low)
    first, second = (sound_vector(take, fingerprint_nuisance()) for take in (one, narrow))
    assert first is not None
    assert second is not None
    exact = distance(one, narrow, fingerprint_nuisance())
    assert exact - 1e-6 <= 1.0 - float(first @ second) < exact + 0.3


def test_nothing_to_compare() -> None:
    nuisance = fingerprint_nuisance()
    assert sound_vector(Fingerprint(None, None, np.zeros(7)), nuisance) is None
    flat = dataclasses.replace(made(1), tones=np.ones(tone_orders().size))
    assert sound_vector(flat, nuisance) is None
