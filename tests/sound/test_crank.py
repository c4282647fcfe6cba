"""Crank speed from sound alone, against engines whose speed is known and sounds of no engine."""

from functools import cache

import numpy as np
import pytest
import soxr
from engines import NO_ENGINE, RATE_HZ, Take, electric_motor, engine, no_engine

from beltside.base.errors import OutOfRangeError
from beltside.sound.crank import BELIEVED, CrankEstimate, estimate_crank
from beltside.sound.crank_feed import CrankFeed

IDLE_RPM = 760.0


def estimate(
    samples: np.ndarray, rate_hz: int = RATE_HZ, *, cylinders: int = 4, strokes: int = 4
) -> CrankEstimate:
    feed = CrankFeed(rate_hz)
    feed.add(samples)
    return estimate_crank(feed.finish(), cylinders=cylinders, strokes=strokes, idle_rpm=IDLE_RPM)


def errors(found: CrankEstimate, take: Take) -> np.ndarray:
    """Relative errors along the take, away from its ends."""
    assert found.track is not None, found.reason
    moments = np.arange(0.5, take.samples.size / take.rate_hz - 0.5, 0.05)
    return np.abs(found.track.rpm_at(moments) / take.rpm_at(moments) - 1.0)


STEADY = [
    (cylinders, rpm)
    for cylinders in (3, 4, 6, 8)
    for rpm in (680.0, 760.0, 900.0, 1900.0, 2600.0)
    if (cylinders, rpm) != (6, 2600.0)
]


@pytest.mark.parametrize(("cylinders", "rpm"), STEADY)
def test_steady_engines_within_0_3_per_cent(cylinders: int, rpm: float) -> None:
    take = engine(cylinders, rpm, cylinders=cylinders)
    found = estimate(take.samples, cylinders=cylinders)
    assert np.median(errors(found, take)) < 0.003
    assert found.confidence > 0.8
    assert found.reason is None


def test_a_single_take_whose_third_lies_near_idle_is_right_or_refused() -> None:
    """Six cylinders at 2,600 rpm: 867 rpm fits too, and is nearer to the idle speed of the sheet.
    Measured: the two are near each other, and neither is told."""
    for seed in (6, 7, 8):
        found = estimate(engine(seed, 2600.0, cylinders=6).samples, cylinders=6)
        speeds = sorted((found.evidence.rpm, found.evidence.rival_rpm))
        assert speeds == pytest.approx([2600.0 / 3.0, 2600.0], rel=0.005)
        assert found.track is None or found.track.rpm_median == pytest.approx(2600.0, rel=0.003)


def test_two_strokes_fire_every_turn() -> None:
    take = engine(21, 1500.0, cylinders=2, strokes=2)
    found = estimate(take.samples, cylinders=2, strokes=2)
    assert np.median(errors(found, take)) < 0.003


RAMP = ([0.0, 1.5, 3.5, 6.5, 8.0], [800.0, 800.0, 2500.0, 2500.0, 1200.0])
BLIP = ([0.0, 2.0, 3.0, 4.0, 5.0, 8.0], [800.0, 800.0, 2800.0, 2800.0, 900.0, 800.0])


@pytest.mark.parametrize("cylinders", [4, 6])
@pytest.mark.parametrize("profile", [RAMP, BLIP], ids=["ramp", "blip of 2000 rpm/s"])
def test_changing_speed_is_followed(
    cylinders: int, profile: tuple[list[float], list[float]]
) -> None:
    take = engine(10 + cylinders, profile, cylinders=cylinders)
    off = errors(estimate(take.samples, cylinders=cylinders), take)
    assert np.median(off) < 0.003
    assert np.percentile(off, 90) < 0.02
    # A sudden corner is rounded between two frames a quarter of a second apart.
    moments = np.arange(0.5, 7.5, 0.05)
    corner = np.abs(moments[:, None] - np.array(profile[0])).min(axis=1) < 0.16
    assert off[~corner].max() < 0.03
    assert off.max() < 0.2


@cache
def idle_take() -> Take:
    return engine(31, 800.0)


@cache
def idle_found() -> CrankEstimate:
    return estimate(idle_take().samples)


def test_the_90_per_cent_range_holds_most_of_the_speed() -> None:
    """Measured: 60 to 98 % of the time; the range is somewhat too narrow at slow idle. Of six
    takes heard by themselves up to two are not told."""
    held = []
    for seed in range(6):
        take = engine(40 + seed, 800.0 + 250.0 * seed)
        track = estimate(take.samples).track
        if track is None:
            continue
        moments = np.arange(0.5, 7.5, 0.05)
        low = np.interp(moments, track.time_s, track.rpm_low)
        high = np.interp(moments, track.time_s, track.rpm_high)
        speed = take.rpm_at(moments)
        held.append(np.mean((low <= speed) & (speed <= high)))
    assert len(held) >= 4
    assert np.mean(held) > 0.75


@pytest.mark.parametrize("factor", [0.85, 1.25, 2.0])
def test_playing_a_take_faster_moves_the_speed_by_as_much(factor: float) -> None:
    faster = soxr.resample(idle_take().samples, RATE_HZ * factor, RATE_HZ)
    before, after = idle_found().track, estimate(faster).track
    assert before is not None
    assert after is not None
    assert after.rpm_median / before.rpm_median == pytest.approx(factor, rel=0.003)


@pytest.mark.parametrize("gain", [-1.0, 1e-3, 2.5])
def test_level_and_sign_change_nothing(gain: float) -> None:
    track = estimate(np.float32(gain) * idle_take().samples).track
    assert track is not None
    assert idle_found().track is not None
    assert track.rpm_median == pytest.approx(idle_found().track.rpm_median, rel=1e-4)


@pytest.mark.parametrize("rate_hz", [4_000, 8_000, 11_025, 44_100])
def test_any_sampling_rate_from_4000(rate_hz: int) -> None:
    take = engine(32, IDLE_RPM, rate_hz=rate_hz)
    assert np.median(errors(estimate(take.samples, rate_hz), take)) < 0.003


def test_half_and_double_are_not_taken_at_idle() -> None:
    """Engines from nearly even to very uneven, quiet to noisy."""
    rng = np.random.default_rng(33)
    right = told = 0
    for number in range(20):
        rpm = float(rng.uniform(650.0, 950.0))
        cylinders = int(rng.choice([3, 4, 5, 6, 8]))
        take = engine(
            200 + number,
            rpm,
            cylinders=cylinders,
            seconds=6.0,
            uneven=float(rng.uniform(0.08, 0.3)),
            noise_db=float(rng.uniform(-15.0, 0.0)),
        )
        track = estimate(take.samples, cylinders=cylinders).track
        told += track is not None
        right += track is not None and abs(track.rpm_median / rpm - 1.0) < 0.02
    assert told >= 18
    assert right == told


def test_an_even_engine_is_not_told_with_certainty() -> None:
    """With cylinders alike to 2 %, half and full speed lay the same lines: it may be wrong, but
    must not be sure."""
    for seed, rpm in ((2, 1900.0), (2, 800.0), (3, 1900.0)):
        found = estimate(engine(seed, rpm, uneven=0.02).samples)
        right = abs(found.evidence.rpm / rpm - 1.0) < 0.02
        assert right or found.confidence < 0.95


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("kind", NO_ENGINE)
def test_no_engine_has_no_speed(kind: str, seed: int) -> None:
    found = estimate(no_engine(kind, seed))
    assert found.track is None
    assert found.reason
    assert found.confidence < BELIEVED


@pytest.mark.parametrize("mains", [50, 60])
def test_mains_hum_is_named(mains: int) -> None:
    found = estimate(no_engine(f"hum at {mains} Hz", 3))
    assert found.reason is not None
    assert f"multiples of {mains} Hz" in found.reason
    assert found.confidence <= 0.1


@pytest.mark.parametrize("seed", [0, 1])
def test_an_engine_held_where_it_fires_sixty_times_a_second_is_no_hum(seed: int) -> None:
    # Four cylinders at 1800 rpm fire at 60 Hz; held to 0.15 %, steadier than any foot.
    take = engine(seed, ([0.0, 4.0, 8.0], [1799.0, 1801.5, 1799.0]), uneven=0.1, noise_db=-20.0,
                  highpass_hz=20.0)  # fmt: skip
    assert errors(estimate(take.samples), take).max() < 0.01


def test_electric_motors_are_seldom_taken_for_engines() -> None:
    """A tone and its multiples is all that an evenly firing engine shows, too: 2 of 30 were
    taken for one when measured, with no great confidence."""
    found = [estimate(electric_motor(seed)) for seed in range(12)]
    told = [one for one in found if one.track is not None]
    assert len(told) <= 2
    assert all(one.confidence < 0.9 for one in told)
    assert all(one.reason for one in found if one.track is None)


def test_silence_has_no_speed() -> None:
    found = estimate(np.zeros(4 * RATE_HZ, dtype=np.float32))
    assert found.track is None
    assert found.reason == "no pattern of an engine's firing stands out of the noise"


def test_the_slowest_and_the_fastest_engine() -> None:
    """The slow end of the range is found, at 550 rpm surely. Far above idle a quarter of the speed
    lays the same lines and is the likelier engine: a single take there must not be told surely."""
    slow = estimate(engine(5, 500.0).samples)
    assert slow.evidence.rpm == pytest.approx(500.0, rel=0.005)
    assert np.median(errors(estimate(engine(5, 550.0).samples), engine(5, 550.0))) < 0.003
    fast = estimate(engine(5, 7000.0).samples)
    assert fast.track is None or fast.track.rpm_median == pytest.approx(7000.0, rel=0.005)


def test_beyond_the_range_a_multiple_inside_it_is_told() -> None:
    """An engine at 400 rpm is outside the valid range: its lines fit twice the speed."""
    found = estimate(engine(5, 400.0).samples)
    assert found.track is None or found.track.rpm_median == pytest.approx(800.0, rel=0.02)


def test_a_stated_neighbour_speed_helps_a_poor_take() -> None:
    take = engine(34, 1900.0, uneven=0.03, noise_db=0.0, seconds=4.0)
    feed = CrankFeed(RATE_HZ)
    feed.add(take.samples)
    sound = feed.finish()
    alone = estimate_crank(sound, cylinders=4, idle_rpm=IDLE_RPM).evidence
    helped = estimate_crank(sound, cylinders=4, idle_rpm=IDLE_RPM, near_rpm=1900.0).evidence
    assert helped.rpm == pytest.approx(1900.0, rel=0.02)
    assert alone.rpm != pytest.approx(1900.0, rel=0.02) or helped.probability > alone.probability


def test_what_can_not_be_judged_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="2 s or more"):
        estimate(idle_take().samples[: RATE_HZ + 100])
    for cylinders in (0, 7, 9, 20):
        with pytest.raises(OutOfRangeError, match="cylinders"):
            estimate(idle_take().samples, cylinders=cylinders)
    with pytest.raises(OutOfRangeError, match="strokes"):
        estimate(idle_take().samples, strokes=3)
    sound = CrankFeed(RATE_HZ)
    sound.add(idle_take().samples)
    with pytest.raises(OutOfRangeError, match="idle speed"):
        estimate_crank(sound.finish(), cylinders=4, idle_rpm=250.0)


def test_the_odds_add_up() -> None:
    evidence = idle_found().evidence
    assert evidence.measures.shape[0] == evidence.rpms.size
    assert evidence.probability + evidence.rival_probability + evidence.none <= 1.0 + 1e-9
    assert idle_found().confidence == evidence.probability
