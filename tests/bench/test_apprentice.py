"""The apprentice's formulas against figures from outside the project, and its manners.

Sources stand beside each check.
"""

import ast
from pathlib import Path

import numpy as np
import pytest
from scipy import fft, signal

import apprentice
import apprentice_bearings
import apprentice_car
import apprentice_faults
import apprentice_healthy
import apprentice_signals
from beltside.drive.sheet import Bearing

RATE_HZ = 32_000
BENCH = Path(apprentice.__file__).parent
QUICK_S = (4.0, 4.5)


def a_turning(rpm=780.0, seconds=6.0, wander=0.0):
    return apprentice_signals.draw_turning(
        np.random.default_rng(0), RATE_HZ, seconds, rpm, wander, None
    )


def samples_of(sound, turning):
    total = np.zeros(turning.samples)
    if sound.time is not None:
        total += sound.time
    if sound.spectrum is not None:
        total += fft.irfft(sound.spectrum, turning.samples)
    return total


def strongest_hz(samples, low_hz, high_hz):
    freqs_hz, power = signal.periodogram(samples, RATE_HZ, "hann")
    inside = (freqs_hz > low_hz) & (freqs_hz < high_hz)
    return freqs_hz[inside][np.argmax(power[inside])]


def envelope_of(samples):
    envelope = np.abs(signal.hilbert(samples))
    return envelope - envelope.mean()


# Case Western Reserve University's bearing data, constants in public code: rates per turn of the
# shaft. Its "rolling element" counts both races, as a ball that strikes both does.
@pytest.mark.parametrize(
    ("bearing", "outer", "inner", "cage", "ball"),
    [
        (Bearing(9, 0.3126, 1.537), 3.5848, 5.4152, 0.39828, 4.7135),
        (Bearing(8, 0.2656, 1.122), 3.0530, 4.9469, 0.3817, 3.9874),
    ],
)
def test_defects_of_the_6205_and_6203_come_at_their_published_rates(
    bearing, outer, inner, cage, ball
):
    rates = apprentice_bearings.defect_rates(bearing)
    assert rates["outer"] == pytest.approx(outer, abs=0.0005)
    assert rates["inner"] == pytest.approx(inner, abs=0.0005)
    assert rates["cage"] == pytest.approx(cage, abs=0.0005)
    assert rates["ball"] == pytest.approx(ball, abs=0.0005)


def test_defects_of_the_er16k_come_at_their_published_rates():
    # Curtin University's data set, its readme; that ball rate counts one race.
    rates = apprentice_bearings.defect_rates(Bearing(9, 7.9375, 38.50))
    assert rates["outer"] == pytest.approx(3.572, abs=0.0015)
    assert rates["inner"] == pytest.approx(5.428, abs=0.0015)
    assert rates["ball"] == pytest.approx(2 * 2.32, abs=0.02)
    assert rates["cage"] == pytest.approx(0.3969, abs=0.0005)


@pytest.mark.parametrize("outer_turns", [False, True])
def test_inner_and_outer_rates_add_up_to_the_balls(outer_turns):
    # Algebra of the four rates: inner + outer = balls. With the outer ring turning the cage keeps
    # up with it but for what it would do behind a turning shaft.
    bearing = Bearing(8, 6.747, 28.5, contact_deg=15.0)
    rates = apprentice_bearings.defect_rates(bearing, outer_turns)
    assert rates["inner"] + rates["outer"] == pytest.approx(8.0)
    cage = 1.0 - rates["cage"] if outer_turns else rates["cage"]
    assert rates["outer"] == pytest.approx(8.0 * cage)


def test_a_worn_outer_race_is_heard_at_its_rate():
    # 6203 on a shaft at 2.4 times 780 rpm: 3.0530 x 31.2 Hz = 95.25 Hz. One line of the envelope.
    turning, modes = a_turning(), apprentice_signals.Modes(*np.array([[3000.0], [0.001], [1.0]]))
    blows = apprentice_bearings.DefectBlows(2.4 * 3.0530, 0.0, 0.5, modes)
    samples = samples_of(blows(np.random.default_rng(1), turning), turning)
    assert strongest_hz(envelope_of(samples), 30.0, 150.0) == pytest.approx(95.25, rel=0.01)


def test_periods_of_a_worn_bearing_slip_by_one_per_cent():
    turns = apprentice_signals.slipping(
        np.random.default_rng(2), a_turning(seconds=60.0), 7.0, apprentice_bearings.SLIP
    )
    periods = 7.0 * np.diff(turns)
    assert periods.mean() == pytest.approx(1.0, abs=0.001)
    assert periods.std() == pytest.approx(0.01, rel=0.1)


@pytest.mark.parametrize("cylinders", [3, 4, 6])
def test_an_even_four_stroke_engine_is_loudest_at_its_firings(cylinders):
    # Each cylinder fires once in two turns, so cylinders / 2 a turn (any engine textbook).
    rng = np.random.default_rng(3)
    while (car := apprentice_car.draw_car(rng)).cylinders != cylinders or car.roughness > 0.05:
        pass
    turning = a_turning(rpm=900.0)
    notes = apprentice_healthy.engine_sources(rng, car)[0]
    samples = samples_of(notes.play(rng, turning), turning)
    freqs_hz, power = signal.periodogram(samples, RATE_HZ, "hann")
    orders = freqs_hz / (900.0 / 60.0)
    of_firing = np.abs(orders / (cylinders / 2) - np.round(orders / (cylinders / 2))) < 0.05
    assert power[of_firing & (orders > 0.25)].sum() > 0.8 * power[orders > 0.25].sum()
    # Between firings there is nothing but half orders.
    of_halves = np.abs(2.0 * orders - np.round(2.0 * orders)) < 0.1
    assert power[of_halves].sum() > 0.98 * power.sum()


def test_a_belt_passes_as_often_as_its_length_goes_round_the_crank():
    # Speed of the cords over length: a crank of 146 mm with cords 2 mm outside (ISO 9981) carries
    # pi x 150 mm of belt a turn.
    rng = np.random.default_rng(4)
    car = apprentice_car.draw_car(rng, "belt.damage")
    crank_mm = car.wheel("crank").diameter_mm
    assert car.belt_order * car.belt_mm == pytest.approx(np.pi * (crank_mm + 4.0))
    turning = a_turning(seconds=10.0)
    thump = apprentice_faults.fault_sources(rng, car, "belt.damage")[0]
    samples = np.abs(samples_of(thump.play(rng, turning), turning))
    passings_hz = 13.0 * np.pi * (crank_mm + 4.0) / car.belt_mm
    spacing = int(0.6 * RATE_HZ / passings_hz)
    peaks, _ = signal.find_peaks(samples, 0.3 * samples.max(), distance=spacing)
    assert np.median(np.diff(peaks)) / RATE_HZ == pytest.approx(1.0 / passings_hz, rel=0.02)


def test_a_pulley_turns_by_the_ratio_of_cord_diameters_less_creep():
    # ISO 9981: the cords of a ribbed pulley lie 2 mm outside; creep below 1 % is common practice.
    car = apprentice_car.draw_car(np.random.default_rng(5), "fan.clutch")
    crank_mm = car.wheel("crank").diameter_mm
    for wheel in car.wheels[1:]:
        if wheel.face == "ribbed":
            slower = wheel.ratio * (wheel.diameter_mm + 4.0) / (crank_mm + 4.0)
            assert 0.99 <= slower <= 1.0


def test_a_steering_pump_whines_at_its_vanes():
    rng = np.random.default_rng(6)
    car = apprentice_car.draw_car(rng, "steering-pump.whine")
    wheel, turning = car.wheel("steering-pump"), a_turning()
    tones = apprentice_faults.fault_sources(rng, car, "steering-pump.whine")[0]
    samples = samples_of(tones.play(rng, turning), turning)
    vanes_hz = 13.0 * wheel.ratio * wheel.vanes
    found = strongest_hz(samples, 50.0, 4000.0) / vanes_hz
    assert found == pytest.approx(round(found), abs=0.1 / wheel.vanes)


def test_a_valve_ticks_once_in_two_turns():
    rng = np.random.default_rng(7)
    car, turning = apprentice_car.draw_car(rng), a_turning(rpm=900.0, seconds=10.0)
    tick = apprentice_faults.fault_sources(rng, car, "valve-train.tick")[0]
    samples = np.abs(samples_of(tick.play(rng, turning), turning))
    peaks, _ = signal.find_peaks(samples, 0.2 * samples.max(), distance=RATE_HZ // 20)
    assert np.median(np.diff(peaks)) / RATE_HZ == pytest.approx(2 * 60.0 / 900.0, rel=0.02)


def test_a_blow_rings_as_a_decaying_sine():
    # The closed form: exp(-t / decay) sin(2 pi f t), up to one factor.
    turning = a_turning(seconds=1.0)
    modes = apprentice_signals.Modes(*np.array([[700.0], [0.004], [1.0]]))
    one = np.array([turning.turns[20]])
    ring = samples_of(apprentice_signals.ringing(turning, one, np.ones(1), modes), turning)
    after_s = np.arange(turning.samples) / RATE_HZ - turning.time_s[20]
    ideal = np.where(after_s >= 0.0, np.exp(-np.clip(after_s, 0.0, None) / 0.004), 0.0) * np.sin(
        2.0 * np.pi * 700.0 * after_s
    )
    assert np.corrcoef(ring, ideal)[0, 1] > 0.999


def test_noise_has_the_power_of_its_density():
    # Parseval; the mean square of Gaussian noise is the integral of its density.
    turning, density = a_turning(seconds=10.0), apprentice_signals.band(500.0, 4000.0)
    noise = apprentice_signals.noise(np.random.default_rng(8), turning, density)
    grid_hz = apprentice_signals.GRID_HZ
    kept = grid_hz < RATE_HZ / 2
    assert np.mean(noise**2) == pytest.approx(np.trapezoid(density[kept], grid_hz[kept]), rel=0.03)


def test_the_same_seed_draws_the_same_case():
    first, again, other = (
        apprentice.draw_case(np.random.default_rng(seed), "idler.bearing", QUICK_S)
        for seed in (9, 9, 10)
    )
    assert first.sheet == again.sheet
    assert first.severity_db == again.severity_db
    for one, two in zip(first.takes, again.takes, strict=True):
        np.testing.assert_array_equal(one.samples, two.samples)
    assert first.sheet != other.sheet


@pytest.mark.parametrize("suspect", [*apprentice.SUSPECTS, "idler-2.bearing"])
def test_every_suspect_can_be_drawn_on_a_drive_that_has_it(suspect):
    case = apprentice.draw_case(np.random.default_rng(11), suspect, QUICK_S)
    part = suspect.split(".")[0]
    assert case.truth == suspect
    if part in apprentice_car.PARTS:
        assert case.sheet.pulley(part).diameter_mm >= 45.0
    assert case.takes[0].place == "front of engine"
    assert case.takes[0].belt == "on"
    for take in case.takes:
        assert take.samples.dtype == np.float32
        assert take.samples.shape[0] == 1
        assert 0.01 < np.abs(take.samples).max() <= 1.0
        assert 32_000 <= take.sample_rate_hz <= 48_000
        lasts_s = take.samples.shape[1] / take.sample_rate_hz
        assert 4.0 <= lasts_s < 4.6
        np.testing.assert_allclose(np.diff(take.truth_time_s), 0.1)
        assert take.truth_time_s[-1] == pytest.approx(lasts_s, abs=0.11)
        assert np.all((take.truth_rpm > 500.0) & (take.truth_rpm < 3400.0))
    assert np.isnan(case.severity_db) == (suspect == "none")


def test_a_whole_round_holds_every_take():
    rng = np.random.default_rng(12)
    case = apprentice.draw_case(rng, "steering-pump.bearing", QUICK_S, every_take=True)
    parts = {pulley.part for pulley in case.sheet.pulleys} - {"crank"}
    places = [take.place for take in case.takes]
    assert set(places) == parts | {"front of engine", "timing-chain", "valve-train"}
    loads = {"lights": "alternator", "ac": "ac-compressor", "steering": "steering-pump"}
    assert {take.load for take in case.takes} - {()} == {
        (load,) for load, part in loads.items() if part in parts
    }
    assert [take.belt for take in case.takes].count("off") == 1
    idle, raised = case.takes[0].truth_rpm, case.takes[2].truth_rpm
    assert np.median(raised) / np.median(idle) > 1.4


@pytest.mark.parametrize(
    ("suspect", "stops"),
    [("alternator.bearing", True), ("belt.damage", True), ("engine.knock", False)],
)
def test_without_the_belt_only_what_it_drives_is_still(suspect, stops):
    rng = np.random.default_rng(13)
    _, _, _, _, heard = apprentice.hear_case(rng, suspect, QUICK_S, every_take=True)
    for one in heard:
        silent = not np.any(one.fault)
        assert silent == (stops and one.plan.belt == "off")


def test_healthy_accessories_stop_without_the_belt():
    rng = np.random.default_rng(14)
    car = apprentice_car.draw_car(rng)
    driven = apprentice_healthy.accessory_sources(rng, car)
    assert all(source.stops_without_belt for source in driven)
    assert not any(
        source.stops_without_belt for source in apprentice_healthy.engine_sources(rng, car)
    )


@pytest.mark.parametrize(
    "suspect", ["coolant-pump.bearing", "vacuum-leak.hiss", "steering-pump.whine", "other"]
)
def test_the_severity_is_what_third_octave_filters_show(suspect):
    # Band edges by powers of two about 1 kHz (IEC 61260, base two), Butterworth filters by scipy.
    rng = np.random.default_rng(15)
    _, phone, _, severity_db, heard = apprentice.hear_case(rng, suspect, QUICK_S, every_take=True)
    shown_db = []
    for one in heard:
        if one.plan.place != "front of engine" or one.plan.speed > 1.0 or one.plan.belt == "off":
            continue
        parts = [fft.irfft(bins, one.turning.samples) for bins in (one.fault, one.rest)]
        bands_db = []
        for third in range(-8, 10):
            edges_hz = 1000.0 * 2.0 ** ((third + np.array([-0.5, 0.5])) / 3.0)
            sos = signal.butter(6, edges_hz, "bandpass", fs=phone.rate_hz, output="sos")
            fault, rest = (np.mean(signal.sosfilt(sos, part) ** 2) for part in parts)
            bands_db.append(10.0 * np.log10(fault / rest))
        shown_db.append(max(bands_db))
    # The first take, or a take with the load that brings the noise.
    assert min(abs(shown - severity_db) for shown in shown_db) < 1.0
    assert -3.0 <= severity_db <= 25.0


def test_a_probe_raises_its_own_housing():
    rng = np.random.default_rng(16)
    _, _, _, _, heard = apprentice.hear_case(rng, "idler.bearing", QUICK_S, every_take=True)

    def over_all_else_db(one):
        return apprentice.stands_out_db(one.turning, one.fault, one.rest)

    front = over_all_else_db(heard[0])
    own = next(one for one in heard if one.plan.place == "idler")
    assert over_all_else_db(own) > front + 5.0


def test_the_sheet_is_measured_within_three_per_cent_and_has_gaps():
    rng = np.random.default_rng(17)
    idles, rows, known = 0, 0, 0
    for _ in range(100):
        car = apprentice_car.draw_car(rng)
        sheet = apprentice_car.measured_sheet(rng, car)
        for wheel, pulley in zip(car.wheels, sheet.pulleys, strict=True):
            assert pulley.diameter_mm == pytest.approx(wheel.diameter_mm, rel=0.0301, abs=0.05)
            rows, known = rows + 1, known + (pulley.bearing is not None)
        idles += sheet.engine.idle_rpm is not None
    assert 30 <= idles <= 70
    assert 0.15 < known / rows < 0.6


def test_suspects_come_in_the_shares_asked_for():
    rng = np.random.default_rng(18)
    drawn = [apprentice.draw_suspect(rng) for _ in range(4000)]
    assert drawn.count("none") / 4000 == pytest.approx(0.15, abs=0.02)
    assert drawn.count("other") / 4000 == pytest.approx(0.04, abs=0.012)
    assert set(drawn) == set(apprentice.SUSPECTS)


def test_recordings_without_an_engine():
    rng = np.random.default_rng(19)
    seen = set()
    for _ in range(14):
        samples, rate_hz, what = apprentice.draw_nothing(rng)
        assert samples.dtype == np.float32
        assert samples.shape[0] == 1
        assert np.isfinite(samples).all()
        assert 0.01 < np.abs(samples).max() <= 1.0
        assert samples.shape[1] >= 4.9 * rate_hz
        seen.add(what)
    assert len(seen) >= 4


def test_an_unknown_suspect_is_refused_by_name():
    with pytest.raises(ValueError, match=r"'crank.bearing' is no suspect of the apprentice"):
        apprentice.draw_case(np.random.default_rng(0), "crank.bearing")


def test_takes_too_short_are_refused():
    with pytest.raises(ValueError, match="4 s or more"):
        apprentice.draw_case(np.random.default_rng(0), duration_s=(2.0, 5.0))


def test_it_knows_nothing_of_how_beltside_measures():
    for file in BENCH.glob("apprentice*.py"):
        for node in ast.walk(ast.parse(file.read_text())):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            for name in names:
                assert not name.startswith("beltside") or name == "beltside.drive.sheet"
