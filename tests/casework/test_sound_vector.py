"""The largest inner product of two takes' rows is the likeness of their fingerprints, by the
fingerprint's own distance and by scipy's correlation."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.stats import pearsonr

from beltside.casework.shipped import fingerprint_nuisance
from beltside.casework.sound_vector import sound_vector
from beltside.sound.fingerprint import (
    RINGING_WEIGHT,
    TONES_WEIGHT,
    ZONES_HZ,
    AtSpeed,
    Fingerprint,
    distance,
    rhythm_orders,
    ringing_hz,
    tone_orders,
)


def made(seed: int, chances: tuple[float, ...] = (1.0,)) -> Fingerprint:
    rng = np.random.default_rng(seed)
    speeds = [
        AtSpeed(
            chance,
            rng.gamma(0.5, 1.0, (len(ZONES_HZ), rhythm_orders().size)),
            rng.gamma(0.5, 1.0, tone_orders().size),
        )
        for chance in chances
    ]
    return Fingerprint(tuple(speeds), rng.normal(size=ringing_hz().size))


def mixed(share: float) -> tuple[Fingerprint, Fingerprint]:
    one, other = made(1), made(2)
    rhythm = share * one.speeds[0].rhythm + (1 - share) * other.speeds[0].rhythm
    return one, dataclasses.replace(
        other, speeds=(dataclasses.replace(other.speeds[0], rhythm=rhythm),)
    )


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_distance_is_one_less_the_inner_product(share: float) -> None:
    one, other = mixed(share)
    for nuisance in (None, fingerprint_nuisance()):
        first, second = sound_vector(one, nuisance), sound_vector(other, nuisance)
        assert first is not None
        assert second is not None
        assert np.linalg.norm(first) == pytest.approx(1.0, abs=1e-6)
        apart = max(1.0 - float(first[0] @ second[0]), 0.0)
        assert apart == pytest.approx(distance(one, other, nuisance), abs=1e-5)


def test_a_row_for_each_speed_the_shorter_the_less_sure() -> None:
    rows = sound_vector(made(3, (0.6, 0.3, 0.05)), fingerprint_nuisance())
    assert rows is not None
    lengths = np.linalg.norm(rows, axis=1)
    assert len(lengths) == 3
    assert list(lengths) == sorted(lengths, reverse=True)
    # Profile p^0.2 and ringing root of 0.4, over root of 1.4.
    assert lengths == pytest.approx(
        [np.sqrt((p**0.4 + 0.4) / 1.4) for p in (0.6, 0.3, 0.05)], rel=1e-6
    )


def test_without_nuisance_it_is_the_weighted_correlation() -> None:
    """By scipy's pearsonr: rhythm and tones, each about its own mean; ringing about zero."""
    one, other = mixed(0.5)
    first, second = sound_vector(one, None), sound_vector(other, None)
    assert first is not None
    assert second is not None
    (mine,), (theirs,) = one.speeds, other.speeds
    rhythm = pearsonr(mine.rhythm.ravel(), theirs.rhythm.ravel()).statistic
    tones = pearsonr(mine.tones, theirs.tones).statistic
    both = (
        np.concatenate((one.ringing, -one.ringing)),
        np.concatenate((other.ringing, -other.ringing)),
    )
    rings = pearsonr(*both).statistic
    orders = (rhythm + TONES_WEIGHT * tones) / (1.0 + TONES_WEIGHT)
    wanted = (orders + RINGING_WEIGHT * rings) / (1.0 + RINGING_WEIGHT)
    assert float(first[0] @ second[0]) == pytest.approx(wanted, abs=1e-5)


def test_a_zone_that_only_one_take_reaches_makes_them_no_stranger() -> None:
    one = made(1)
    low = one.speeds[0].rhythm.copy()
    low[-1] = 0.0
    narrow = dataclasses.replace(one, speeds=(dataclasses.replace(one.speeds[0], rhythm=low),))
    assert distance(one, narrow, fingerprint_nuisance()) < 0.3


def test_nothing_to_compare() -> None:
    nuisance = fingerprint_nuisance()
    assert sound_vector(made(1, ()), nuisance) is None
