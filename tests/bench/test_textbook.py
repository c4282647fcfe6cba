"""The textbook's engines turn, strike and pass at the rates of their geometry."""

import numpy as np
import pytest
from scipy import signal

import textbook
from beltside.drive.sheet import Bearing
from textbook_bearings import OUTER_TURNS, Defect, _Blows, defects, rates
from textbook_car import draw_car
from textbook_healthy import healthy_sounds

SHORT = (2.0, 2.2)


def steady(car, seconds=8.0, rate=32000):
    rng = np.random.default_rng(1)
    return textbook._run(rng, car, textbook.Plan(""), rate, int(seconds * rate), steady=True)


def strongest_hz(wave, rate, low, high):
    """Middle of the strongest line between two frequencies, by scipy's periodogram."""
    hz, power = signal.periodogram(wave, rate, nfft=4 * len(wave))
    inside = (hz >= low) & (hz <= high)
    return hz[inside][np.argmax(power[inside])]


@pytest.mark.parametrize(
    ("bearing", "outer", "inner", "cage", "twice_ball"),
    [
        # 6205 and 6203 of the CWRU bearing data, as published for its drive and fan ends.
        (Bearing(9, 0.3126, 1.537), 3.5848, 5.4152, 0.39828, 4.7135),
        (Bearing(8, 0.2656, 1.122), 3.0530, 4.9469, 0.3817, 3.9874),
        # ER-16K, readme of Curtin University's data set (CC BY 4.0).
        (Bearing(9, 7.9375, 38.50), 3.572, 5.428, 0.3969, 4.64),
    ],
)
def test_bearing_rates_are_the_published_ones(bearing, outer, inner, cage, twice_ball):
    own = rates(bearing)
    assert own.outer == pytest.approx(outer, abs=0.001)
    assert own.inner == pytest.approx(inner, abs=0.001)
    assert own.cage == pytest.approx(cage, abs=0.0005)
    assert 2.0 * own.ball == pytest.approx(twice_ball, abs=0.005)


def test_a_bad_outer_race_strikes_at_its_rate_with_at_most_one_percent_slip():
    car = draw_car(np.random.default_rng(4))
    run = steady(car)
    # 6205: 3.5848 blows a turn (CWRU); a pulley that turns 2.5 times as fast as the crank.
    blows = _Blows(np.random.default_rng(3), 2.5, Defect(3.5848, 0.0))(run)
    due = 3.5848 * 2.5 * car.idle_rpm / 60.0
    assert 0.985 < strongest_hz(np.abs(blows), 32000, 0.5 * due, 1.5 * due) / due < 1.005


def test_a_ring_that_turns_carries_its_flaw_through_the_load_zone():
    bearing = Bearing(8, 6.746, 28.5)
    still, turning = defects(bearing, False), defects(bearing, True)
    assert (still["outer"].swells, still["inner"].swells) == (0.0, 1.0)
    assert (turning["outer"].swells, turning["inner"].swells) == (1.0, 0.0)
    assert still["cage"].per_turn + turning["cage"].per_turn == pytest.approx(1.0)
    assert {"idler", "tensioner"} <= set(OUTER_TURNS)


def test_pulleys_and_belt_turn_by_their_geometry():
    for seed in range(20):
        car = draw_car(np.random.default_rng(seed))
        crank = car.wheel("crank").diameter_mm
        # Cords lie 0 to 4.5 mm outside the measured diameter, and a belt creeps by about 1 %.
        assert np.pi * crank < car.belt_turns * car.belt_mm < np.pi * (crank + 4.0)
        for wheel in car.wheels[1:]:
            plain = crank / wheel.diameter_mm
            assert wheel.ratio == pytest.approx(plain, rel=0.16)


def test_a_damaged_belt_thumps_once_a_passing():
    car = draw_car(np.random.default_rng(8), "belt.damage")
    sound = textbook.fault_sounds(np.random.default_rng(2), car, "belt.damage")[0]
    run = steady(car, 12.0, 8000)
    wave = np.convolve(np.abs(sound.make(run)), np.hanning(81), "same")
    match = signal.correlate(wave, wave, "full", "fft")[len(wave) - 1 :]
    crank = car.wheel("crank").diameter_mm
    due = car.belt_mm / (np.pi * crank) * 60.0 / car.idle_rpm
    near = np.arange(int(0.9 * due * 8000), int(1.1 * due * 8000))
    assert near[np.argmax(match[near])] / 8000 == pytest.approx(due, rel=0.035)


@pytest.mark.parametrize("seed", range(4))
def test_a_four_stroke_fires_half_its_cylinders_each_turn(seed):
    car = draw_car(np.random.default_rng(seed))
    pulses = healthy_sounds(np.random.default_rng(seed), car)[0]
    run = steady(car, 6.0)
    struck = signal.find_peaks(np.pad(np.abs(pulses.make(run)), 1), distance=50)[0]
    turns = 6.0 * car.idle_rpm / 60.0
    assert len(struck) == pytest.approx(0.5 * car.cylinders * turns, abs=1.5)


def test_the_same_seed_gives_the_same_case():
    first, second = (textbook.draw_case(np.random.default_rng(5), duration_s=SHORT) for _ in "ab")
    assert (first.sheet, first.truth) == (second.sheet, second.truth)
    for one, other in zip(first.takes, second.takes, strict=True):
        np.testing.assert_array_equal(one.samples, other.samples)
    third = textbook.draw_case(np.random.default_rng(6), duration_s=SHORT)
    assert third.sheet != first.sheet


@pytest.mark.parametrize("suspect", [*textbook.SUSPECTS, "idler-2.bearing"])
def test_every_suspect_can_be_drawn_and_its_takes_are_recordings(suspect):
    case = textbook.draw_case(np.random.default_rng(len(suspect)), suspect, SHORT)
    assert case.truth == suspect
    assert (suspect == "none") == np.isnan(case.severity_db)
    assert suspect == "none" or -3.0 <= case.severity_db <= 20.0
    first = case.takes[0]
    assert (first.belt, first.place, first.load) == ("on", "front of engine", ())
    part = suspect.partition(".")[0]
    assert not suspect.endswith(".bearing") or case.sheet.pulley(part).part == part
    for take in case.takes:
        assert take.samples.dtype == np.float32
        assert take.samples.shape[0] == 1
        assert 1.5 <= take.samples.shape[1] / take.sample_rate_hz <= 2.21
        assert 0.001 < np.abs(take.samples).max() <= 1.0
        assert len(take.truth_time_s) == len(take.truth_rpm)
        assert np.diff(take.truth_time_s) == pytest.approx(0.1)
        assert 500.0 < take.truth_rpm.min() <= take.truth_rpm.max() < 3600.0


def test_every_take_is_made_when_asked_for():
    case = textbook.draw_case(np.random.default_rng(9), "steering-pump.whine", SHORT, True)
    parts = {pulley.part for pulley in case.sheet.pulleys} - {"crank"}
    places = {take.place for take in case.takes} - {"front of engine"}
    assert places == parts | {"timing-chain", "valve-train"}
    assert {"belt-off", "raised", "lights", "steering"} <= {take.name for take in case.takes}
    idle, raised = case.takes[0], next(take for take in case.takes if take.name == "raised")
    assert 1.4 < raised.truth_rpm.max() / idle.truth_rpm.mean() < 3.3


def test_without_the_belt_its_parts_are_silent_and_the_engine_is_not():
    for suspect, stays in (("alternator.bearing", False), ("engine.knock", True)):
        rng = np.random.default_rng(11)
        *_, heard = textbook.draw_parts(rng, suspect, SHORT, every_take=True)
        off = next(one for one in heard if one.plan.belt == "off")
        assert bool(np.any(off.fault)) is stays
        assert np.abs(off.rest).max() > 0.0
        assert all(np.any(one.fault) for one in heard if one.plan.belt == "on")


@pytest.mark.parametrize("suspect", ["idler.bearing", "belt.slip", "ac-compressor.rattle", "other"])
def test_a_fault_stands_out_as_far_as_stated(suspect):
    """Against scipy's Butterworth filters in the third octaves of IEC 61260-1:2014 (base ten)."""
    rng = np.random.default_rng(21)
    _, stated, _, phone, heard = textbook.draw_parts(rng, suspect, (3.0, 3.0))
    found = []
    for one in heard:
        if one.plan.place != "front of engine" or one.plan.belt == "off":
            continue
        fault, rest = (np.fft.irfft(x, one.run.size) for x in (one.fault, one.rest))
        for middle in 1000.0 * 10.0 ** (np.arange(-10, 10) / 10.0):
            edges = [middle * 10.0**-0.05, middle * 10.0**0.05]
            third = signal.butter(8, edges, "bandpass", fs=phone.rate_hz, output="sos")
            power = [np.mean(signal.sosfilt(third, wave) ** 2) for wave in (fault, rest)]
            found.append(power[0] / power[1])
    assert 10.0 * np.log10(max(found)) == pytest.approx(stated, abs=1.5)


def test_a_probe_lifts_the_housing_it_is_held_on():
    rng = np.random.default_rng(31)
    *_, heard = textbook.draw_parts(rng, "alternator.bearing", SHORT, every_take=True)
    loud = {one.plan.place: float(np.sum(np.abs(one.fault) ** 2)) for one in heard[3:]}
    own = loud.pop("alternator")
    loud.pop("front of engine")
    assert own > 4.0 * max(loud.values())


def test_what_is_drawn_has_the_stated_shares():
    rng = np.random.default_rng(41)
    drawn = [textbook._draw_suspect(rng) for _ in range(6000)]
    assert set(drawn) == set(textbook.SUSPECTS)
    assert drawn.count("none") / 6000 == pytest.approx(0.15, abs=0.02)
    assert drawn.count("other") / 6000 == pytest.approx(0.04, abs=0.012)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match=r"'gearbox\.whine' is no suspect"):
        textbook.draw_case(np.random.default_rng(0), "gearbox.whine")
    with pytest.raises(ValueError, match="2 s or more"):
        textbook.draw_case(np.random.default_rng(0), "none", (1.0, 3.0))


def test_recordings_without_an_engine():
    kinds = set()
    for seed in range(16):
        samples, rate, what = textbook.draw_nothing(np.random.default_rng(seed))
        kinds.add(what)
        assert samples.dtype == np.float32
        assert 32000 <= rate <= 48000
        assert samples.shape[0] == 1
        assert 5.0 <= samples.shape[1] / rate < 10.5
        assert 0.0 < np.abs(samples).max() <= 1.0
    assert len(kinds) >= 5
