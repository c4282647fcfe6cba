"""What changed between takes, with a load, and from moment to moment: known changes, told back."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from drives import SHEET, heard
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from beltside.casework.changes import CHANGES, take_change
from beltside.casework.contrasts import Pair, band_octaves
from beltside.casework.formats.load_words import LOADS
from beltside.casework.measures import SUSPECT_MEASURES, case_measures
from beltside.casework.sway import SWAY, USUAL_DB, sways
from beltside.casework.switched_on import (
    CASE_LOADS,
    CLEAREST,
    SUSPECT_LOADS,
    WORKS,
    case_loads,
    load_changes,
    suspect_loads,
)
from beltside.casework.take_measures import take_measures
from beltside.casework.takes import Conditions, HeardTake
from beltside.sound.orders import Spectrogram, spectrogram

RATE_HZ = 16_000.0


@cache
def pair(hiss: float = 0.0, load: tuple[str, ...] = ()) -> Pair:
    take = heard(2, hiss=hiss, conditions=Conditions("+".join(load) or "front", "on", None, load))
    return take, take_measures(take.hearing, SHEET)


def with_step(of: Pair, step_db: np.ndarray, load: tuple[str, ...] = ()) -> Pair:
    """The same take with each band louder by so much."""
    hearing = of[0].hearing
    power = hearing.band_power * 10.0 ** (step_db / 10.0)
    conditions = Conditions("+".join(load) or "other", "on", None, load)
    return HeardTake(conditions, of[0].crank, replace(hearing, band_power=power)), of[1]


def one_band(at: int, step_db: float) -> np.ndarray:
    step = np.zeros(pair()[0].hearing.band_power.size)
    step[at : at + 2] = step_db
    return step


@given(up_db=st.floats(-20.0, 20.0), tilt_db=st.floats(-6.0, 6.0))
@settings(max_examples=25, deadline=None)
def test_another_place_for_the_phone_is_no_change(up_db: float, tilt_db: float) -> None:
    """Level and tilt move the whole spectrum; a noise of 9 dB in two bands shows through them."""
    base = pair()
    line = up_db + tilt_db * band_octaves(base[0])
    moved = take_change(with_step(base, line), base)
    assert moved == pytest.approx(dict.fromkeys(CHANGES, 0.0), abs=1e-6)
    came = take_change(with_step(base, line + one_band(5, 9.0)), base)
    assert came["step"] == pytest.approx(1.5, abs=0.05)
    assert came["where"] == pytest.approx(band_octaves(base[0])[5:7].mean(), abs=1e-9)
    assert came["apart"] == 3.0  # nothing else moved: as clear as can be
    gone = take_change(base, with_step(base, line + one_band(5, 9.0)))
    assert gone["less_step"] == pytest.approx(came["step"], abs=1e-6)


def test_in_a_careless_pair_the_same_step_stands_less_apart() -> None:
    base, rng = pair(), np.random.default_rng(1)
    scatter = rng.normal(0.0, 1.0, base[0].hearing.band_power.size)
    step = one_band(5, 9.0)
    careful = take_change(with_step(base, step + 0.5 * scatter), base)
    careless = take_change(with_step(base, step + 4.0 * scatter), base)
    assert careful["apart"] > 2.0 * careless["apart"] > 0.0


def test_the_line_is_the_one_a_robust_fit_of_scipy_finds() -> None:
    """scipy.optimize.least_squares with its own Huber loss, on scattered bands with one noise
    that is not at the very end, where either line may bend towards it."""
    base, rng = pair(), np.random.default_rng(7)
    x = band_octaves(base[0])
    worst = 0.0
    for _ in range(20):
        step = 3.0 + rng.uniform(-4.0, 4.0) * x + rng.normal(0.0, 0.6, x.size)
        at = int(rng.integers(1, x.size - 2))
        step[at : at + 2] += 8.0
        fit = least_squares(lambda p: step - p[0] - p[1] * x, (0.0, 0.0), loss="huber", f_scale=0.8)  # noqa: B023
        left = fit.fun - np.median(fit.fun)
        change = take_change(with_step(base, step), base)
        worst = max(worst, abs(6.0 * change["step"] - np.sort(left)[-2:].mean()))
    assert worst < 1.0  # of 8 dB; the two set their scale differently


def test_every_load_counts_not_only_the_first() -> None:
    """Lights first and nothing to hear, then the compressor is switched on and grinds."""
    base = pair()
    lights = with_step(base, one_band(2, 0.2), ("lights",))
    ac = with_step(base, one_band(5, 8.0), ("ac",))
    changes = load_changes(base, [lights, ac])
    compressor = dict(
        zip(SUSPECT_LOADS, suspect_loads("ac-compressor", base, changes), strict=True)
    )
    assert compressor["own_load"] == 1.0
    assert compressor["own_load_step"] == pytest.approx(8.0 / 6.0, abs=0.05)
    assert compressor["own_load_lead_step"] > 1.0
    alternator = dict(zip(SUSPECT_LOADS, suspect_loads("alternator", base, changes), strict=True))
    assert alternator["own_load_step"] < 0.1  # lights work it, and brought nothing
    pump = dict(zip(SUSPECT_LOADS, suspect_loads("coolant-pump", base, changes), strict=True))
    assert pump["own_load"] == 0.0
    assert pump["other_load_apart"] == 3.0
    assert case_loads(changes)["load_step"] == compressor["own_load_step"]
    back = load_changes(base, [ac, lights])
    assert suspect_loads("ac-compressor", base, back) == pytest.approx(
        suspect_loads("ac-compressor", base, changes)
    )


def test_a_load_alone_says_more_than_two_at_once() -> None:
    base = pair()
    both = with_step(base, one_band(5, 8.0), ("lights", "ac"))
    alone = with_step(base, one_band(5, 2.0), ("ac",))
    changes = load_changes(base, [both, alone])
    assert changes["ac"][0] is alone
    assert changes["lights"][0] is both


def test_the_loads_a_case_may_name_are_those_that_count() -> None:
    assert set(WORKS) == set(LOADS)


def test_without_a_load_nothing_is_said() -> None:
    assert not any(case_loads({}).values())
    assert set(case_loads({})) == set(CASE_LOADS)
    assert not suspect_loads("alternator", pair(), {}).any()
    for kind, loads in CLEAREST.items():
        assert all(kind in WORKS[load] for load in loads)


def test_a_second_load_moves_the_measures_of_a_whole_case() -> None:
    takes = [pair(), pair(load=("lights",)), pair(1.0, ("ac",))]
    joined = case_measures([one for one, _ in takes], [two for _, two in takes], SHEET)
    first = case_measures([one for one, _ in takes[:2]], [two for _, two in takes[:2]], SHEET)
    at = SUSPECT_MEASURES.index("other_load_apart")
    assert joined.parts["coolant-pump"][at] > first.parts["coolant-pump"][at] + 0.3


def noise(seconds: float, level_db: object = None) -> Spectrogram:
    size = int(seconds * RATE_HZ)
    samples = np.random.default_rng(3).normal(0.0, 0.05, size)
    if callable(level_db):
        samples *= 10.0 ** (np.asarray(level_db(np.arange(size) / RATE_HZ)) / 20.0)
    return spectrogram(
        samples.astype(np.float32), RATE_HZ, rows=256, low_hz=15.0, most_columns=300,
        frame_samples=1024,
    )  # fmt: skip


def swing(picture: Spectrogram) -> dict[str, float]:
    return dict(zip(SWAY, sways(picture), strict=True))


def test_a_level_that_swings_by_a_known_amount_is_told_so() -> None:
    """4 dB either way once in two seconds: a sine's deviation is its height over the root of two,
    less what reading it over 0.23 s takes: sin(x) / x at x = pi 0.23 / 2."""
    found = swing(noise(12.0, lambda t: 4.0 * np.sin(np.pi * t)))
    x = np.pi * 0.23 / 2.0
    deviation_db = 4.0 / np.sqrt(2.0) * np.sin(x) / x
    for zone in ("low", "mid", "high"):
        assert 2.0 * found[f"sway_{zone}"] + USUAL_DB == pytest.approx(deviation_db, abs=0.2)
    steady = swing(noise(12.0))
    assert steady["sway_mid"] < 0.0
    assert abs(steady["spells_mid"]) < 0.1


def test_spells_stand_up_and_gaps_hang_down() -> None:
    spells = swing(noise(12.0, lambda t: 12.0 * (t % 3.0 < 0.5)))
    gaps = swing(noise(12.0, lambda t: -12.0 * (t % 3.0 < 0.5)))
    assert spells["spells_mid"] > 0.5 > -0.5 > gaps["spells_mid"]


def test_takes_too_long_or_too_short_to_say_are_silent() -> None:
    long = noise(12.0, lambda t: 12.0 * (t % 3.0 < 0.5))
    coarse = Spectrogram(long.time_s * 30.0, long.frequency_hz, long.power)
    assert not sways(coarse).any()
    short = Spectrogram(long.time_s[:5], long.frequency_hz, long.power[:5])
    assert not sways(short).any()
