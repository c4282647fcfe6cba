"""Which multiple: hand-made lines whose engine is known."""

import numpy as np
import pytest

from beltside.sound.crank_choice import (
    EDGE,
    LineEvidence,
    candidates,
    judge,
    line_evidence,
    mains_share,
    mains_wander,
    scale_error,
)
from beltside.sound.crank_feed import LOW_RATE_HZ, CrankSound
from beltside.sound.crank_path import RPM_HIGH, RPM_LOW
from beltside.sound.track import CrankTrack

STEP = 1.0 / 64.0


def lines(orders: dict[float, float], top: float = 24.0) -> LineEvidence:
    """One row of ordinary points with lines of the given heights [sigmas] at the given orders."""
    count = round(top / STEP) + 2
    height = np.random.default_rng(8).normal(size=count)
    for order, sigmas in orders.items():
        place = round(order / STEP)
        height[place - 1 : place + 2] = sigmas * np.array([0.8, 1.0, 0.8])
    return LineEvidence(STEP, 32.0, height[None, :], np.array([top]), np.array([1.0]), -1)


def engine_lines(cylinders: int, speed: float, other: float) -> dict[float, float]:
    """Lines of a four-stroke engine: firing at 12 sigmas, the other cycle lines at `other`."""
    number = np.arange(1, int(48.0 / speed) + 1)
    order = 0.5 * speed * number
    height = np.where(number % cylinders == 0, 12.0, other)
    return dict(zip(order[order > 1.0].tolist(), height[order > 1.0].tolist(), strict=True))


@pytest.mark.parametrize("cylinders", [3, 4, 6, 8])
@pytest.mark.parametrize("speed", [0.5, 1.0, 2.0])
def test_the_speed_whose_cycle_explains_the_lines_has_most_evidence(
    cylinders: int, speed: float
) -> None:
    made = lines(engine_lines(cylinders, speed, 6.0))
    evidence = {m: judge(made, m, cylinders, 4).evidence for m in (0.5, 1.0, 1.5, 2.0, 3.0)}
    assert max(evidence, key=lambda multiple: evidence[multiple]) == speed


def test_the_right_speed_covers_all_lines_and_noise_none_beyond_chance() -> None:
    right = judge(lines(engine_lines(4, 1.0, 6.0)), 1.0, 4, 4)
    assert right.covered > 0.97
    assert right.chance < 0.3
    assert right.firing > 20.0
    assert right.halves > 10.0
    nothing = judge(lines({}), 1.0, 4, 4)
    assert nothing.firing < 0.0
    assert nothing.evidence < 2.0


def test_lines_off_the_cycle_speak_against() -> None:
    clean = judge(lines(engine_lines(4, 1.0, 6.0)), 1.0, 4, 4)
    missing = judge(lines(engine_lines(4, 1.0, 0.0)), 1.0, 4, 4)
    assert missing.uneven < clean.uneven - 10.0


def test_candidates_keep_to_the_stated_speeds() -> None:
    made = lines(engine_lines(4, 1.0, 6.0))
    for rpm in (RPM_LOW, 900.0, RPM_HIGH):
        speeds = np.array([one.multiple * rpm for one in candidates(made, rpm, 4, 4)])
        assert speeds.min() >= RPM_LOW * (1.0 - EDGE)
        assert speeds.max() <= RPM_HIGH * (1.0 + EDGE)
        assert np.isclose(speeds, rpm).any()


@pytest.mark.parametrize("off", [-0.006, 0.0, 0.004, 0.009])
def test_a_path_off_by_a_known_share_is_put_right(off: float) -> None:
    made = lines({0.5 * k * (1.0 + off): 8.0 for k in range(3, 40)})
    assert scale_error(made, 4) == pytest.approx(off, abs=0.0008)


def tone_sound(frequency_hz: list[float]) -> CrankSound:
    time_s = np.arange(8 * LOW_RATE_HZ) / LOW_RATE_HZ
    rng = np.random.default_rng(9)
    tones = sum(np.sin(2 * np.pi * f * time_s) for f in frequency_hz)
    low = (tones + 0.1 * rng.normal(size=time_s.size)).astype(np.float32)
    return CrankSound(low, np.zeros(0, dtype=np.float32), 8.0)


def test_mains_hum_is_known_by_its_multiples() -> None:
    hum = tone_sound([100.0, 150.0, 300.0])
    assert mains_share(hum, 50.0) > 0.95
    assert mains_share(tone_sound([96.0, 145.0, 289.0]), 50.0) < 0.05
    half = mains_share(tone_sound([100.0, 273.0]), 50.0)
    assert half == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize(("swing", "low", "high"), [(5e-5, 0.0, 1e-4), (3e-3, 5e-4, 3e-3)])
def test_an_engine_wanders_further_than_the_mains(swing: float, low: float, high: float) -> None:
    # Tones of a pitch that swings by a known share in a sine of nine seconds.
    time_s = np.arange(18 * LOW_RATE_HZ) / LOW_RATE_HZ
    pitch = 50.0 * (1.0 + swing * np.sin(2 * np.pi * time_s / 9.0))
    turns = np.cumsum(pitch) / LOW_RATE_HZ
    sound = sum(np.sin(2 * np.pi * k * turns) for k in (1, 2, 3, 6))
    sound = sound + 0.1 * np.random.default_rng(4).normal(size=time_s.size)
    made = CrankSound(sound.astype(np.float32), np.zeros(0, dtype=np.float32), 18.0)
    assert low <= mains_wander(made, 50.0) <= high


def test_silence_shows_no_lines() -> None:
    silence = CrankSound(
        np.zeros(4 * LOW_RATE_HZ, dtype=np.float32), np.zeros(4800, dtype=np.float32), 4.0
    )
    assert not line_evidence(silence, CrankTrack.constant(800.0)).height.any()


def test_a_line_shows_at_its_order() -> None:
    sound = tone_sound([40.0])
    shown = line_evidence(sound, CrankTrack.constant(800.0))
    assert int(np.argmax(shown.height[0])) * shown.step == pytest.approx(3.0, abs=2 * shown.step)
