"""Two takes of a made-up engine whose change is known, and pairs that must not be compared.

The engine and its accessory lines are made here and in tests/sound/engines.py, sharing nothing
with the rig; truths are powers of the parts before they are added up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
import scipy.signal
from drives import SHEET as OTHER_SHEET
from engines import RATE_HZ, Take, engine, no_engine

from beltside.base.errors import RecordingError
from beltside.casework.compare import compare_sounds
from beltside.casework.compare_evidence import change_evidence
from beltside.casework.compare_results import CompareResult, Range
from beltside.casework.compare_takes import TakeSound

LEVEL = 0.12
ALTERNATOR_RATIO = 138.0 / 53.0
"""Such that none of its lines falls on one of the engine's."""

SHEET = replace(
    OTHER_SHEET,
    pulleys=tuple(
        replace(one, diameter_mm=53.0) if one.part == "alternator" else one
        for one in OTHER_SHEET.pulleys
    ),
)


@dataclass(frozen=True)
class Pair:
    before: TakeSound
    after: TakeSound
    quieter_db: float


def whine(take: Take, seed: int) -> np.ndarray:
    """Lines at the alternator's shaft and its multiples, strongest at the ninth to eleventh."""
    turns = np.cumsum(take.rpm / 60.0) / take.rate_hz
    phases = np.random.default_rng(seed).uniform(0.0, 6.28, 12)
    parts = [
        (1.0 if 9 <= k <= 11 else 0.4)
        * np.sin(2 * np.pi * k * ALTERNATOR_RATIO * turns + phases[k - 1])
        for k in (1, 2, 3, 4, 9, 10, 11)
    ]
    sound = np.sum(parts, axis=0)
    return np.asarray(LEVEL * sound / sound.std())


def halves(speed: float, seconds: float) -> tuple[Take, Take]:
    """One engine at 800 rpm, and then at another speed: the same resonances in both."""
    moments = [0.0, seconds, seconds + 1.0, 2.0 * seconds + 1.0]
    whole = engine(
        21, (moments, [800.0, 800.0, 800.0 * speed, 800.0 * speed]), seconds=2.0 * seconds + 1.0
    )
    count = round(seconds * RATE_HZ)
    return (
        Take(whole.samples[:count], RATE_HZ, whole.rpm[:count]),
        Take(whole.samples[-count:], RATE_HZ, whole.rpm[-count:]),
    )


def pair(removed_db: float, gain_db: float = 0.0, speed: float = 1.0, seconds: float = 8.0) -> Pair:
    one, other = halves(speed, seconds)
    left = 10.0 ** (-removed_db / 20.0)
    fault = whine(other, 5)
    before = 0.5 * (one.samples + whine(one, 4))
    gain = 10.0 ** (gain_db / 20.0)
    after = 0.5 * gain * (other.samples + left * fault)
    full = float(np.mean((other.samples + fault) ** 2))
    rest = float(np.mean((other.samples + left * fault) ** 2))
    return Pair(
        TakeSound("before.wav", before.astype(np.float32), RATE_HZ),
        TakeSound("after.wav", after.astype(np.float32), RATE_HZ),
        10.0 * float(np.log10(full / rest)),
    )


def holds(one: Range, truth: float) -> bool:
    return (one.low is None or one.low <= truth) and (one.high is None or one.high >= truth)


@pytest.fixture(scope="module")
def six() -> CompareResult:
    made = pair(6.0, -22.0, 1.04)
    return compare_sounds(made.before, made.after, SHEET)


@pytest.mark.parametrize(
    ("removed_db", "gain_db", "speed"), [(3.0, 0.0, 1.0), (6.0, -22.0, 1.04), (12.0, 5.0, 0.95)]
)
def test_a_known_change_is_recovered(removed_db: float, gain_db: float, speed: float) -> None:
    made = pair(removed_db, gain_db, speed)
    found = compare_sounds(made.before, made.after, SHEET)
    assert found.comparable, found.why_not
    assert found.quieter_db.value == pytest.approx(made.quieter_db, abs=1.0)
    assert holds(found.quieter_db, made.quieter_db)
    assert found.gain_db.value == pytest.approx(gain_db, abs=1.5)


def test_the_alternators_lines_and_only_they_became_quieter(six: CompareResult) -> None:
    own = [line for line in six.orders if line.part == "alternator" and line.spectrum == "sound"]
    assert own
    assert np.median([line.quieter_db.value or 0.0 for line in own]) == pytest.approx(6.0, abs=2.0)
    assert all(line.part != "engine" for line in six.orders)


def test_softer_to_the_ear_by_less_than_by_half(six: CompareResult) -> None:
    assert six.loudness_ratio.value is not None
    assert 0.4 < six.loudness_ratio.value < 1.0


def test_json_has_the_keys_other_programs_rely_on(six: CompareResult) -> None:
    answer = six.to_json()
    assert set(answer["quieter_db"]) == {"value", "low", "high"}
    assert set(answer["loudness_ratio"]) == {"value", "low", "high"}
    assert answer["comparable"] is True
    assert answer["why_not"] == []
    assert answer["bands"][0]["band_hz"] == 25.0
    assert {"part", "source", "order", "quieter_db"} <= set(answer["orders"][0])


def test_turned_round_it_became_louder() -> None:
    made = pair(6.0)
    found = compare_sounds(made.after, made.before, SHEET)
    assert found.quieter_db.value == pytest.approx(-made.quieter_db, abs=1.0)


def test_evidence_says_what_dropped(six: CompareResult) -> None:
    evidence = change_evidence(six)
    assert evidence.comparable
    assert {"low", "mid"} <= set(evidence.drop_db)


def test_no_comparison_says_why_and_gives_no_number() -> None:
    made = pair(6.0)
    fast = engine(21, 2200.0, seconds=8.0)
    other = TakeSound("fast.wav", 0.5 * fast.samples, RATE_HZ)
    found = compare_sounds(made.before, other, SHEET)
    assert not found.comparable
    assert "speeds do not meet" in found.why_not[0]
    assert found.quieter_db == Range()
    assert found.to_json()["quieter_db"] == {"value": None, "low": None, "high": None}
    assert found.bands
    assert change_evidence(found).drop_db == {}


def test_the_same_recording_twice() -> None:
    made = pair(6.0)
    found = compare_sounds(made.before, replace(made.before, name="copy.wav"), SHEET)
    assert not found.comparable
    assert "same recording" in found.why_not[0]


def test_a_clipped_take() -> None:
    made = pair(6.0)
    loud = np.clip(12.0 * made.after.samples, -1.0, 1.0)
    found = compare_sounds(made.before, replace(made.after, samples=loud), SHEET)
    assert not found.comparable
    assert "clipped" in found.why_not[0]


def test_wind_in_one_take() -> None:
    made = pair(6.0)
    rng = np.random.default_rng(3)
    size = made.after.samples.size
    sections = scipy.signal.butter(2, (15.0, 70.0), "band", fs=RATE_HZ, output="sos")
    gusts = np.exp(1.5 * np.interp(np.arange(size) / RATE_HZ, np.arange(9), rng.normal(size=9)))
    blow = scipy.signal.sosfilt(sections, rng.normal(size=size)) * gusts
    blow *= 3.0 * made.after.samples.std() / blow.std()
    windy = (0.3 * (made.after.samples + blow)).astype(np.float32)
    found = compare_sounds(made.before, replace(made.after, samples=windy), SHEET)
    assert not found.comparable
    assert any("wind" in reason for reason in found.why_not)


def test_the_hood_shut_in_one_take() -> None:
    """A shut hood takes little from low and much from high pitch: 5 dB at 200 Hz to 25 at 5 kHz."""
    made = pair(0.0)
    size = made.after.samples.size
    frequency_hz = np.maximum(np.fft.rfftfreq(size, 1.0 / RATE_HZ), 1.0)
    loss_db = np.interp(np.log(frequency_hz), np.log([60.0, 200.0, 5000.0]), [0.0, 5.0, 25.0])
    muffled = np.fft.irfft(
        np.fft.rfft(made.after.samples) * 10.0 ** (-loss_db / 20.0), size
    ).astype(np.float32)
    found = compare_sounds(made.before, replace(made.after, samples=muffled), SHEET)
    assert not found.comparable
    assert "hood" in found.why_not[0]


def test_no_engine_in_one_take() -> None:
    made = pair(6.0)
    noise = no_engine("fan", 1)
    found = compare_sounds(made.before, TakeSound("fan.wav", noise, RATE_HZ), SHEET)
    assert not found.comparable
    assert "crank speed of fan.wav can't be told" in found.why_not[0]


def test_silent_and_too_short_takes_are_refused() -> None:
    made = pair(6.0)
    silent = replace(made.after, samples=np.zeros_like(made.after.samples))
    with pytest.raises(RecordingError, match="silent"):
        compare_sounds(made.before, silent, SHEET)
    short = replace(made.after, samples=made.after.samples[:RATE_HZ])
    with pytest.raises(RecordingError, match="2 s or more"):
        compare_sounds(made.before, short, SHEET)
