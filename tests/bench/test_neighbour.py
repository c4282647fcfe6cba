"""The neighbour's rates against figures from outside the project, and its manners.

Sources stand beside each check.
"""

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

import neighbour
import neighbour_bearings
import neighbour_belt
import neighbour_car
import neighbour_engine
import neighbour_engine_faults
import neighbour_faults
import neighbour_motion
import neighbour_paths
import neighbour_suspects
import neighbour_tools
from beltside.drive.sheet import Bearing

RATE_HZ = 32_000
BENCH = Path(neighbour.__file__).parent
SECONDS = 6.0


def steady(car: neighbour_car.Car, rpm: float, seed: int = 1) -> neighbour_motion.Motion:
    """An engine that turns as evenly as a clock."""
    samples = int(SECONDS * RATE_HZ)
    grid = np.arange(0.0, SECONDS + 0.01, neighbour_motion.GRID_S)
    return neighbour_motion.Motion(
        np.random.default_rng(seed),
        replace(car, idle_rpm=rpm),
        neighbour_motion.Plan("front"),
        RATE_HZ,
        samples,
        grid,
        np.full(grid.size, rpm),
        grid * rpm / 60,
    )


def a_maker(*parts: str, seed: int = 3) -> neighbour_motion.Maker:
    rng = np.random.default_rng(seed)
    white = rng.standard_normal(int(SECONDS * RATE_HZ) + 40_000, np.float32)
    return neighbour_motion.Maker(rng, neighbour_car.draw_car(rng, parts), RATE_HZ, white)


def strongest_hz(values: np.ndarray, low_hz: float, high_hz: float) -> float:
    """The strongest line of a signal between two frequencies."""
    size = np.abs(np.fft.rfft((values - values.mean()) * np.hanning(values.size)))
    freqs = np.fft.rfftfreq(values.size, 1 / RATE_HZ)
    keep = (freqs > low_hz) & (freqs < high_hz)
    return float(freqs[keep][np.argmax(size[keep])])


def mean_rate_hz(force: np.ndarray) -> float:
    """Blows a second, from the first to the last, by scipy's peak finder."""
    peaks, _ = signal.find_peaks(np.abs(force), distance=8)
    return (len(peaks) - 1) * RATE_HZ / float(peaks[-1] - peaks[0])


# --- rates ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bearing", "inner", "outer", "cage", "ball"),
    [
        # Case Western Reserve University's bearing data; its "rolling element" is both races, twice
        # the ball's spin. Sizes in inches there, which changes no ratio.
        (Bearing(9, 0.3126, 1.537), 5.4152, 3.5848, 0.39828, 4.7135),
        (Bearing(8, 0.2656, 1.122), 4.9469, 3.0530, 0.3817, 3.9874),
        # Curtin University's data readme; its ball 2.32 is the spin itself.
        (Bearing(9, 7.9375, 38.50), 5.428, 3.572, 0.3969, 2 * 2.32),
    ],
)
def test_bearing_multipliers_as_published(
    bearing: Bearing, inner: float, outer: float, cage: float, ball: float
) -> None:
    rates = neighbour_bearings.rates(bearing)
    assert rates.inner == pytest.approx(inner, abs=0.001)
    assert rates.outer == pytest.approx(outer, abs=0.001)
    assert rates.cage == pytest.approx(cage, abs=0.001)
    assert rates.ball == pytest.approx(ball, abs=0.01)
    # Algebra: every ball passes each ring once a turn of cage against ring.
    assert rates.inner + rates.outer == pytest.approx(bearing.balls)
    turning_outside = neighbour_bearings.rates(bearing, outer_turns=True)
    assert rates.cage + turning_outside.cage == pytest.approx(1.0)


@pytest.mark.parametrize(("kind", "multiplier"), [("outer", 3.0530), ("ball", 3.9874)])
def test_blows_come_at_the_published_rate_of_the_shaft(kind: str, multiplier: float) -> None:
    # The fan-end bearing of the Case Western Reserve data on an alternator; slip within 1 %.
    maker = a_maker("alternator")
    wheels = tuple(
        replace(wheel, bearing=Bearing(8, 0.2656, 1.122)) if wheel.part == "alternator" else wheel
        for wheel in maker.car.wheels
    )
    maker = replace(maker, car=replace(maker.car, wheels=wheels))
    source = neighbour_bearings._blows(maker, "alternator", kind)
    force = source.force(steady(maker.car, 800.0))
    shaft_hz = 800.0 / 60.0 * maker.car.ratio("alternator")
    assert mean_rate_hz(force) == pytest.approx(multiplier * shaft_hz, rel=0.013)


def test_every_cylinder_fires_once_in_two_turns() -> None:
    # Four strokes: a six at 900 a minute fires 45 times a second.
    maker = a_maker()
    car = replace(
        maker.car, cylinders=6, fires=tuple(k / 6 for k in range(6)), strengths=(1.0,) * 6
    )
    times, _ = neighbour_engine.cylinder_strikes(steady(car, 900.0))
    assert len(times) == pytest.approx(45.0 * SECONDS, abs=6)


def test_valve_tick_comes_once_in_two_turns_and_a_leaking_exhaust_with_one_firing() -> None:
    for fault in (
        neighbour_engine_faults.valve_tick,
        neighbour_engine_faults.exhaust_tick,
        neighbour_engine_faults.deep_knock,
    ):
        maker = a_maker(seed=5)
        (source,) = fault(maker)
        force = source.force(steady(maker.car, 840.0))
        envelope = np.abs(force)
        # 840 a minute are 7 cycles a second: lines of the envelope stand at multiples of 7 Hz.
        found = strongest_hz(envelope, 5.0, 40.0)
        assert found / 7.0 == pytest.approx(round(found / 7.0), abs=0.03)


def test_sprocket_and_poles_and_vanes_make_their_count_of_the_shaft() -> None:
    maker = a_maker("alternator", "steering-pump")
    car = maker.car
    (mesh,) = neighbour_engine_faults.chain_whine(maker)
    found = strongest_hz(mesh.force(steady(car, 900.0)), 20.0, 2_000.0)
    assert (found / 15.0) % car.sprocket_teeth == pytest.approx(0.0, abs=0.05)
    (diode,) = neighbour_faults.alternator_electrical(maker)
    shaft_hz = 15.0 * car.ratio("alternator")
    pairs = (car.wheel("alternator").count or 0) / 2
    found = strongest_hz(diode.force(steady(car, 900.0)), 20.0, 4_000.0) / shaft_hz
    # A phase out of three leaves the rhythm of the pole pairs and its harmonics (common practice).
    assert found / pairs == pytest.approx(round(found / pairs), abs=0.03)
    (whine,) = neighbour_faults.steering_whine(maker)
    vanes = car.wheel("steering-pump").count or 0
    found = strongest_hz(whine.force(steady(car, 900.0)), 60.0, 4_000.0)
    found /= 15.0 * car.ratio("steering-pump") * vanes
    assert found == pytest.approx(round(found), abs=0.03)


def test_open_belt_of_the_textbook_and_how_often_it_passes() -> None:
    # Shigley, eq. 17-1 and 17-2, solutions to ch. 17: D 18, d 6, C 96 in gives L 230.074 in.
    assert neighbour_car.belt_length([(0, 0, 3.0), (96, 0, 9.0)]) == pytest.approx(
        230.074, abs=0.001
    )
    # Crossed, sqrt(4C^2 - (D+d)^2) + (D+d) theta / 2 (formula from memory): 231.201 in.
    crossed = neighbour_car.belt_length([(0, 0, 3.0), (96, 0, -9.0)])
    assert crossed == pytest.approx(231.201, abs=0.001)
    # A belt passes as often as the crank's pitch circle rolls off its length, less the creep.
    maker = a_maker(seed=8)
    car = maker.car
    rolled = np.pi * (car.wheels[0].diameter_mm + 4.0) / car.belt_mm
    assert car.belt_order == pytest.approx(rolled, rel=0.011)
    sources = neighbour_belt.damage_sources(maker)
    force = np.abs(sources[0].force(steady(car, 900.0)))
    passing = 15.0 * car.belt_order
    found = strongest_hz(force, 0.7 * passing, 20 * passing) / passing
    assert found == pytest.approx(round(found), abs=0.05)


def test_driven_pulleys_turn_by_the_ratio_of_pitch_circles_less_a_little_creep() -> None:
    # ISO 9981: the cords of PK run 2 mm outside the ribs' diameter.
    for seed in range(5):
        car = neighbour_car.draw_car(np.random.default_rng(seed), ("alternator",))
        own = (car.wheel("crank").diameter_mm + 4.0) / (car.wheel("alternator").diameter_mm + 4.0)
        assert 0.989 * own < car.ratio("alternator") <= own


# --- paths and levels ----------------------------------------------------------------------------


def test_a_tone_fades_by_six_db_a_doubling_of_distance_in_the_free_field() -> None:
    # A1: 20 log10(2) = 6.02 dB a doubling; echoes and the mirror are taken away.
    rng = np.random.default_rng(2)
    bay = neighbour_paths.Bay(rng, neighbour_car.draw_car(rng), RATE_HZ)
    bay.mirror, bay.echo_db = 0.0, -400.0
    x, y, z = bay.places["belt"]
    near, far = (np.abs(bay._air("belt", (x, y, z + way))) for way in (0.4, 0.8))
    assert 20 * np.log10(near[100] / far[100]) == pytest.approx(6.02, abs=0.01)


def test_a_probe_hears_its_housing_8_to_20_db_above_the_front() -> None:
    # The range is common practice, no source; the grip and the housing spread it.
    rng, over, others = np.random.default_rng(4), [], []
    for _ in range(12):
        car = neighbour_car.draw_car(rng)
        bay = neighbour_paths.Bay(rng, car, RATE_HZ)
        front = bay.paths(bay.spot(neighbour_motion.FRONT))
        for part in car.parts[1:]:
            probe = bay.paths(bay.spot(part))
            lift = {
                place: 10
                * np.log10(np.sum(np.abs(probe[place]) ** 2 / np.sum(np.abs(front[place]) ** 2)))
                for place in (*car.parts, "block")
            }
            over.append(lift[part])
            others += [lift[place] - lift[part] for place in lift if place != part]
    assert 8.0 < np.median(over) < 20.0
    assert np.mean(np.array(others) < 0.0) > 0.9


def test_takes_from_the_front_are_mostly_made_from_about_the_same_place() -> None:
    rng, spread = np.random.default_rng(6), []
    for _ in range(40):
        bay = neighbour_paths.Bay(rng, neighbour_car.draw_car(rng), RATE_HZ)
        levels = [
            10 * np.log10(np.sum(np.abs(bay.paths(bay.spot(neighbour_motion.FRONT))["block"]) ** 2))
            for _ in range(4)
        ]
        spread.append(max(levels) - min(levels))
    assert np.quantile(spread, 0.25) < 3.0
    assert 0.05 < np.mean(np.array(spread) > 5.0) < 0.4


@pytest.mark.parametrize(
    "suspect", ["alternator.bearing", "valve-train.tick", "steering-pump.whine"]
)
def test_severity_as_stated_by_filters_of_another_kind(
    suspect: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Third octaves by scipy's Butterworth filters, instead of sums over a transform.
    kept = []
    whole = neighbour._Scene.set_severity

    def keep(scene: neighbour._Scene, takes: list[neighbour._Heard], level_db: float) -> None:
        whole(scene, takes, level_db)
        kept.extend(takes)

    monkeypatch.setattr(neighbour._Scene, "set_severity", keep)
    case = neighbour.draw_case(np.random.default_rng(9), suspect, (5.0, 5.5))
    over, rate = [], case.takes[0].sample_rate_hz
    for take in kept:
        best = -np.inf
        if take.fault is None or take.plan.place != neighbour_motion.FRONT:
            continue
        for centre in 1000.0 * 2.0 ** (np.arange(-8, 11) / 3.0):
            edges = centre * 2 ** (-1 / 6), centre * 2 ** (1 / 6)
            sos = signal.butter(4, edges, "bandpass", fs=rate, output="sos")
            fault, rest = (
                signal.sosfilt(sos, s.astype(float)) ** 2 for s in (take.fault, take.rest)
            )
            frames = fault[: len(fault) // 2048 * 2048].reshape(-1, 2048).mean(axis=1)
            loud = np.sort(frames)[-len(frames) // 4 :].mean()
            best = max(best, 10 * np.log10(loud / rest.mean()))
        over.append(best)
    assert min(abs(level - case.severity_db) for level in over) < 2.0


def test_severity_is_mostly_what_a_customer_came_for() -> None:
    rng = np.random.default_rng(1)
    drawn = np.array([neighbour._severity(rng) for _ in range(2_000)])
    assert drawn.min() >= -3.0
    assert drawn.max() <= 22.0
    assert np.mean(drawn < 3.0) == pytest.approx(0.1, abs=0.02)


def test_belt_off_silences_what_the_belt_drives_and_nothing_else() -> None:
    off = neighbour_motion.Plan("belt off", belt=False)
    on = neighbour_motion.Plan("front")
    maker = a_maker(*neighbour_car.ON_THE_BELT, seed=2)
    for source in neighbour_engine.healthy_sources(maker):
        driven = source.at in (*neighbour_car.ON_THE_BELT, "belt")
        assert (source.weight(off) == 0.0) is (driven or source.weight(on) == 0.0)
    for suspect in neighbour.SUSPECTS[1:]:
        part = suspect.split(".")[0]
        driven = part in (*neighbour_car.ON_THE_BELT, "belt")
        for source in neighbour_suspects.sources_of(maker, suspect):
            assert (source.weight(off) == 0.0) is driven, suspect


# --- cases ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("suspect", [*neighbour.SUSPECTS, "idler-2.bearing"])
def test_every_suspect_can_be_drawn(suspect: str) -> None:
    case = neighbour.draw_case(np.random.default_rng(7), suspect, (4.0, 4.1))
    assert case.truth == suspect
    assert np.isnan(case.severity_db) is np.bool_(suspect == "none")
    parts = [pulley.part for pulley in case.sheet.pulleys]
    assert parts[0] == "crank"
    if suspect.split(".")[0] in neighbour_car.ON_THE_BELT:
        assert suspect.split(".")[0] in parts
    first = case.takes[0]
    assert (first.belt, first.place, first.load) == ("on", "front of engine", ())
    assert len({take.name for take in case.takes}) == len(case.takes)
    for take in case.takes:
        assert take.samples.dtype == np.float32
        assert take.samples.ndim == 2
        assert np.max(np.abs(take.samples)) <= 1.0
        assert np.std(take.samples) > 1e-4
        assert 32_000 <= take.sample_rate_hz <= 48_000
        assert np.diff(take.truth_time_s) == pytest.approx(0.1)
        assert take.truth_time_s.shape == take.truth_rpm.shape
        assert 500 < take.truth_rpm.min() <= take.truth_rpm.max() < 4_500


def test_the_same_seed_draws_the_same_case() -> None:
    one, two = (neighbour.draw_case(np.random.default_rng(11), None, (4.0, 4.5)) for _ in range(2))
    assert one.sheet == two.sheet
    assert one.truth == two.truth
    for a, b in zip(one.takes, two.takes, strict=True):
        assert np.array_equal(a.samples, b.samples)


def test_a_whole_round_holds_every_take() -> None:
    case = neighbour.draw_case(
        np.random.default_rng(3), "coolant-pump.seal", (4.0, 4.1), every_take=True
    )
    parts = {pulley.part for pulley in case.sheet.pulleys}
    places = {take.place for take in case.takes}
    assert places == {"front of engine", "timing-chain", "valve-train", *parts - {"crank"}}
    assert sum(take.belt == "off" for take in case.takes) == 1
    loads = {load for take in case.takes for load in take.load}
    needs = {"lights": "alternator", "ac": "ac-compressor", "steering": "steering-pump"}
    assert loads == {load for load, part in needs.items() if part in parts}
    idle = np.median(case.takes[0].truth_rpm)
    assert max(take.truth_rpm.max() for take in case.takes) > 1.4 * idle


def test_shares_of_what_is_drawn() -> None:
    rng = np.random.default_rng(5)
    drawn = [neighbour_suspects.draw_suspect(rng) for _ in range(4_000)]
    assert drawn.count("none") / 4_000 == pytest.approx(0.15, abs=0.02)
    assert drawn.count("other") / 4_000 == pytest.approx(0.04, abs=0.01)
    assert set(drawn) == set(neighbour.SUSPECTS)


def test_a_fault_is_in_a_take_from_the_front() -> None:
    rng = np.random.default_rng(12)
    maker = a_maker("ac-compressor")
    quiet = neighbour_faults.compressor_rattle(maker)
    assert not neighbour_suspects.shows(quiet, [neighbour_motion.Plan("front")])
    assert neighbour_suspects.shows(quiet, [neighbour_motion.Plan("with ac", load=("ac",))])
    plans = neighbour_suspects.draw_plans(rng, maker.car, "ac-compressor.rattle")
    assert plans[0].name == "front"


@pytest.mark.parametrize("off_s", [0.05, 4.0])
def test_what_comes_and_goes_is_there_for_a_quarter_of_a_take(off_s: float) -> None:
    maker = a_maker()
    for seed in range(10):
        there = neighbour_motion.gate(steady(maker.car, 800.0, seed), 0.4, off_s)
        assert np.mean(there) > 0.24
        assert 0.0 <= there.min() <= there.max() <= 1.001


def test_the_sheet_is_off_by_three_percent_at_most_and_has_gaps() -> None:
    rng, gaps = np.random.default_rng(8), []
    for _ in range(60):
        car = neighbour_car.draw_car(rng)
        sheet = neighbour_car.measured_sheet(rng, car)
        for wheel, pulley in zip(car.wheels, sheet.pulleys, strict=True):
            rounding = 0.51 / wheel.diameter_mm
            assert abs(pulley.diameter_mm / wheel.diameter_mm - 1.0) <= 0.03 + rounding
            gaps.append(pulley.bearing is None)
    assert 0.3 < np.mean(gaps) < 0.8


def test_what_is_no_suspect_and_takes_too_short_are_refused() -> None:
    rng = np.random.default_rng(1)
    with pytest.raises(ValueError, match=r"'gearbox.bearing' is no suspect"):
        neighbour.draw_case(rng, "gearbox.bearing")
    with pytest.raises(ValueError, match="4 s or more"):
        neighbour.draw_case(rng, "none", (2.0, 3.0))


def test_recordings_of_nothing() -> None:
    rng, kinds = np.random.default_rng(2), set()
    for _ in range(16):
        samples, rate, what = neighbour.draw_nothing(rng)
        kinds.add(what)
        assert samples.dtype == np.float32
        assert samples.shape[0] == 1
        assert 5.0 <= samples.shape[1] / rate <= 10.01
        assert np.max(np.abs(samples)) <= 1.0
        assert np.std(samples) > 1e-4
    assert len(kinds) > 4


def test_shares_no_code_with_what_it_judges_or_with_other_simulators() -> None:
    for path in [BENCH / "neighbour.py", *BENCH.glob("neighbour_*.py")]:
        for node in ast.walk(ast.parse(path.read_text())):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [a.name for a in node.names] if isinstance(node, ast.Import) else []
            for name in names:
                assert not name.startswith("beltside") or name == "beltside.drive.sheet", path
                assert not name.startswith(("judge", "stranger", "textbook", "bystander")), path


def test_a_take_is_whole_blocks_for_quick_transforms() -> None:
    for samples in (130_000, 400_001, 479_999):
        length = neighbour_tools.padded_length(samples)
        assert length >= samples
        assert length % neighbour_tools.COARSE == 0
