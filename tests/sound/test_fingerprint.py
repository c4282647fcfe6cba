"""The fingerprint: the same under another gain and speed, apart for another rhythm."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
import scipy.signal

from beltside.base.errors import InputError
from beltside.sound.bands import plan_bands
from beltside.sound.fingerprint import (
    AtSpeed,
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
    ringing,
    ringing_hz,
    sound_rows,
    tone_orders,
)
from beltside.sound.hearing import hear_block, orders_of_block
from beltside.sound.orders import power_spectrum
from beltside.sound.track import CrankTrack

RATE_HZ = 24_000


def wave(
    order: float, rpm: float, *, seed: int, gain: float = 1.0, tilt: float = 0.0
) -> npt.NDArray[np.float32]:
    """Noise whose loudness beats with the firing (order 2) and with `order`, for 8 s; `tilt`
    colours it as another phone would."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(8 * RATE_HZ) / RATE_HZ
    turns = rpm / 60.0 * time_s
    loudness = 1.0 + 0.5 * np.cos(2 * np.pi * 2 * turns) + 0.7 * np.cos(2 * np.pi * order * turns)
    made = rng.normal(size=time_s.size) * np.maximum(loudness, 0.0)
    made[1:] += tilt * made[:-1]
    return (0.05 * gain * made).astype(np.float32)


def take(
    order: float,
    rpm: float,
    *,
    seed: int,
    gain: float = 1.0,
    tilt: float = 0.0,
    likely: tuple[tuple[float, float], ...] = ((1.0, 1.0),),
) -> Fingerprint:
    """Its fingerprint by multiples of its speed, each with a probability."""
    samples = wave(order, rpm, seed=seed, gain=gain, tilt=tilt)
    hearing = hear_block(samples, RATE_HZ)
    tracks = [CrankTrack.constant(rpm * multiple) for multiple, _ in likely]
    heard = orders_of_block(samples, RATE_HZ, tracks)
    chances = [chance for _, chance in likely]
    return fingerprint(hearing, list(zip(heard, chances, strict=True)))


@pytest.fixture(scope="module")
def prints() -> dict[str, Fingerprint]:
    return {
        "3.3 idle": take(3.3, 780.0, seed=1),
        "3.3 raised": take(3.3, 1400.0, seed=2, gain=0.01, tilt=0.6),
        "4.7 idle": take(4.7, 780.0, seed=3),
        "4.7 raised": take(4.7, 1500.0, seed=4, tilt=-0.5),
    }


def test_the_same_rhythm_at_another_speed_level_and_phone_comes_first(
    prints: dict[str, Fingerprint],
) -> None:
    for name, one in prints.items():
        others = {other: print_ for other, print_ in prints.items() if other != name}
        first = nearest(one, list(others.values()))[0][0]
        assert list(others)[first].split()[0] == name.split()[0]


def test_a_take_heard_at_twice_its_speed_is_found_by_its_second_likeliest() -> None:
    """Order 3.3 at twice the speed reads 1.65: alone it is a stranger, with both speeds known."""
    known = [take(3.3, 780.0, seed=1), take(4.7, 780.0, seed=3), take(1.65, 800.0, seed=4)]
    both = take(3.3, 1400.0, seed=2, likely=((2.0, 0.5), (1.0, 0.4)))
    alone = replace(both, speeds=both.speeds[:1])
    assert nearest(both, known)[0][0] == 0
    assert nearest(alone, known)[0][0] == 2
    assert nearest(both, known)[0][1] < nearest(alone, known)[0][1]


def test_the_less_sure_its_speed_the_farther_a_take() -> None:
    known = take(3.3, 780.0, seed=1)
    far = [
        distance(known, take(3.3, 1400.0, seed=2, likely=((1.0, chance),)))
        for chance in (1.0, 0.5, 0.1)
    ]
    assert far == sorted(far)
    assert far[2] > far[0] + 0.05


def test_a_gain_changes_nothing() -> None:
    loud, quiet = (take(3.3, 800.0, seed=5, gain=gain) for gain in (1.0, 0.05))
    assert distance(loud, quiet) == pytest.approx(0.0, abs=1e-3)


def test_its_rhythm_stands_at_its_order() -> None:
    one = take(3.3, 800.0, seed=6).speeds[0]
    beats = one.rhythm.sum(axis=0)
    at = dict(zip(np.round(rhythm_orders(), 4), beats, strict=True))
    assert at[3.3125] > 1.5 * max(at[2.6875], at[3.8125], at[4.6875])
    assert abs(rhythm_orders()[np.argmax(beats)] - 3.3) < 0.1


def test_what_rings_stands_at_its_frequency_at_any_speed_and_on_any_phone() -> None:
    """Noise through a resonator of scipy's at 2,500 Hz, coloured by a first-order filter."""
    rng = np.random.default_rng(7)
    noise = rng.normal(size=8 * RATE_HZ)
    resonator = scipy.signal.iirpeak(2500.0, 60.0, fs=RATE_HZ)
    found = []
    for colour in (([1.0], [1.0]), ([1.0, 0.4], [1.0]), ([1.0, -0.4], [1.0])):
        both = noise + scipy.signal.lfilter(*resonator, noise)
        heard = scipy.signal.lfilter(*colour, both)
        found.append(ringing(power_spectrum(heard, RATE_HZ, 4096)))
        assert ringing_hz()[np.argmax(found[-1])] == pytest.approx(2500.0, rel=0.01)
    assert np.corrcoef(found).min() > 0.9


def test_what_the_recording_does_not_reach_does_not_ring() -> None:
    rng = np.random.default_rng(8)
    rings = ringing(power_spectrum(rng.normal(size=80_000), 8000, 1024))
    assert not rings[ringing_hz() > 3600.0].any()
    assert rings[ringing_hz() < 3200.0].all()


def test_what_differs_between_takes_of_one_noise_is_left_out() -> None:
    one = take(3.3, 780.0, seed=8)
    changed = one.speeds[0].rhythm.copy()
    changed[2, 100:110] += 2.0
    other = replace(one, speeds=(replace(one.speeds[0], rhythm=changed),))
    apart = profile(other.speeds[0])[0] - profile(one.speeds[0])[0]
    rings = np.zeros(ringing_hz().size)
    nuisance = Nuisance(
        np.zeros(apart.size), (apart / np.linalg.norm(apart))[None, :], rings, np.zeros((0, 215))
    )
    assert distance(one, other) > 0.01
    assert distance(one, other, nuisance) == pytest.approx(0.0, abs=1e-9)
    assert distances(one, [other, one], nuisance) == pytest.approx([0.0, 0.0], abs=1e-9)


def test_a_table_for_another_fingerprint_is_refused() -> None:
    with pytest.raises(InputError, match="nuisance of orders of 3 values"):
        parse_nuisance({"scale": 1, "orders": {"mean": [0, 0, 0], "directions": [[1, 0, 0]]}})


def test_a_take_of_sure_speed_is_its_own_nearest(prints: dict[str, Fingerprint]) -> None:
    known = list(prints.values())
    for place, one in enumerate(known):
        assert nearest(one, known, most=1)[0] == (place, pytest.approx(0.0, abs=1e-9))


def test_the_distance_is_the_same_both_ways(prints: dict[str, Fingerprint]) -> None:
    one, other = prints["3.3 idle"], prints["4.7 raised"]
    assert distance(one, other) == pytest.approx(distance(other, one))
    assert distance(one, other) > 0.0


def test_the_distance_is_one_less_the_largest_inner_product() -> None:
    one = take(3.3, 780.0, seed=1, likely=((1.0, 0.6), (2.0, 0.3)))
    other = take(4.7, 900.0, seed=2, likely=((1.0, 0.5), (0.5, 0.2), (2.0, 0.1)))
    first, second = sound_rows(one, None), sound_rows(other, None)
    assert (len(first), len(second)) == (2, 3)
    assert np.linalg.norm(first, axis=1).max() <= 1.0 + 1e-9
    best = max(float(a @ b) for a in first for b in second)
    assert distance(one, other) == pytest.approx(1.0 - best)


def test_without_a_crank_speed_only_what_rings_is_left() -> None:
    one = take(3.3, 800.0, seed=1)
    deaf = replace(one, speeds=())
    assert not fingerprint(hear_block(wave(3.3, 800.0, seed=1), RATE_HZ), []).speeds
    # Ringing counts 0.4 beside 1 for rhythm and tones.
    assert likeness(deaf, deaf) == pytest.approx(0.4 / 1.4)
    assert likeness(deaf, one) == pytest.approx(0.4 / 1.4)
    assert sound_rows(deaf, None).shape == sound_rows(one, None).shape


def test_it_goes_into_json_and_back(prints: dict[str, Fingerprint]) -> None:
    one = prints["3.3 idle"]
    back = Fingerprint.from_json(json.loads(json.dumps(one.to_json())))
    assert distance(one, back) == pytest.approx(0.0, abs=1e-4)
    deaf = replace(one, speeds=())
    assert Fingerprint.from_json(deaf.to_json()).speeds == ()


def speed(**other: object) -> dict[str, object]:
    shape = (7, rhythm_orders().size)
    tones = [0.0] * tone_orders().size
    return {
        "probability": 0.5,
        "rhythm": np.zeros(shape).tolist(),
        "tones": tones,
        **other,
    }


RINGS = [0.0] * ringing_hz().size


@pytest.mark.parametrize(
    "broken",
    [
        {},
        {"speeds": None, "ringing": RINGS},
        {"speeds": [], "ringing": ["loud"] * len(RINGS)},
        {"speeds": [], "ringing": [float("nan")] * len(RINGS)},
        {"speeds": [speed()] * 4, "ringing": RINGS},
        {"speeds": [speed(rhythm=[1.0])], "ringing": RINGS},
        {"speeds": [speed(tones=None)], "ringing": RINGS},
        {"speeds": [speed(probability=0.0)], "ringing": RINGS},
        {"speeds": [speed(probability="half")], "ringing": RINGS},
        # As an earlier version kept it.
        {"rhythm": None, "tones": None, "texture": [0.0] * 7},
    ],
)
def test_a_damaged_one_is_refused(broken: dict[str, object]) -> None:
    with pytest.raises(InputError, match="fingerprint"):
        Fingerprint.from_json(broken)


def test_what_one_phone_does_not_reach_makes_little_difference() -> None:
    full = take(3.3, 800.0, seed=7)
    low = full.speeds[0].rhythm.copy()
    low[4:] = 0.0
    cut = replace(full, speeds=(AtSpeed(1.0, low, full.speeds[0].tones),))
    assert distance(full, cut) < 0.2


def test_a_phone_of_few_samples_a_second_has_no_high_zone() -> None:
    bands = plan_bands(8000.0, 400.0)
    assert all(band.centre_hz < 4000.0 for band in bands)
    rng = np.random.default_rng(1)
    samples = (0.05 * rng.normal(size=40_000)).astype(np.float32)
    heard = hear_block(samples, 8000, track=CrankTrack.constant(800.0))
    (one,) = fingerprint(heard, [(heard.orders, 1.0)]).speeds
    assert np.all(one.rhythm[4:] == 0.0)
    assert one.rhythm[:4].any(axis=1).all()
