"""The bystander's rates against figures from outside the project, and its manners.

Sources stand beside each check.
"""

import ast
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

import bystander
import bystander_car
import bystander_engine
import bystander_faults
import bystander_place
import bystander_tools
from beltside.drive.sheet import Bearing

RATE_HZ = 32_000
BENCH = Path(bystander.__file__).parent


def steady(rpm: float, seconds: float = 6.0) -> bystander_tools.Motion:
    """An engine that turns as evenly as a clock."""
    grid = np.arange(0.0, seconds + 0.3, bystander_tools.GRID_S)
    at = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    return bystander_tools.Motion(
        RATE_HZ, at.size, grid * rpm / 60, at * rpm / 60, np.ones(at.size, np.float32)
    )


def a_car(suspect: str, seed: int = 3) -> bystander_car.Car:
    return bystander_car.draw_car(np.random.default_rng(seed), suspect)


def lines_of(values: np.ndarray, low_hz: float, high_hz: float) -> tuple[np.ndarray, np.ndarray]:
    size = np.abs(np.fft.rfft((values - values.mean()) * np.hanning(values.size)))
    freqs = np.fft.rfftfreq(values.size, 1 / RATE_HZ)
    keep = (freqs > low_hz) & (freqs < high_hz)
    return freqs[keep], size[keep]


# --- rates ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bearing", "inner", "outer", "cage", "ball"),
    [
        # Case Western Reserve University's bearing data (facts K1, K2, K3; in inches there, which
        # changes no ratio); their "rolling element" is both races, twice the ball's spin.
        (Bearing(9, 0.3126, 1.537), 5.4152, 3.5848, 0.39828, 4.7135),
        (Bearing(8, 0.2656, 1.122), 4.9469, 3.0530, 0.3817, 3.9874),
        # Curtin University's data readme (facts K4); ball 2.32 is the spin itself there.
        (Bearing(9, 7.9375, 38.50), 5.428, 3.572, 0.3969, 2 * 2.32),
    ],
)
def test_bearing_multipliers_as_published(
    bearing: Bearing, inner: float, outer: float, cage: float, ball: float
) -> None:
    orders = bystander_faults.defect_orders(bearing)
    assert orders["inner"] == pytest.approx(inner, abs=6e-4)
    assert orders["outer"] == pytest.approx(outer, abs=6e-4)
    assert orders["cage"] == pytest.approx(cage, abs=6e-4)
    assert orders["ball"] == pytest.approx(ball, abs=6e-3)


def test_bearing_blows_come_at_the_published_rate_of_their_shaft() -> None:
    # 750 rpm, a pulley at 2.6 times the crank, outer race 3.0530 (facts K2): 99.22 blows a second.
    times = bystander_faults.defect_times(
        np.random.default_rng(0), steady(750.0, 10.0), 2.6, 3.0530, slip=0.01
    )
    assert np.mean(np.diff(times)) == pytest.approx(1 / 99.22, rel=0.002)
    assert np.std(np.diff(times)) * 99.22 == pytest.approx(0.01, rel=0.3)


def test_a_bearings_tick_is_heard_at_one_of_its_rates() -> None:
    heard = 0
    for seed in range(30):
        rng = np.random.default_rng(seed)
        car = a_car("alternator.bearing", seed)
        voices = bystander_faults.bearing_fault(rng, car, "alternator")
        if len(voices) > 1:  # growls and whines have other layers
            continue
        motion, shaft = steady(800.0, 4.0), 800.0 / 60 * car.ratio("alternator")
        envelope = np.abs(signal.hilbert(voices[0].make(rng, motion)))
        freqs, size = lines_of(envelope, 1.8 * shaft, 7.5 * shaft)
        bearing = car.wheel("alternator").bearing
        # The textbook's formulas, written out once more (facts, section 5).
        r = bearing.ball_mm / bearing.pitch_mm * np.cos(np.radians(bearing.contact_deg))
        half, spin = (
            bearing.balls / 2,
            1 / r * (1 - r * r) * np.cos(np.radians(bearing.contact_deg)),
        )
        allowed = [half * (1 - r), half * (1 + r), spin]
        around = [o + s for o in allowed for s in (-1, -(1 - r) / 2, 0, (1 - r) / 2, 1)]
        found = freqs[size.argmax()] / shaft
        assert min(abs(found - order) for order in around) < 0.02 * found
        heard += 1
    assert heard >= 4


def test_an_open_belts_length() -> None:
    # Shigley, solutions manual ch. 17, Eq. 17-2 (facts B4): 6 and 18 in at 96 in, 230.074 in.
    length = bystander_car.belt_length_mm([(0.0, 0.0, 9.0, 1), (96.0, 0.0, 3.0, 1)])
    assert length == pytest.approx(230.074, abs=0.001)


def test_a_crossed_belts_length() -> None:
    # The same pulleys, crossed (facts B5, formula from memory): 231.201 in.
    length = bystander_car.belt_length_mm([(0.0, 0.0, 9.0, 1), (96.0, 0.0, 3.0, -1)])
    assert length == pytest.approx(231.201, abs=0.001)


def test_a_belt_that_cannot_lie_is_refused() -> None:
    with pytest.raises(ValueError, match="overlap"):
        bystander_car.belt_length_mm([(0.0, 0.0, 90.0, 1), (50.0, 0.0, 30.0, 1)])


def test_a_torn_belt_thumps_once_a_passing() -> None:
    """Belt passings by plain geometry: the crank's cord circle times its turns over the length."""
    car = a_car("belt.damage")
    motion = steady(900.0, 10.0)
    crank = car.wheel("crank").diameter_mm + 2 * car.cord_mm
    passing_hz = 900.0 / 60 * np.pi * crank / car.belt_mm
    assert 1.5 < passing_hz < 9.0  # 0.8 to 2.5 m of belt (common practice, no source)
    for seed in range(3):
        rng = np.random.default_rng(seed)
        sound = bystander_faults.BELT_END_FAULTS["belt.damage"](rng, car)[0].make(rng, motion)
        slow = np.square(sound).reshape(-1, 160).mean(axis=1)  # every 5 ms
        slow = slow - slow.mean()
        alike = np.correlate(slow, slow, "full")[slow.size - 1 :]
        lags = np.arange(alike.size) * 0.005
        window = (lags > 0.8 / passing_hz) & (lags < 1.2 / passing_hz)
        assert lags[window][alike[window].argmax()] == pytest.approx(1 / passing_hz, abs=0.006)


@pytest.mark.parametrize("seed", range(6))
def test_cylinders_fire_once_in_two_turns(seed: int) -> None:
    """Four strokes: cylinders times rpm over 120 (common knowledge of the four-stroke engine)."""
    car = a_car("none", seed)
    times, levels = bystander_engine.firing(np.random.default_rng(0), steady(780.0, 10.0), car)
    inside = times[(times >= 0) & (times < 10.0)]
    assert inside.size == pytest.approx(len(car.fires) * 780 / 120 * 10, abs=len(car.fires))
    assert levels.mean() == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize(
    ("suspect", "per_turn"),
    # Cams turn at half the crank's speed (common knowledge of the four-stroke engine).
    [("valve-train.tick", 0.5), ("engine.knock", 0.5), ("crank.damper", 1.0)],
)
def test_what_belongs_to_a_shaft_keeps_its_time(suspect: str, per_turn: float) -> None:
    from bystander_engine_faults import ENGINE_FAULTS

    rng = np.random.default_rng(11)
    car = a_car(suspect)
    sound = ENGINE_FAULTS[suspect](rng, car)[0].make(rng, steady(840.0, 8.0))
    freqs, size = lines_of(np.abs(signal.hilbert(sound)), 3.0, 60.0)
    orders = freqs[size > 0.5 * size.max()] / 14.0 / per_turn
    assert np.abs(orders - np.rint(orders)).max() < 0.03


def test_the_pulley_ratio_is_that_of_the_diameters() -> None:
    car = a_car("alternator.bearing")
    crank, small = car.wheel("crank"), car.wheel("alternator")
    plain = (crank.diameter_mm + 2 * car.cord_mm) / (small.diameter_mm + 2 * car.cord_mm)
    # A belt creeps by no more than about 1 % (common practice, no source).
    assert 0.99 * plain <= car.ratio("alternator") <= plain


# --- level ---------------------------------------------------------------------------------------


def test_a_tone_in_noise_stands_out_by_arithmetic() -> None:
    """A third octave at 1 kHz is 230.8 Hz wide (base-ten series of IEC 61260, from memory)."""
    rng = np.random.default_rng(0)
    noise = rng.standard_normal(RATE_HZ * 6)
    tone = 0.3 * np.sin(2 * np.pi * 1000 * np.arange(noise.size) / RATE_HZ)
    width = 1000 * (10**0.05 - 10**-0.05)
    by_hand = 10 * np.log10(0.3**2 / 2 / (width / (RATE_HZ / 2)))
    assert bystander_tools.stands_out_db(tone, noise, RATE_HZ) == pytest.approx(by_hand, abs=0.6)
    assert bystander_tools.stands_out_db(0 * tone, noise, RATE_HZ) == -np.inf


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Takes without the phone's own doing, the microphone taken as straight."""
    monkeypatch.setattr(bystander, "stored", lambda rng, phone, sound, usual: sound)
    monkeypatch.setattr(bystander, "phone_gain", lambda phone, freqs: np.ones_like(freqs))
    return monkeypatch


def apart(
    bare: pytest.MonkeyPatch, suspect: str, seed: int, every_take: bool = False
) -> tuple[bystander.Case, bystander.Case]:
    """The same case twice: as drawn, and with the fault 300 dB down."""
    with_fault = bystander.draw_case(
        np.random.default_rng(seed), suspect, (4.0, 4.0), every_take=every_take
    )
    bare.setattr(bystander, "_draw_severity_db", lambda rng: (rng.random(), -300.0)[1])
    without = bystander.draw_case(
        np.random.default_rng(seed), suspect, (4.0, 4.0), every_take=every_take
    )
    return with_fault, without


@pytest.mark.parametrize(
    "suspect", ["idler.bearing", "vacuum-leak.hiss", "belt.slip", "engine.knock"]
)
def test_severity_as_stated(bare: pytest.MonkeyPatch, suspect: str) -> None:
    """Measured anew with Butterworth bands of scipy on what the fault adds to each take."""
    case, quiet = apart(bare, suspect, 4)
    best = []
    for take, rest in zip(case.takes, quiet.takes, strict=True):
        if take.place != bystander_place.FRONT:
            continue
        ratios = []
        for centre in 10.0 ** (np.arange(21, 40) / 10):
            edges = [centre / 10**0.05, centre * 10**0.05]
            band = signal.butter(4, edges, "bandpass", fs=take.sample_rate_hz, output="sos")
            parts = [take.samples[0] - rest.samples[0], rest.samples[0]]
            power = [np.square(signal.sosfilt(band, part)) for part in parts]
            frames = power[0][: power[0].size // 2048 * 2048].reshape(-1, 2048).mean(axis=1)
            loudest = np.sort(frames)[-max(1, frames.size // 10) :].mean()
            ratios.append((loudest, power[1].mean()))
        fault, others = np.array(ratios).T
        best.append(10 * np.log10((fault / np.maximum(others, 1e-4 * others.max())).max() + 1e-30))
    counts = max(best) if max(best) > best[0] + 10 else best[0]
    assert counts == pytest.approx(case.severity_db, abs=2.5)


def test_belt_off_and_probes(bare: pytest.MonkeyPatch) -> None:
    """A bearing on the belt is still without it, and loudest through a rod on its own housing."""
    case, quiet = apart(bare, "alternator.bearing", 8, every_take=True)
    over = {
        take.name: np.std(take.samples - rest.samples) / np.std(rest.samples)
        for take, rest in zip(case.takes, quiet.takes, strict=True)
    }
    assert over["belt on"] > 0
    assert over["belt off"] == 0
    probes = [name for name in over if name.startswith("probe")]
    assert max(probes, key=lambda name: over[name]) == "probe alternator"


@pytest.mark.parametrize(
    ("suspect", "goes_on"),
    [
        ("belt.misalignment", False),
        ("coolant-pump.seal", False),
        ("timing-chain.whine", True),
        ("crank.damper", True),
    ],
)
def test_the_engine_goes_on_without_the_belt(suspect: str, goes_on: bool) -> None:
    rng = np.random.default_rng(4)
    scene = bystander._Scene(rng, bystander_car.draw_car(rng, suspect), suspect)
    assert scene.listen(bystander._Plan("belt on"), 4.0).fault.any()
    off = scene.listen(bystander._Plan("belt off", belt="off"), 4.0)
    assert off.rest.any()
    assert bool(off.fault.any()) is goes_on


# --- manners -------------------------------------------------------------------------------------


@pytest.mark.parametrize("suspect", [*bystander.SUSPECTS, "idler-2.bearing"])
def test_every_suspect_can_be_drawn(suspect: str) -> None:
    case = bystander.draw_case(np.random.default_rng(2), suspect, (4.0, 4.2))
    assert case.truth == suspect
    assert np.isnan(case.severity_db) if suspect == "none" else -3 <= case.severity_db <= 22
    assert case.takes[0].belt == "on"
    assert case.takes[0].place == "front of engine"
    parts = {pulley.part for pulley in case.sheet.pulleys}
    needed = suspect.rpartition(".")[0]
    assert {"crank", "alternator"} <= parts
    if f"{needed}.bearing" in (*bystander.SUSPECTS, "idler-2.bearing"):
        assert needed in parts
    for take in case.takes:
        assert take.samples.dtype == np.float32
        assert take.samples.shape[0] == 1
        assert 0.001 < np.abs(take.samples).max() <= 1.0
        assert 32_000 <= take.sample_rate_hz <= 48_000
        assert take.truth_time_s.shape == take.truth_rpm.shape
        assert np.diff(take.truth_time_s) == pytest.approx(0.1)
        assert 300 < take.truth_rpm.min() <= take.truth_rpm.max() < 3600


def test_the_same_seed_gives_the_same_case() -> None:
    one, two, other = (
        bystander.draw_case(np.random.default_rng(s), "fan.clutch", (4.0, 4.0)) for s in (7, 7, 8)
    )
    assert one.sheet == two.sheet != other.sheet
    assert all(
        np.array_equal(a.samples, b.samples) for a, b in zip(one.takes, two.takes, strict=True)
    )


def test_every_take_is_every_take() -> None:
    case = bystander.draw_case(np.random.default_rng(1), "steering-pump.whine", (4, 4), True)
    parts = {pulley.part for pulley in case.sheet.pulleys} - {"crank"}
    held = {take.place for take in case.takes} - {"front of engine"}
    assert held == parts | {"timing-chain", "valve-train"}
    assert {take.belt for take in case.takes} == {"on", "off"}
    loads = {load for take in case.takes for load in take.load}
    assert loads == {"lights", "steering"} | ({"ac"} if "ac-compressor" in parts else set())
    raised = next(take for take in case.takes if take.name == "raised")
    assert raised.truth_rpm[-1] > 1.3 * np.median(case.takes[0].truth_rpm)


def test_the_sheet_is_off_as_a_tape_is() -> None:
    for seed in range(20):
        car = a_car("none", seed)
        sheet = bystander_car.measured_sheet(np.random.default_rng(seed), car)
        assert [pulley.part for pulley in sheet.pulleys] == list(car.parts)
        for pulley, wheel in zip(sheet.pulleys, car.wheels, strict=True):
            assert pulley.diameter_mm == pytest.approx(wheel.diameter_mm, rel=0.031)


def test_a_suspect_it_does_not_know_is_refused() -> None:
    with pytest.raises(ValueError, match="no suspect of the bystander"):
        bystander.draw_case(np.random.default_rng(0), "radio.noise")
    with pytest.raises(ValueError, match="4 s or more"):
        bystander.draw_case(np.random.default_rng(0), "none", (1.0, 2.0))


def test_nothing_is_drawn_of_every_kind() -> None:
    kinds = set()
    for seed in range(24):
        samples, rate, what = bystander.draw_nothing(np.random.default_rng(seed))
        assert samples.dtype == np.float32
        assert 0 < np.abs(samples).max() <= 1.0
        assert samples.shape[1] >= 5 * rate
        kinds.add(what)
    assert len(kinds) >= 5


def test_it_reads_nothing_of_how_beltside_measures() -> None:
    for path in BENCH.glob("bystander*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                assert node.module == "beltside.drive.sheet" or not node.module.startswith(
                    ("beltside", "judge", "stranger")
                )
