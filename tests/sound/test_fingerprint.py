"""The fingerprint: the same under another gain and speed, apart for another rhythm."""

from __future__ import annotations

import json

import numpy as np
import pytest

from beltside.base.errors import InputError
from beltside.sound.bands import plan_bands
from beltside.sound.fingerprint import (
    Fingerprint,
    Nuisance,
    distance,
    distances,
    fingerprint,
    likeness,
    nearest,
    parse_nuisance,
    profile,
    rhythm_orders,
    tone_orders,
)
from beltside.sound.hearing import Hearing, hear_block
from beltside.sound.track import CrankTrack

RATE_HZ = 24_000


def take(
    order: float, rpm: float, *, seed: int, gain: float = 1.0, known: bool = True, tilt: float = 0.0
) -> Hearing:
    """Noise whose loudness beats with the firing (order 2) and with `order`, for 8 s; `tilt`
    colours it as another phone would."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(8 * RATE_HZ) / RATE_HZ
    turns = rpm / 60.0 * time_s
    loudness = 1.0 + 0.5 * np.cos(2 * np.pi * 2 * turns) + 0.7 * np.cos(2 * np.pi * order * turns)
    wave = rng.normal(size=time_s.size) * np.maximum(loudness, 0.0)
    wave[1:] += tilt * wave[:-1]
    track = CrankTrack.constant(rpm) if known else None
    return hear_block((0.05 * gain * wave).astype(np.float32), RATE_HZ, track=track)


@pytest.fixture(scope="module")
def prints() -> dict[str, Fingerprint]:
    return {
        "3.3 idle": fingerprint(take(3.3, 780.0, seed=1)),
        "3.3 raised": fingerprint(take(3.3, 1400.0, seed=2, gain=0.01, tilt=0.6)),
        "4.7 idle": fingerprint(take(4.7, 780.0, seed=3)),
        "4.7 raised": fingerprint(take(4.7, 1500.0, seed=4, tilt=-0.5)),
    }


def test_the_same_rhythm_at_another_speed_level_and_phone_comes_first(
    prints: dict[str, Fingerprint],
) -> None:
    for name, one in prints.items():
        others = {other: print_ for other, print_ in prints.items() if other != name}
        first = nearest(one, list(others.values()))[0][0]
        assert list(others)[first].split()[0] == name.split()[0]


def test_a_gain_changes_nothing() -> None:
    loud, quiet = (fingerprint(take(3.3, 800.0, seed=5, gain=gain)) for gain in (1.0, 0.05))
    assert distance(loud, quiet) == pytest.approx(0.0, abs=1e-3)


def test_its_rhythm_stands_at_its_order() -> None:
    one = fingerprint(take(3.3, 800.0, seed=6))
    assert one.rhythm is not None
    profile = one.rhythm.sum(axis=0)
    at = dict(zip(np.round(rhythm_orders(), 4), profile, strict=True))
    assert at[3.3125] > 3.0 * max(at[2.6875], at[3.8125], at[4.6875])
    assert abs(rhythm_orders()[np.argmax(profile)] - 3.3) < 0.1


def test_what_differs_between_takes_of_one_noise_is_left_out() -> None:
    one = fingerprint(take(3.3, 780.0, seed=8))
    assert one.rhythm is not None
    changed = one.rhythm.copy()
    changed[2, 100:110] += 2.0
    other = Fingerprint(changed, one.tones, one.texture)
    apart = profile(other)[0] - profile(one)[0]
    nuisance = Nuisance(np.zeros(apart.size), (apart / np.linalg.norm(apart))[None, :])
    assert distance(one, other) > 0.01
    assert distance(one, other, nuisance) == pytest.approx(0.0, abs=1e-9)
    assert distances(one, [other, one], nuisance) == pytest.approx([0.0, 0.0], abs=1e-9)


def test_a_table_for_another_fingerprint_is_refused() -> None:
    with pytest.raises(InputError, match="nuisance of 3 values"):
        parse_nuisance({"scale": 1, "mean": [0, 0, 0], "directions": [[1, 0, 0]]})


def test_a_take_is_its_own_nearest(prints: dict[str, Fingerprint]) -> None:
    known = list(prints.values())
    for place, one in enumerate(known):
        assert nearest(one, known, most=1)[0] == (place, pytest.approx(0.0, abs=1e-9))


def test_the_distance_is_the_same_both_ways(prints: dict[str, Fingerprint]) -> None:
    one, other = prints["3.3 idle"], prints["4.7 raised"]
    assert distance(one, other) == pytest.approx(distance(other, one))
    assert distance(one, other) > 0.0


def test_without_a_crank_speed_only_texture_is_left() -> None:
    deaf = fingerprint(take(3.3, 800.0, seed=1, known=False))
    assert deaf.rhythm is None
    assert deaf.tones is None
    assert likeness(deaf, deaf) == pytest.approx(0.2)
    assert distance(deaf, fingerprint(take(3.3, 800.0, seed=1))) > 0.75


def test_it_goes_into_json_and_back(prints: dict[str, Fingerprint]) -> None:
    one = prints["3.3 idle"]
    back = Fingerprint.from_json(json.loads(json.dumps(one.to_json())))
    assert distance(one, back) == pytest.approx(0.0, abs=1e-4)
    deaf = Fingerprint(None, None, one.texture)
    assert Fingerprint.from_json(deaf.to_json()).rhythm is None


@pytest.mark.parametrize(
    "broken",
    [
        {},
        {"rhythm": [1.0], "tones": None, "texture": [0.0] * 7},
        {"rhythm": None, "tones": [0.0] * tone_orders().size, "texture": [0.0] * 7},
        {"rhythm": None, "tones": None, "texture": ["loud"] * 7},
        {"rhythm": None, "tones": None, "texture": [float("nan")] * 7},
    ],
)
def test_a_damaged_one_is_refused(broken: dict[str, object]) -> None:
    with pytest.raises(InputError, match="fingerprint"):
        Fingerprint.from_json(broken)


def test_what_one_phone_does_not_reach_makes_no_difference() -> None:
    full = fingerprint(take(3.3, 800.0, seed=7))
    assert full.rhythm is not None
    assert full.tones is not None
    low = full.rhythm.copy()
    low[4:] = 0.0
    cut = Fingerprint(low, full.tones, full.texture)
    assert distance(full, cut) < 0.02


def test_a_phone_of_few_samples_a_second_has_no_high_zone() -> None:
    bands = plan_bands(8000.0, 400.0)
    assert all(band.centre_hz < 4000.0 for band in bands)
    rng = np.random.default_rng(1)
    low = hear_block(
        (0.05 * rng.normal(size=40_000)).astype(np.float32), 8000, track=CrankTrack.constant(800.0)
    )
    one = fingerprint(low)
    assert one.rhythm is not None
    assert np.all(one.rhythm[4:] == 0.0)
    assert one.rhythm[:4].any(axis=1).all()
