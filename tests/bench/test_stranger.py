"""The second simulator: what it claims about its engines must be in its sounds."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

import stranger
import stranger_engine_faults
import stranger_faults
import stranger_motion
import stranger_tools
import stranger_world
from beltside.drive.sheet import Bearing

RATE_HZ = 32000.0
# The two bearings of the Case Western Reserve University rig; published multipliers of shaft
# speed, the ball's for a spot striking both rings (bearing data page of its data centre).
DRIVE_END = Bearing(9, 0.3126, 1.537)
FAN_END = Bearing(8, 0.2656, 1.122)
PUBLISHED = {
    DRIVE_END: {"inner": 5.4152, "outer": 3.5848, "cage": 0.39828, "ball": 4.7135},
    FAN_END: {"inner": 4.9469, "outer": 3.0530, "cage": 0.3817, "ball": 3.9874},
}


def scene_of(world, seed=0, duration_s=8.0, raised=False):
    rng = np.random.default_rng(seed)
    motion = stranger_motion.draw_motion(rng, world, duration_s, RATE_HZ, raised)
    return stranger_motion.Scene(world, motion, rng, stranger_tools.NoisePool(rng), True)


def by_angle(x, rate_hz, time_s, rpm, per_turn):
    """Samples at even crank angle, by integrating a speed track and plain interpolation."""
    t = np.arange(len(x)) / rate_hz
    speed = np.interp(t, time_s, rpm) / 60.0
    turns = np.concatenate(([0.0], np.cumsum((speed[1:] + speed[:-1]) / 2.0 / rate_hz)))
    return np.interp(np.arange(0.0, turns[-1], 1.0 / per_turn), turns, x)


def order_spectrum(x, per_turn):
    power = np.abs(np.fft.rfft((x - x.mean()) * np.hanning(len(x)))) ** 2
    return np.arange(len(power)) * per_turn / len(x), power


def case_with(truth, names, seed=0):
    """The first drawn case of that fault whose takes include those names."""
    for step in range(60):
        case = stranger.draw_case(np.random.default_rng((seed, step)), truth, (4.0, 5.0))
        takes = {take.name: take for take in case.takes}
        if set(names) <= set(takes) and not case.severity_db < 8.0:
            return case, takes
    raise AssertionError("no such case in 60 draws")


def test_the_same_generator_gives_the_same_case():
    first, second = (stranger.draw_case(np.random.default_rng(5), None, (4, 5)) for _ in range(2))
    assert first.sheet == second.sheet
    assert first.truth == second.truth
    assert len(first.takes) == len(second.takes)
    for one, other in zip(first.takes, second.takes, strict=True):
        np.testing.assert_array_equal(one.samples, other.samples)
        np.testing.assert_array_equal(one.truth_rpm, other.truth_rpm)


@pytest.mark.parametrize("seed", range(6))
def test_takes_are_finite_float32_of_the_promised_length(seed):
    case = stranger.draw_case(np.random.default_rng(seed), None, (4.0, 6.0))
    assert case.takes[0].belt == "on"
    assert case.takes[0].place == "front of engine"
    for take in case.takes:
        assert take.samples.dtype == np.float32
        assert take.samples.ndim == 2
        assert np.isfinite(take.samples).all()
        assert 0.0 < np.abs(take.samples).max() <= 1.0
        seconds = take.samples.shape[1] / take.sample_rate_hz
        assert 3.99 <= seconds <= 6.01
        assert 0.0 <= take.truth_time_s[0] < take.truth_time_s[-1] <= seconds
        assert 400.0 < take.truth_rpm.min() <= take.truth_rpm.max() < 7000.0


@pytest.mark.parametrize("truth", [f for f in stranger.FAULTS if f != "none"])
def test_every_fault_makes_a_sound(truth):
    rng = np.random.default_rng(11)
    world = stranger_world.draw_world(rng, truth)
    source = stranger_engine_faults.fault_source(rng, world, truth, 6.0)
    sound = source.render(scene_of(world, duration_s=6.0))
    assert np.isfinite(sound).all()
    assert sound.std() > 0.0


def test_faults_are_spread_and_fit_the_drive():
    rng = np.random.default_rng(3)
    truths = []
    for _ in range(3000):
        world = stranger_world.draw_world(rng)
        truth = stranger._draw_truth(rng, world)
        truths.append(truth)
        if truth not in ("none", "other"):
            part, fault = truth.split(".")
            assert f"{stranger_world.kind_of(part)}.{fault}" in world.possible()
            if stranger_world.kind_of(part) in stranger_world.PULLEY_FAULTS:
                assert world.shaft(part).part == part
    assert np.mean([t == "none" for t in truths]) == pytest.approx(0.15, abs=0.03)
    assert np.mean([t == "other" for t in truths]) == pytest.approx(0.03, abs=0.015)
    kinds = {t.replace("idler-2", "idler") for t in truths}
    assert kinds == set(stranger.FAULTS)


def test_the_sheet_is_the_drive_within_a_calipers_error():
    rng = np.random.default_rng(4)
    bearings = lengths = pulleys = 0
    for _ in range(200):
        world = stranger_world.draw_world(rng)
        sheet = stranger_world.measured_sheet(world, rng)
        assert sheet.pulley("crank").diameter_mm == pytest.approx(world.crank_mm, rel=0.0065)
        for shaft in world.shafts:
            pulley = sheet.pulley(shaft.part)
            assert pulley.diameter_mm == pytest.approx(shaft.measured_mm, rel=0.0065)
            assert 0.0 <= shaft.pitch_mm - shaft.measured_mm <= 4.0
            # Pitch line 0 to 2 mm outside, creep, and two errors of 0.5 %.
            plain = sheet.pulley("crank").diameter_mm / pulley.diameter_mm
            assert shaft.ratio == pytest.approx(plain, rel=0.09)
            bearings += pulley.bearing is not None
            pulleys += 1
        lengths += sheet.belt.length_mm is not None
    assert bearings / pulleys == pytest.approx(0.5, abs=0.06)
    assert lengths / 200 == pytest.approx(0.67, abs=0.12)


@pytest.mark.parametrize("bearing", [DRIVE_END, FAN_END])
def test_bearing_orders_are_the_published_multipliers(bearing):
    orders = stranger_world.bearing_orders(bearing, outer_turns=False)
    for name, published in PUBLISHED[bearing].items():
        assert orders[name] == pytest.approx(published, abs=5e-4)
    # With the outer ring driven the cage goes the rest of the way round (kinematics).
    turned = stranger_world.bearing_orders(bearing, outer_turns=True)
    assert turned["cage"] + orders["cage"] == pytest.approx(1.0)


@pytest.mark.parametrize("kind", ["outer", "inner"])
@pytest.mark.parametrize("raised", [False, True])
def test_bearing_blows_come_at_the_published_rate_times_the_ratio(kind, raised):
    world = stranger_world.draw_world(np.random.default_rng(8), "alternator.bearing")
    shaft = dataclasses.replace(world.shaft("alternator"), bearing=DRIVE_END)
    render = stranger_faults.bearing(np.random.default_rng(2), shaft, kind)
    scene = scene_of(world, seed=1, raised=raised)
    hull = np.abs(signal.hilbert(render(scene)))
    hull = signal.sosfiltfilt(signal.butter(4, 1500.0, fs=RATE_HZ, output="sos"), hull)
    even = by_angle(hull, RATE_HZ, scene.motion.coarse_s, scene.motion.coarse_rpm, 128)
    order, power = order_spectrum(even, 128)
    expected = PUBLISHED[DRIVE_END][kind] * shaft.ratio
    near = (order > 0.93 * expected) & (order < 1.05 * expected)
    assert 0.985 * expected <= order[near][np.argmax(power[near])] <= 1.005 * expected
    assert power[near].max() > 20.0 * np.median(power[near])


def test_a_ball_off_the_load_zone_carries_nothing():
    share = stranger_faults.load_share(np.array([0.0, 0.25, 0.5]), 0.5)
    # Half the ring loaded (Stribeck, no clearance): all at the middle, none from 90 degrees on.
    np.testing.assert_allclose(share, [1.0, 0.0, 0.0], atol=1e-9)


def test_partials_are_locked_to_half_orders_of_the_crank_through_a_blip():
    world = stranger_world.draw_world(np.random.default_rng(6))
    sources = stranger.engine_sources(np.random.default_rng(6), world)
    scene = scene_of(world, seed=3, raised=True)
    assert np.ptp(scene.motion.coarse_rpm) > 0.4 * world.idle_rpm
    sound = next(s for s in sources if s.name == "partials").render(scene)
    even = by_angle(sound, RATE_HZ, scene.motion.coarse_s, scene.motion.coarse_rpm, 256)
    order, power = order_spectrum(even, 256)
    inside = (order > 0.4) & (order < 12.0)
    off = np.abs(order * 2.0 - np.round(order * 2.0)) / 2.0
    on_lines = power[inside & (off < 0.05)].sum()
    assert on_lines / power[inside].sum() > 0.9
    firing = world.cylinders / 2.0
    fires = np.abs(order / firing - np.round(order / firing)) * firing < 0.05
    assert power[inside & fires].sum() > 0.4 * on_lines


def test_belt_off_stills_the_accessories_and_leaves_the_engine():
    case, takes = case_with("alternator.electrical", ["belt-on", "belt-off"], seed=1)
    levels = {}
    sheet = case.sheet
    plain = sheet.pulley("crank").diameter_mm / sheet.pulley("alternator").diameter_mm
    for name in ("belt-on", "belt-off"):
        take = takes[name]
        x = take.samples[0].astype(float)
        even = by_angle(x, take.sample_rate_hz, take.truth_time_s, take.truth_rpm, 512)
        order, power = order_spectrum(even, 512)
        best = 0.0
        for multiple in (6, 7, 8, 12, 14, 16, 18, 21, 24, 36, 42, 48, 72, 84, 96):
            near = np.abs(order / (plain * multiple) - 1.0) < 0.08
            # Half orders belong to the engine.
            clear = near & (np.abs(order * 2.0 - np.round(order * 2.0)) > 0.15)
            best = max(best, power[clear].max() / np.median(power[clear]))
        levels[name] = 10.0 * np.log10(best)
    assert levels["belt-on"] - levels["belt-off"] > 8.0


def test_sources_on_the_belt_are_those_of_pulleys_and_belt():
    world = stranger_world.draw_world(np.random.default_rng(9))
    rng = np.random.default_rng(9)
    assert all(source.needs_belt for source in stranger.accessory_sources(rng, world))
    assert not any(source.needs_belt for source in stranger.engine_sources(rng, world))


def test_a_level_is_set_against_the_band_in_which_a_sound_shows_most():
    rng = np.random.default_rng(0)
    noise = rng.standard_normal(96000).astype(np.float32)
    assert stranger_tools.gain_for(0.0, 7.0 * noise, noise, RATE_HZ, 8000.0) == pytest.approx(1 / 7)
    assert stranger_tools.gain_for(6.0, noise, noise, RATE_HZ, 8000.0) == pytest.approx(10**0.3)
    # A tone in white noise: compare with Welch's spectrum over the same third octave.
    tone = np.sin(2 * np.pi * 2016.0 * np.arange(96000) / RATE_HZ).astype(np.float32)
    f, density = signal.welch(noise, RATE_HZ, nperseg=4096)
    band = (f > 160 * 2 ** (11 / 3 - 1 / 6)) & (f < 160 * 2 ** (11 / 3 + 1 / 6))
    in_band = density[band].sum() * f[1]
    expected = np.sqrt(in_band / 0.5)
    assert stranger_tools.gain_for(0.0, tone, noise, RATE_HZ, 8000.0) == pytest.approx(
        expected, rel=0.06
    )


def test_probing_a_housing_brings_its_own_noise_forward():
    # A squeaking seal is a tone of its own; it must stand out more at the pump.
    _, takes = case_with("coolant-pump.seal", ["belt-on", "probe-coolant-pump"], seed=2)
    shown = {}
    for name in ("belt-on", "probe-coolant-pump"):
        take = takes[name]
        f, density = signal.welch(take.samples[0], take.sample_rate_hz, nperseg=4096)
        wide = (f > 800.0) & (f < 6500.0)
        shown[name] = np.max(density[wide]) / np.median(density[wide])
    assert shown["probe-coolant-pump"] > 2.0 * shown["belt-on"]


def test_recordings_without_an_engine():
    kinds = set()
    for seed in range(24):
        samples, rate_hz, what = stranger.draw_nothing(np.random.default_rng(seed))
        assert samples.dtype == np.float32
        assert samples.ndim == 2
        assert np.isfinite(samples).all()
        assert np.abs(samples).max() <= 1.0
        assert samples.std() > 0.0
        assert 5.9 < samples.shape[1] / rate_hz < 12.1
        kinds.add(what)
    assert len(kinds) >= 9


def test_a_fault_it_does_not_know_is_refused():
    with pytest.raises(ValueError, match="no fault of the stranger's engines"):
        stranger.draw_case(np.random.default_rng(0), "alternator.hiccup")
    with pytest.raises(ValueError, match="4 s or more"):
        stranger.draw_case(np.random.default_rng(0), "none", (1.0, 2.0))


def test_it_stands_apart_from_what_it_tests():
    for path in (Path(__file__).parents[2] / "bench").glob("stranger*.py"):
        text = path.read_text()
        for room in ("rig", "sound", "suspects", "casework"):
            assert f"beltside.{room}" not in text
            assert f"from beltside import {room}" not in text
