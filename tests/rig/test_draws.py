"""Whole cases: every suspect, belt off, severity, determinism, no engine."""

from dataclasses import replace

import numpy as np
import pytest
import scipy.signal

from beltside.base.errors import InputError
from beltside.base.words import FAULTS, PARTS
from beltside.rig import SUSPECTS, TakePlan, draw_case, draw_no_engine, suspects_for
from beltside.rig.draws import draw_car, run_takes
from beltside.rig.motion import make_motion, speed_program
from beltside.rig.phone import Phone
from beltside.rig.room import FRONT, make_paths
from beltside.rig.surroundings import NO_ENGINE
from beltside.rig.takes import make_conditions, mix, third_octaves

SHORT = (TakePlan("a", duration_s=2.0), TakePlan("b", belt="off", duration_s=2.0))


@pytest.mark.parametrize("truth", [*SUSPECTS, "idler-2.bearing", "other", "none"])
def test_every_suspect_can_be_drawn(truth: str) -> None:
    case = draw_case(np.random.default_rng(3), truth=truth, takes=SHORT)
    assert case.truth == truth
    assert truth in suspects_for(case.sheet)
    assert (case.severity_db == float("-inf")) == (truth == "none")
    for take in case.takes:
        assert take.samples.dtype == np.float32
        assert np.all(np.isfinite(take.samples))
        assert 1e-4 < np.abs(take.samples).max() <= 1.0
        assert take.samples.shape[1] == pytest.approx(2.0 * take.sample_rate_hz, abs=4)
        assert np.all((take.truth_rpm > 400.0) & (take.truth_rpm < 1300.0))


def test_suspects_are_words_of_the_trade() -> None:
    for suspect in SUSPECTS:
        part, fault = suspect.split(".")
        assert part in PARTS
        assert fault in FAULTS


def test_unknown_suspect_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match=r"Try: alternator\.bearing"):
        draw_case(np.random.default_rng(0), truth="alternator.bearings")
    with pytest.raises(InputError, match="2 to 120 s"):
        draw_case(np.random.default_rng(0), duration_s=(1.0, 5.0))


def test_same_seed_same_case() -> None:
    one, two = (draw_case(np.random.default_rng(42), takes=SHORT) for _ in range(2))
    other = draw_case(np.random.default_rng(43), takes=SHORT)
    assert one.sheet == two.sheet
    assert one.truth == two.truth
    for first, second in zip(one.takes, two.takes, strict=True):
        assert np.array_equal(first.samples, second.samples)
        assert np.array_equal(first.truth_rpm, second.truth_rpm)
    assert other.sheet != one.sheet


def _clean(phone: Phone) -> Phone:
    return replace(
        phone,
        sample_rate_hz=48_000,
        channels=1,
        control=None,
        suppression_db=0.0,
        noise_dbfs=-100.0,
        high_pass_hz=60.0,
        aac_kbps=0,
        colour=np.array([1.0, 0.0], dtype=np.float32),
    )


def test_belt_off_takes_the_accessory_lines_away() -> None:
    rng = np.random.default_rng(12)
    prominence = []
    for _ in range(4):
        car, _, _ = draw_car(rng, truth="alternator.electrical", severity_db=18.0)
        car = replace(car, phone=_clean(car.phone), background=(), gusts=0.0)
        on, off = run_takes(rng, car, (TakePlan("on"), TakePlan("off", belt="off")), (6.0, 6.0))
        alternator = car.drive.pulley("alternator")
        orders = alternator.ratio * alternator.count / 2 * np.arange(1, 7)
        row = []
        for take in (on, off):
            turns = np.cumsum(take.truth_rpm) / 60.0 * 0.02
            time = np.arange(take.samples.shape[1]) / 48_000
            angle = np.interp(time, take.truth_time_s + 0.02, turns)
            steps = np.arange(angle[4800], angle[-4800], 1 / 1024)
            wave = np.interp(np.interp(steps, angle, time), time, take.samples[0])
            order, power = scipy.signal.welch(wave, 1024.0, nperseg=1024 * 16)
            found = []
            for wanted in orders:
                near = np.abs(order - wanted) < 0.2
                around = (np.abs(order - wanted) > 0.2) & (np.abs(order - wanted) < 0.45)
                found.append(10 * np.log10(power[near].max() / np.median(power[around])))
            row.append(max(found))
        prominence.append(row)
    lines_on, lines_off = np.mean(prominence, axis=0)
    assert lines_on > 15.0
    assert lines_off < lines_on - 8.0


def test_nothing_that_hangs_on_the_belt_sounds_without_it() -> None:
    rng = np.random.default_rng(13)
    for truth in ("coolant-pump.bearing", "belt.slip", "steering-pump.whine", "tensioner.rattle"):
        car, _, _ = draw_car(rng, truth=truth)
        assert all(voice.needs_belt for voice in car.faulty)
    for truth in ("valve-train.tick", "engine.knock", "crank.damper", "vacuum-leak.hiss"):
        car, _, _ = draw_car(rng, truth=truth)
        assert not any(voice.needs_belt for voice in car.faulty)


def test_healthy_parts_all_make_some_noise() -> None:
    # Otherwise silence would give the healthy part away.
    rng = np.random.default_rng(14)
    for _ in range(10):
        car, _, _ = draw_car(rng, truth="none")
        sounding = {voice.part for voice in car.healthy}
        assert set(car.drive.parts) - {"crank"} <= sounding
        assert "belt" in sounding


@pytest.mark.parametrize("truth", ["coolant-pump.bearing", "engine.knock", "alternator.electrical"])
def test_severity_is_the_level_over_the_engine(truth: str) -> None:
    rng = np.random.default_rng(15)
    found = []
    for _ in range(5):
        car, _, severity = draw_car(rng, truth=truth, severity_db=9.0)
        assert severity == 9.0
        idle = car.engine.idle_rpm
        program = speed_program(rng, "idle", 3.0, idle, idle)
        motion = make_motion(rng, car.engine.restlessness, program, 3.0, idle, car.drive.shafts())
        conditions = make_conditions(rng, motion, TakePlan("x"), car.electric_base)
        paths = make_paths(rng, car.room, FRONT)
        fault, rest = (
            third_octaves(mix(rng, voices, motion, conditions, paths).power())
            for voices in (car.faulty, car.healthy)
        )
        own = fault > 0.01 * fault.max()
        found.append(10 * np.log10(np.sort(fault[own] / rest[own])[-3:].mean()))
    assert np.mean(found) == pytest.approx(9.0, abs=2.5)


def test_random_plans_start_with_the_belt_on() -> None:
    rng = np.random.default_rng(16)
    kinds = set()
    for _ in range(4):
        case = draw_case(rng, duration_s=(2.0, 2.5), coded_share=0.0)
        assert (case.takes[0].belt, case.takes[0].place) == ("on", FRONT)
        kinds |= {take.name.split("-")[0] for take in case.takes}
    assert {"belt"} < kinds


@pytest.mark.parametrize("kind", list(NO_ENGINE))
def test_no_engine(kind: str) -> None:
    samples, rate_hz, name = draw_no_engine(np.random.default_rng(1), kind, duration_s=(3.0, 4.0))
    assert name == kind
    assert 3.0 <= samples.shape[1] / rate_hz <= 4.0
    assert np.all(np.isfinite(samples))
    assert 0.0 < np.abs(samples).max() <= 1.0


def test_no_engine_of_no_kind_is_refused() -> None:
    with pytest.raises(InputError, match="Try: wind"):
        draw_no_engine(np.random.default_rng(1), "winds")
