"""Order lock and speed of the simulated engine, looked at with plain scipy."""

import numpy as np
import pytest
import scipy.signal

from beltside.rig.draws import draw_car
from beltside.rig.engine import draw_engine, firing_angles
from beltside.rig.motion import SPEED_KINDS, draw_restlessness, make_motion, speed_program
from beltside.rig.room import FRONT, make_paths
from beltside.rig.synthesis import RATE_HZ
from beltside.rig.takes import TakePlan, make_conditions, mix


@pytest.mark.parametrize("cylinders", [3, 4, 6])
@pytest.mark.parametrize("speed", ["idle", "ramp"])
def test_lines_lie_at_half_orders(cylinders: int, speed: str) -> None:
    rng = np.random.default_rng(10 + cylinders)
    car, _, _ = draw_car(rng, truth="none")
    engine = draw_engine(rng, cylinders=cylinders)
    while engine.strokes != 4:
        engine = draw_engine(rng, cylinders=cylinders)
    seconds = 8.0
    program = speed_program(rng, speed, seconds, engine.idle_rpm, 2200.0)
    motion = make_motion(
        rng, engine.restlessness, program, seconds, engine.idle_rpm, car.drive.shafts()
    )
    plan = TakePlan("x", speed=speed)
    heard = mix(
        rng,
        engine.voices,
        motion,
        make_conditions(rng, motion, plan, 0.3),
        make_paths(rng, car.room, FRONT),
    ).samples()[0]
    # Against angle: the wave at even steps of the crank, then an ordinary spectrum.
    sos = scipy.signal.butter(4, [40.0, 1500.0], "band", fs=RATE_HZ, output="sos")
    wave = scipy.signal.sosfilt(sos, heard)
    turns = motion.mean_turns
    steps = np.arange(turns[0], turns[-1], 1 / 256)
    when = np.interp(steps, turns, motion.time_s)
    wave = np.interp(when, np.arange(len(wave)) / RATE_HZ, wave)
    order, power = scipy.signal.welch(wave, 256.0, nperseg=256 * 16, noverlap=256 * 12)
    picked = (order > 0.4) & (order < 12.3)
    at_line = picked & (np.abs(order * 2 - np.round(order * 2)) < 0.13)
    between = picked & (np.abs(order * 2 - np.round(order * 2)) > 0.3)
    assert power[at_line].mean() > 6 * power[between].mean()
    # In four equal quarters of the firing interval nothing but the firing repeats as strongly.
    strongest = order[picked][np.argmax(power[picked])]
    assert strongest * 2 == pytest.approx(round(strongest * 2), abs=0.15)


@pytest.mark.parametrize("kind", SPEED_KINDS)
def test_raised_speed_stays_within_what_a_foot_does(kind: str) -> None:
    rng = np.random.default_rng(4)
    for _ in range(10):
        time_s, rpm = speed_program(rng, kind, 10.0, 800.0, 3000.0)
        assert np.all(np.diff(time_s) >= 0)
        assert rpm.min() >= 799.0
        assert rpm.max() <= 3000.0 * 1.03
        slope = np.diff(rpm) / np.maximum(np.diff(time_s), 1e-9)
        if kind == "blips":
            assert slope.max() <= 2000.0 + 1e-6


def test_idle_hunts_a_little_and_truth_is_cycle_mean() -> None:
    rng = np.random.default_rng(6)
    for cylinders in (3, 4, 8):
        restless = draw_restlessness(rng, cylinders, 4)
        program = speed_program(rng, "idle", 10.0, 760.0, 760.0)
        motion = make_motion(rng, restless, program, 10.0, 760.0, {})
        time_s, rpm = motion.truth()
        assert np.diff(time_s) == pytest.approx(0.02)
        assert rpm.mean() == pytest.approx(760.0, rel=0.02)
        assert 0.0005 < rpm.std() / rpm.mean() < 0.04
        # The mean of the speed is the angle that was covered.
        turned = motion.mean_turns[-1] - motion.mean_turns[0]
        assert turned == pytest.approx(rpm.mean() / 60.0 * 10.0, rel=2e-3)


def test_firing_is_even_for_inline_engines() -> None:
    # Four-stroke: 720 degrees shared by the cylinders; odd counts have no uneven variant.
    for cylinders in (1, 3, 5):
        angles = firing_angles(np.random.default_rng(0), cylinders, 2.0)
        assert np.diff(angles) == pytest.approx(2.0 / cylinders)
