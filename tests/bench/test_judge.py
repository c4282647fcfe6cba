"""The judge's physics against figures from outside the project, and its manners.

Sources stand beside each check.
"""

import ast
import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

import judge
import judge_around
import judge_bearings
import judge_drive
import judge_engine
import judge_motion
import judge_place
import judge_rattle
import judge_sheet
import judge_tools
from beltside.drive.sheet import Bearing

RATE_HZ = 48_000
BENCH = Path(judge.__file__).parent


def a_turning(
    rng: np.random.Generator, car: judge_drive.Car, *, raised: float = 1.0, seconds: float = 6.0
) -> judge_motion.Turning:
    return judge_motion.draw_turning(
        rng, car, seconds, RATE_HZ, belt_on=True, raised=raised, loads=(), cold=False
    )


def strongest_hz(values: np.ndarray, low_hz: float, high_hz: float) -> float:
    """Frequency of the strongest line between two [Hz]."""
    size = np.abs(np.fft.rfft(values * np.hanning(values.size), 4 * values.size))
    freqs = np.fft.rfftfreq(4 * values.size, 1.0 / RATE_HZ)
    inside = (freqs > low_hz) & (freqs < high_hz)
    return float(freqs[inside][np.argmax(size[inside])])


@pytest.mark.parametrize(
    ("bearing", "outer", "inner", "cage", "ball"),
    [
        # 6205 and 6203 of the Case Western Reserve University bearing data, whose "rolling
        # element" rate is that of a ball's blows on both rings; 12.7 mm x inches of its page.
        (Bearing(9, 0.3126, 1.537), 3.5848, 5.4152, 0.39828, 4.7135),
        (Bearing(8, 0.2656, 1.122), 3.0530, 4.9469, 0.3817, 3.9874),
        # ER-16K of Curtin University's data; its ball rate is the spin, half the blows.
        (Bearing(9, 7.9375, 38.50), 3.572, 5.428, 0.3969, 2 * 2.32),
    ],
)
def test_bearing_rates_are_the_published_multipliers(bearing, outer, inner, cage, ball):
    told = judge_bearings.rates(bearing, outer_turns=False)
    assert told.outer == pytest.approx(outer, abs=1e-3)
    assert told.inner == pytest.approx(inner, abs=1e-3)
    assert told.cage == pytest.approx(cage, abs=1e-3)
    assert told.ball == pytest.approx(ball, abs=6e-3)


def test_with_the_outer_ring_turning_the_cage_keeps_up_with_it():
    # The cage's speed is the mean of the rings' speeds weighted by their rolling radii
    # (kinematics of rolling): what it lags behind one ring it leads the other.
    bearing = judge_drive.BEARINGS["6203"]
    inner, outer = (judge_bearings.rates(bearing, outer_turns=turns) for turns in (False, True))
    assert inner.cage + outer.cage == pytest.approx(1.0)
    # Passes per turn do not mind which ring stands still.
    assert inner.outer == pytest.approx(outer.outer) == pytest.approx(8 * inner.cage)
    assert inner.inner == pytest.approx(outer.inner) == pytest.approx(8 * outer.cage)


@pytest.mark.parametrize("where", ["outer", "inner", "ball"])
def test_pits_are_rolled_over_at_the_rate_less_a_slip_of_two_percent(where):
    rng = np.random.default_rng(4)
    car = judge_drive.draw_car(rng, "alternator.bearing")
    turning = a_turning(rng, car)
    bearing = Bearing(9, 7.9375, 38.50)
    worn = judge_bearings.Worn(
        *("alternator", bearing, False, where, np.ones(1), np.ones(4)),
        *((np.ones(4), np.ones(4)), 10.0, 1.0, 0.0),
    )
    shaft = turning.shaft("alternator")
    blows = judge_bearings._walked(rng, turning, shaft, worn._rate())
    turned = np.interp(blows[blows >= 0], np.arange(turning.size), shaft)
    expected = {"outer": 3.572, "inner": 5.428, "ball": 2 * 2.32}[where]
    assert 1.0 / np.mean(np.diff(turned)) == pytest.approx(expected, rel=0.022)
    steps = np.diff(turned) * expected
    # One to two percent (Randall & Antoni, MSSP 25, 2011).
    assert 0.007 < np.std(steps) < 0.022


def test_a_ball_outside_the_load_zone_carries_nothing():
    # Stribeck's load distribution: full under the load, nothing opposite, 1.5th power between.
    share = judge_bearings.load_share(np.array([0.0, 1 / 6, 0.25, 0.5]), 0.5)
    assert share == pytest.approx([1.0, 0.5**1.5, 0.0, 0.0])


def test_belt_round_two_pulleys_is_as_long_as_in_the_handbook():
    # Shigley, Eq. 17-1 and the worked problem: 6 and 18 in pulleys, 96 in apart: 230.074 in;
    # wraps 3.0165 and 3.2667 rad. Crossed (the second on the back): 231.201 in.
    centres = np.array([[0.0, 0.0], [96.0, 0.0]])
    spans, arcs = judge_drive.belt_path(centres, np.array([3.0, 9.0]), np.array([1.0, 1.0]))
    assert sum(spans) + sum(arcs) == pytest.approx(230.074, abs=1e-3)
    assert np.array(arcs) / [3.0, 9.0] == pytest.approx([3.0165, 3.2667], abs=1e-4)
    spans, arcs = judge_drive.belt_path(centres, np.array([3.0, 9.0]), np.array([1.0, -1.0]))
    assert sum(spans) + sum(arcs) == pytest.approx(231.201, abs=1e-3)


def test_cylinders_fire_once_in_two_turns_evenly_spread():
    # Four-stroke engines fire each cylinder every 720 degrees; common practice.
    for seed in range(8):
        rng = np.random.default_rng(seed)
        car = judge_drive.draw_car(rng, "none")
        assert sorted(car.firing_order) == list(range(1, car.cylinders + 1))
        if car.cylinders == 6:
            continue
        turning = a_turning(rng, car)
        force = judge_engine.blows(
            *(turning, rng, car.fires_at, np.ones(car.cylinders)),
            scatter=0.0,
            jitter=0.0,
            speed_power=0.0,
        )
        firing_hz = np.mean(turning.rpm) / 60.0 * car.cylinders / 2.0
        assert force.sum() / (turning.size / RATE_HZ) == pytest.approx(firing_hz, rel=0.02)


def test_the_crank_swings_at_the_firing_rate_and_less_at_speed():
    rng = np.random.default_rng(1)
    car = judge_drive.draw_car(rng, "none")
    idle, fast = a_turning(rng, car), a_turning(rng, car, raised=2.5)
    firing_hz = np.mean(idle.rpm) / 120.0 * car.cylinders
    assert strongest_hz(idle.swing, 5.0, 200.0) == pytest.approx(firing_hz, rel=0.03)
    # The same torque on the same inertia: the speed swings by 1/speed, its share by 1/speed^2.
    assert np.std(fast.swing) < 0.5 * np.std(idle.swing)
    assert np.std(idle.swing) < 0.1


def test_pulleys_turn_by_the_ratio_of_their_diameters_less_a_little_creep():
    rng = np.random.default_rng(2)
    car = judge_drive.draw_car(rng, "alternator.bearing")
    turning = a_turning(rng, car)
    wheel = car.wheel("alternator")
    turned = (turning.shaft("alternator")[-1] - turning.shaft("alternator")[0]) / (
        turning.crank[-1] - turning.crank[0]
    )
    geared = car.wheels[0].pitch_mm / wheel.pitch_mm
    # Creep of elastic belts under load stays below 2 % (common practice).
    assert 0.98 < turned / geared < 1.0


def test_a_round_of_the_belt_passes_at_belt_speed_over_length():
    rng = np.random.default_rng(3)
    car = judge_drive.draw_car(rng, "belt.damage")
    turning = a_turning(rng, car)
    speed = np.pi * car.wheels[0].pitch_mm / 1000.0 * np.mean(turning.rpm) / 60.0
    rounds = (turning.belt[-1] - turning.belt[0]) / (turning.size / RATE_HZ)
    assert rounds == pytest.approx(speed / (car.belt_mm / 1000.0), rel=1e-3)
    assert 0.6 < car.belt_mm / 1000.0 < 3.5


def test_a_mode_rings_at_its_frequency_and_dies_by_its_damping():
    # Single-degree-of-freedom receptance: at resonance the acceleration is force x 1 / (2 zeta).
    modes = judge_tools.Modes(np.array([1000.0]), np.array([0.02]), np.array([1.0]))
    assert abs(modes.response(np.array([1000.0]))[0]) == pytest.approx(25.0)
    # Far above, only the mass is left.
    assert abs(modes.response(np.array([50_000.0]))[0]) == pytest.approx(1.0, rel=1e-3)


def test_a_weighting_is_that_of_the_standard():
    # IEC 61672-1, nominal values at 100 Hz, 1 kHz and 10 kHz.
    told = 20.0 * np.log10(judge_tools.a_weight(np.array([100.0, 1000.0, 10_000.0])))
    assert told == pytest.approx([-19.1, 0.0, -2.5], abs=0.1)


def test_twice_the_distance_is_six_decibels_less():
    rng = np.random.default_rng(5)
    car = judge_drive.draw_car(rng, "none")
    bay = judge_place.Bay(rng, car, judge_tools.grid_hz(RATE_HZ), RATE_HZ)
    bay.walls = np.zeros(len(judge_place.WALLS))
    near = bay.spots["crank"] + np.array([0.0, 0.0, 400.0])
    far = bay.spots["crank"] + np.array([0.0, 0.0, 800.0])
    lost = bay._through_air("crank", near) / bay._through_air("crank", far)
    assert 20.0 * np.log10(np.abs(lost)) == pytest.approx(6.02, abs=0.01)


def test_a_room_dies_away_in_its_reverberation_time():
    # Schroeder's backward sum falls by 60 dB in the reverberation time; read from -5 to -25 dB.
    impulse = judge_place.Room("garage", 0.6, -8.0).impulse(np.random.default_rng(0), RATE_HZ)
    tail = impulse[int(0.02 * RATE_HZ) :]
    left = 10.0 * np.log10(np.cumsum(tail[::-1] ** 2)[::-1] / np.sum(tail**2))
    span = np.flatnonzero((left < -5.0) & (left > -25.0))
    decay = -60.0 / np.polyfit(span / RATE_HZ, left[span], 1)[0]
    assert 0.3 < decay < 0.65


def test_filtering_in_blocks_is_filtering():
    rng = np.random.default_rng(0)
    sound = rng.standard_normal(60_000)
    freqs = judge_tools.grid_hz(RATE_HZ)
    delayed = judge_tools.spectra(sound) * judge_tools.lead_phase(freqs, RATE_HZ)
    assert judge_tools.joined(delayed, sound.size) == pytest.approx(sound, abs=1e-4)


def test_a_loose_mass_strikes_once_each_way_per_shake_when_it_floats():
    # A mass floating between stops that move far more than its gap is thrown from one to the
    # other: two blows per period (vibro-impact, common practice).
    step = np.arange(8000) / judge_rattle.STEP_HZ
    push = 1e3 * np.cos(2.0 * np.pi * 20.0 * step)
    times, speeds = judge_rattle.hits(push, 0.0, 0.0, 0.01, 0.0)
    firm = times[speeds > 0.3 * speeds.max()]
    assert firm.size == pytest.approx(2 * 20.0 * 4.0, rel=0.05)


def test_what_stands_out_is_told_in_the_band_where_it_does():
    rng = np.random.default_rng(0)
    noise = rng.standard_normal(RATE_HZ * 4)
    tone = np.cos(2.0 * np.pi * 2500.0 * np.arange(noise.size) / RATE_HZ)
    # White noise holds power x bandwidth / 24 kHz in a band; here 2000-2320-2700 Hz.
    expected = 10.0 * np.log10(0.5 / (700.0 / 24_000.0))
    assert judge_tools.stands_out_db(tone, noise, RATE_HZ) == pytest.approx(expected, abs=0.7)


def test_suspects_are_those_of_the_catalogue_that_can_be_alone():
    listed = BENCH.parent / "src" / "beltside" / "suspects" / "catalogue.toml"
    catalogue = tomllib.loads(listed.read_text(encoding="utf-8"))
    assert set(judge.SUSPECTS) == set(catalogue["suspect"])


def test_the_same_generator_gives_the_same_case():
    first, second = (judge.draw_case(np.random.default_rng(5), None, (4, 4.5)) for _ in range(2))
    assert first.truth == second.truth
    assert first.sheet == second.sheet
    for one, other in zip(first.takes, second.takes, strict=True):
        assert np.array_equal(one.samples, other.samples)


@pytest.mark.parametrize("suspect", judge.SUSPECTS)
def test_every_suspect_makes_takes_as_promised(suspect):
    case = judge.draw_case(np.random.default_rng(11), suspect, (4.0, 4.5))
    assert case.truth == suspect
    assert np.isnan(case.severity_db) == (suspect == "none")
    part = judge_drive.kind_of(suspect.partition(".")[0])
    if part in judge_drive.ON_THE_BELT:
        assert part in [pulley.part for pulley in case.sheet.pulleys]
    assert case.takes[0].place == judge.FRONT
    for take in case.takes:
        assert take.samples.dtype == np.float32
        assert take.samples.shape[0] == 1
        assert 4.0 <= take.samples.shape[1] / take.sample_rate_hz <= 4.5
        assert np.isfinite(take.samples).all()
        assert np.abs(take.samples).max() <= 1.0
        assert np.std(take.samples) > 1e-4
        assert take.truth_rpm.shape == take.truth_time_s.shape
        assert ((take.truth_rpm > 450) & (take.truth_rpm < 3600)).all()


def test_the_fault_stands_out_as_far_as_stated(monkeypatch):
    kept = []
    hear = judge._Shop.hear

    def keep(shop, plan, seconds):
        heard = hear(shop, plan, seconds)
        kept.append((heard, shop.phone.rate_hz))
        return heard

    gains = []
    take = judge._Shop.take

    def keep_gain(shop, heard, gain):
        gains.append(gain)
        return take(shop, heard, gain)

    monkeypatch.setattr(judge._Shop, "hear", keep)
    monkeypatch.setattr(judge._Shop, "take", keep_gain)
    case = judge.draw_case(np.random.default_rng(3), "timing-chain.whine", (4.0, 4.5))
    heard, rate = kept[0]
    told = judge_tools.stands_out_db(gains[0] * heard.fault, heard.rest, rate)
    assert told == pytest.approx(case.severity_db, abs=0.1)


@pytest.mark.parametrize("seed", [900, 901, 902, 905])
def test_a_healthy_engine_beats_at_its_firing_rate(monkeypatch, seed):
    # Half as many firings per crank turn as cylinders (four-stroke, common practice), read off the
    # finished recording by a plain envelope spectrum.
    plans = judge.draw_plans
    monkeypatch.setattr(judge, "draw_plans", lambda *given: plans(*given)[:1])
    case = judge.draw_case(np.random.default_rng(seed), "none", (5.0, 5.5))
    take = case.takes[0]
    band = signal.butter(3, [500.0, 5000.0], "band", fs=take.sample_rate_hz, output="sos")
    power = signal.resample_poly(signal.sosfilt(band, take.samples[0]) ** 2, 1, 100)
    beat = np.sqrt(np.clip(power, 1e-12, None))
    size = np.abs(np.fft.rfft((beat - beat.mean()) * np.hanning(beat.size), 16 * beat.size))
    freqs = np.fft.rfftfreq(16 * beat.size, 100.0 / take.sample_rate_hz)
    inside = (freqs > 3.0) & (freqs < 120.0)
    order = freqs[inside][np.argmax(size[inside])] / (np.median(take.truth_rpm) / 60.0)
    assert order == pytest.approx(case.sheet.engine.cylinders / 2.0, rel=0.02)


def test_belt_off_stills_everything_on_the_belt():
    rng = np.random.default_rng(6)
    car = judge_drive.draw_car(rng, "alternator.bearing")
    on_belt = {*car.parts[1:], "belt"}
    sources = judge.accessory_sources(rng, car)
    sources += judge.fault_sources(rng, car, "alternator.bearing")
    assert all(source.belt_driven for source in sources if source.place in on_belt)
    assert not any(source.belt_driven for source in judge.engine_sources(rng, car))


def test_the_sheet_is_the_drive_within_a_calipers_error_with_gaps():
    known = {"bearing": [], "idle": [], "length": []}
    for seed in range(60):
        rng = np.random.default_rng(seed)
        car = judge_drive.draw_car(rng, "none")
        sheet = judge_sheet.measured_sheet(rng, car)
        assert 3 <= len(sheet.pulleys) <= 7
        for pulley, wheel in zip(sheet.pulleys, car.wheels, strict=True):
            assert pulley.part == wheel.part
            assert abs(pulley.diameter_mm - wheel.diameter_mm) < 2.5
        known["bearing"].append(any(pulley.bearing for pulley in sheet.pulleys))
        known["idle"].append(sheet.engine.idle_rpm is not None)
        known["length"].append(sheet.belt.length_mm is not None)
    for field, said in known.items():
        assert 0.3 < np.mean(said) < 0.7, field


def test_recordings_without_an_engine():
    for seed in range(4):
        samples, rate_hz, what = judge.draw_nothing(np.random.default_rng(seed))
        assert samples.shape[0] == 1
        assert samples.shape[1] > 4 * rate_hz
        assert np.isfinite(samples).all()
        assert set(what.split(", ")) <= set(judge_around.WITHOUT_ENGINE)


def test_what_it_does_not_know_is_refused():
    with pytest.raises(ValueError, match="no suspect of the judge"):
        judge.draw_case(np.random.default_rng(0), "alternator.hiccup")
    with pytest.raises(ValueError, match="4 s or more"):
        judge.draw_case(np.random.default_rng(0), "none", (1.0, 2.0))


def test_it_stands_apart_from_what_it_tests_and_from_the_other_simulators():
    for path in BENCH.glob("judge*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            elif isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            else:
                continue
            for name in names:
                assert not name.startswith("stranger"), path.name
                if name.startswith("beltside"):
                    assert name == "beltside.drive.sheet", path.name
