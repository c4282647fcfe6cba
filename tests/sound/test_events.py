"""Squeal, bursts and the order they repeat at, on sounds made to measure."""

import numpy as np
import pytest
from scipy import signal, stats

from beltside.base.errors import InputError, OutOfRangeError
from beltside.sound.angle import time_at_turns
from beltside.sound.bands import band_envelopes, plan_bands
from beltside.sound.events import impulses, rayleigh_p, repeats_at, squeals
from beltside.sound.track import CrankTrack

RATE_HZ = 16_000.0
TIME_S = np.arange(int(12 * RATE_HZ)) / RATE_HZ
KNOTS_S = np.arange(0.0, 12.5, 0.5)
STEADY = CrankTrack.constant(780.0)
REVVED = CrankTrack(KNOTS_S, 1500 + 600 * np.sin(KNOTS_S), 1400 + 0 * KNOTS_S, 1600 + 0 * KNOTS_S)


def engine_noise(seed: int = 0) -> np.ndarray:
    """Falling spectrum, as an engine bay has."""
    white = np.random.default_rng(seed).standard_normal(TIME_S.size)
    return (
        3.0 * signal.sosfilt(signal.butter(1, 300, fs=RATE_HZ, output="sos"), white) + 0.05 * white
    )


def tone(frequency_hz: np.ndarray | float, amplitude: float = 0.5) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * np.cumsum(frequency_hz + 0 * TIME_S) / RATE_HZ)


def order_tone(track: CrankTrack, order: float, amplitude: float = 0.5) -> np.ndarray:
    return amplitude * np.sin(2 * np.pi * order * track.turns_at(TIME_S))


def between(*spans: tuple[float, float]) -> np.ndarray:
    return sum(((start < TIME_S) & (end > TIME_S)).astype(float) for start, end in spans)


@pytest.mark.parametrize("track", [STEADY, REVVED, None], ids=["steady", "revved", "no track"])
def test_squeal_comes_back_with_its_times_and_frequency(track: CrankTrack | None) -> None:
    spans = [(2.0, 2.5), (5.0, 6.2), (9.0, 9.2)]
    pitch_hz = 2600 + 25 * np.sin(2 * np.pi * 5 * TIME_S)
    values = engine_noise() + tone(pitch_hz) * between(*spans)
    found = squeals(values.astype(np.float32), RATE_HZ, 100.0, shifted(track))
    assert len(found) == 3
    for squeal, (start, end) in zip(found, spans, strict=True):
        assert squeal.start_s == pytest.approx(100 + start, abs=0.05)
        assert squeal.end_s == pytest.approx(100 + end, abs=0.05)
        assert squeal.frequency_hz == pytest.approx(2600, abs=30)
        assert squeal.prominence_db > 15.0


def shifted(track: CrankTrack | None) -> CrankTrack | None:
    """The same track 100 s later."""
    if track is None:
        return None
    return CrankTrack(track.time_s + 100.0, track.rpm, track.rpm_low, track.rpm_high)


def test_whine_locked_to_the_crank_is_no_squeal() -> None:
    """Alternator whine at order 60, all the time or in stretches, over changing speed."""
    whine = order_tone(REVVED, 60.0)
    for gate in (1.0, between((1.0, 4.0), (6.0, 10.0))):
        values = engine_noise() + whine * gate
        assert squeals(values.astype(np.float32), RATE_HZ, 0.0, REVVED) == ()


def test_steady_whine_at_steady_speed_is_no_squeal() -> None:
    values = engine_noise() + order_tone(STEADY, 120.0)
    assert squeals(values.astype(np.float32), RATE_HZ, 0.0, STEADY) == ()


def test_squeal_beside_a_whine_is_still_found() -> None:
    values = engine_noise() + order_tone(REVVED, 60.0, 0.3) + tone(3700.0) * between((4.0, 5.0))
    found = squeals(values.astype(np.float32), RATE_HZ, 0.0, REVVED)
    assert [round(squeal.frequency_hz, -2) for squeal in found] == [3700.0]
    assert abs(found[0].follows) < 0.8


@pytest.mark.parametrize("seed", range(3))
def test_noise_has_no_squeal_and_no_bursts(seed: int) -> None:
    values = engine_noise(seed).astype(np.float32)
    assert squeals(values, RATE_HZ, 0.0, STEADY) == ()
    envelopes = band_envelopes(values, RATE_HZ, plan_bands(RATE_HZ), 2000.0)
    assert impulses(envelopes).time_s.size == 0


def ticks(track: CrankTrack, every_turns: float, seed: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Moments of ticks and the sound with them."""
    rng = np.random.default_rng(seed)
    at_s = time_at_turns(track, np.arange(0.3, track.turns_at(TIME_S[-1:])[0] - 0.5, every_turns))
    at_s += 2e-4 * rng.standard_normal(at_s.size)
    values = engine_noise(seed)
    ring = np.exp(-np.arange(200) / 20) * np.sin(2 * np.pi * 5000 * np.arange(200) / RATE_HZ)
    for moment in at_s:
        start = int(moment * RATE_HZ)
        values[start : start + 200] += np.exp(0.2 * rng.standard_normal()) * ring
    return at_s, values.astype(np.float32)


@pytest.mark.parametrize("track", [STEADY, REVVED], ids=["steady", "revved"])
@pytest.mark.parametrize("every_turns", [2.0, 1.0, 2.7])
def test_ticks_are_found_and_their_order_named(track: CrankTrack, every_turns: float) -> None:
    at_s, values = ticks(track, every_turns)
    envelopes = band_envelopes(values, RATE_HZ, plan_bands(RATE_HZ), 2000.0)
    found = impulses(envelopes, 50.0)
    assert abs(found.time_s.size - at_s.size) <= 0.03 * at_s.size
    nearest = np.abs(found.time_s[:, None] - 50.0 - at_s).min(axis=1)
    assert np.median(nearest) < 1e-3
    assert found.length_s == pytest.approx(12.0, abs=0.01)
    turns = track.turns_at(found.time_s - 50.0)
    orders = [1 / 2.7, 0.5, 1.0, 2.0]
    told = repeats_at(turns, orders)
    assert told.fundamental == pytest.approx(1.0 / every_turns)
    assert told.strength[orders.index(told.fundamental)] > 0.95


def test_events_at_no_order_name_none() -> None:
    """Even spread: p is even too (Kolmogorov-Smirnov), and the stated rate holds."""
    rng = np.random.default_rng(5)
    tells = [repeats_at(rng.uniform(0, 200, 60), [0.5, 1.0, 2.0], 0.05) for _ in range(400)]
    p_value = np.array([told.p_value for told in tells])
    assert stats.kstest(p_value[:, 1], "uniform").pvalue > 0.01
    assert np.mean([told.fundamental is not None for told in tells]) < 0.08


def test_too_few_events_or_cycles_tell_nothing() -> None:
    assert repeats_at([], [1.0]).p_value.tolist() == [1.0]
    assert repeats_at([1.0, 2.0, 3.0], [1.0]).fundamental is None
    # 40 events within 4 turns: they span only 2 cycles at order 0.5.
    told = repeats_at(np.linspace(0, 4, 40), [0.5, 10.0])
    assert told.p_value[0] == 1.0
    assert told.events == 40


def test_rayleigh_p_for_few_phases_by_drawing_many() -> None:
    rng = np.random.default_rng(6)
    strength = np.abs(np.exp(2j * np.pi * rng.random((100_000, 12))).mean(axis=1))
    for share in (0.1, 0.01):
        limit = np.quantile(strength, 1 - share)
        assert float(rayleigh_p(12, limit)) == pytest.approx(share, rel=0.1)


def test_rayleigh_p_of_a_worked_example() -> None:
    """The example in the documentation of pingouin's circ_rayleigh, which follows the `circ_stats`
    toolbox of Berens, Journal of Statistical Software 31(10), 2009: z 1.236, p 0.304844."""
    phases = np.array([0.785, 1.570, 3.141, 0.839, 5.934])
    strength = np.abs(np.exp(1j * phases).mean())
    assert 5 * strength**2 == pytest.approx(1.236, abs=5e-4)
    assert float(rayleigh_p(5, strength)) == pytest.approx(0.304844, abs=2e-6)


def test_refuses_what_it_cannot_do() -> None:
    with pytest.raises(OutOfRangeError, match="values"):
        squeals(np.zeros(100), RATE_HZ)
    with pytest.raises(OutOfRangeError, match="prominence"):
        squeals(np.zeros(16_000), RATE_HZ, prominence_db=1.0)
    with pytest.raises(InputError, match="not finite"):
        squeals(np.full(16_000, np.inf), RATE_HZ)
    with pytest.raises(OutOfRangeError, match="envelopes"):
        impulses([])
    with pytest.raises(OutOfRangeError, match="orders"):
        repeats_at(np.arange(20.0), [0.0])
    with pytest.raises(InputError, match="not finite"):
        repeats_at([np.nan] * 20, [1.0])
    with pytest.raises(InputError, match="not finite"):
        repeats_at([np.nan], [1.0])
