"""From sources to heard takes: mono, stated speeds, streaming, several takes together."""

import weakref
from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest
from drives import SHEET, bearing_noise
from engines import RATE_HZ, engine, no_engine

from beltside.base.errors import OutOfRangeError, RecordingError
from beltside.casework.takes import (
    STATED_AGREES,
    WORKERS,
    ArraySource,
    Conditions,
    CrankSpeed,
    Mono,
    company,
    confirms,
    crank_sound,
    find_crank,
    hear,
    hear_all,
)
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.sound.crank_feed import CrankSound
from beltside.sound.track import CrankTrack


def source(*channels: np.ndarray, rate_hz: int = RATE_HZ) -> ArraySource:
    return ArraySource(np.stack(channels).astype(np.float32), rate_hz)


@cache
def idle_sound() -> CrankSound:
    return crank_sound(source(engine(31, 800.0).samples))


@cache
def noise_sound() -> CrankSound:
    return crank_sound(source(no_engine("white noise", 1)))


def test_mono_is_the_mean_of_channels() -> None:
    left, right = np.ones(8, dtype=np.float32), np.zeros(8, dtype=np.float32)
    assert Mono()(np.stack((left, right))) == pytest.approx(np.full(8, 0.5))
    assert Mono()(left[None, :]) == pytest.approx(left)


def test_channels_of_opposite_phase_give_the_louder_one_throughout() -> None:
    wave = engine(1, 800.0, seconds=2.0).samples
    mono = Mono()
    assert np.array_equal(mono(np.stack((0.8 * wave, -wave))), -wave)
    # Decided once: a later block is treated the same way.
    assert not mono(np.stack((wave, wave * 0.0))).any()


def test_silence_decides_nothing_about_the_channels() -> None:
    wave = engine(1, 800.0, seconds=2.0).samples
    mono = Mono()
    mono(np.zeros((2, 100), dtype=np.float32))
    assert np.abs(mono(np.stack((wave, -wave)))).max() > 0.1


def test_the_speed_is_found_in_channels_of_opposite_phase() -> None:
    wave = engine(31, 800.0).samples
    found = find_crank(crank_sound(source(wave, -wave)), SHEET)
    assert found.track is not None
    assert found.track.rpm_median == pytest.approx(800.0, rel=0.005)
    assert found.source == "sound"
    assert found.warnings == ()


def test_blocks_of_a_source_are_the_whole() -> None:
    wave = engine(2, 800.0, seconds=3.5).samples
    blocks = list(source(wave, wave).blocks(1.0))
    assert [block.shape for block in blocks] == [(2, RATE_HZ)] * 3 + [(2, RATE_HZ // 2)]
    assert np.concatenate(blocks, axis=1)[0] == pytest.approx(wave)


def test_a_stated_speed_that_agrees_is_followed_by_the_sound() -> None:
    found = find_crank(idle_sound(), SHEET, stated_rpm=810.0)
    assert found.track is not None
    assert found.source == "stated"
    assert found.track.time_s.size > 10
    assert found.track.rpm_median == pytest.approx(800.0, rel=0.005)
    assert found.confidence >= 0.95
    assert found.warnings == ()


def test_a_stated_speed_that_disagrees_is_used_with_a_warning() -> None:
    found = find_crank(idle_sound(), SHEET, stated_rpm=1000.0)
    assert found.track is not None
    assert found.track.rpm_median == 1000.0
    assert float(found.track.rpm_low[0]) == pytest.approx(1000.0 * (1.0 - STATED_AGREES))
    assert found.confidence < 0.5
    (warning,) = found.warnings
    assert "1000 rpm" in warning
    assert "check it" in warning
    assert "says 79" in warning or "says 80" in warning


def test_a_stated_speed_stands_in_where_the_sound_says_nothing() -> None:
    found = find_crank(noise_sound(), SHEET, stated_rpm=760.0)
    assert found.track is not None
    assert found.track.rpm_median == 760.0
    assert found.source == "stated"
    assert "neither confirms" in found.warnings[0]
    assert find_crank(noise_sound(), SHEET).track is None
    assert find_crank(noise_sound(), SHEET).reason


def test_what_can_not_be_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="stated crank speed"):
        find_crank(idle_sound(), SHEET, stated_rpm=50.0)
    seven = DriveSheet(Engine(cylinders=7), Belt(), (Pulley("crank", 138.0),))
    with pytest.raises(RecordingError, match="7 cylinders"):
        find_crank(idle_sound(), seven)


def test_a_sound_under_two_seconds_has_no_speed_and_says_why() -> None:
    short = CrankSound(idle_sound().low[:4800], idle_sound().pulse[:1200], 1.0)
    found = find_crank(short, SHEET)
    assert found.track is None
    assert found.reason == "only 1.0 s of sound"


class LongSource:
    """Makes its blocks as they are asked for and counts how many are alive at once."""

    sample_rate_hz = 8_000

    def __init__(self, blocks: int) -> None:
        self._count = blocks
        self._alive = 0
        self.most_alive = 0

    def blocks(self, block_s: float = 10.0) -> Iterator[np.ndarray]:
        rng = np.random.default_rng(3)
        for _ in range(self._count):
            block = rng.normal(size=(1, round(block_s * 8_000))).astype(np.float32)
            self._alive += 1
            self.most_alive = max(self.most_alive, self._alive)
            weakref.finalize(block, self._gone)
            yield block
            del block

    def _gone(self) -> None:
        self._alive -= 1

    def require_usable(self) -> None:
        """Long enough."""


def test_a_long_take_is_never_all_in_memory() -> None:
    short, long = LongSource(8), LongSource(24)
    hear(short, None)
    heard = hear(long, None)
    assert heard.seconds == pytest.approx(24 * 30.0)
    assert 0 < long.most_alive <= WORKERS + 4
    assert long.most_alive <= short.most_alive + 1


@pytest.mark.parametrize("seconds", [1.5, 40.0, 44.0, 46.0])
def test_all_of_a_take_is_heard_however_it_divides(seconds: float) -> None:
    wave = engine(4, 800.0, seconds=seconds, rate_hz=8_000).samples
    heard = hear(source(wave, rate_hz=8_000), CrankTrack.constant(800.0))
    assert heard.seconds == pytest.approx(seconds)
    assert heard.orders is not None


def test_progress_goes_up_to_the_end_of_the_take() -> None:
    said: list[float] = []
    wave = no_engine("white noise", 1, seconds=65.0, rate_hz=8_000)
    hear(source(wave, rate_hz=8_000), None, said.append)
    assert said == sorted(said)
    assert said[-1] == pytest.approx(65.0)


def test_no_sound_is_refused() -> None:
    with pytest.raises(RecordingError, match="no sound"):
        hear(source(np.zeros(100)), None)


def test_takes_of_a_case_are_judged_together() -> None:
    """The poor take is drowned in noise; alone it is unsure or less sure."""
    rng = np.random.default_rng(5)
    good, poor = engine(31, 800.0), engine(32, 803.0, seconds=5.0)
    drowned = poor.samples + 1.2 * poor.samples.std() * rng.normal(size=poor.samples.size)
    sources = [source(good.samples), source(drowned), source(no_engine("white noise", 2))]
    conditions = [Conditions("belt-on", "on"), Conditions("belt-off", "off"), Conditions("none")]
    said: list[tuple[str, float]] = []
    heard = hear_all(
        sources, conditions, SHEET, progress=lambda what, share: said.append((what, share))
    )
    assert [one.conditions.name for one in heard] == ["belt-on", "belt-off", "none"]
    first, second, third = (one.crank for one in heard)
    assert first.track is not None
    assert second.track is not None
    assert second.track.rpm_median == pytest.approx(803.0, rel=0.01)
    alone: CrankSpeed = find_crank(crank_sound(sources[1]), SHEET)
    assert second.confidence >= alone.confidence
    assert third.track is None
    assert third.reason
    assert heard[2].hearing.orders is None
    assert all(0.0 <= share <= 1.0 for _, share in said)
    assert any("belt-off" in what for what, _ in said)


def test_a_stated_speed_of_a_take_reaches_it() -> None:
    take = engine(6, 900.0, seconds=4.0)
    made = source(take.samples + 0.1 * take.samples.std() * bearing_noise(take, 1))
    (heard,) = hear_all([made], [Conditions("front", "on", crank_rpm=900.0)], SHEET)
    assert heard.crank.source == "stated"
    assert heard.crank.track is not None
    assert heard.crank.track.rpm_median == pytest.approx(900.0, rel=0.01)


def spoken(rpm: float | None, confidence: float, likeliest: float | None = None) -> CrankSpeed:
    """A crank speed as found from the sound; `rpm` None when it was not believed."""
    track = None if rpm is None else CrankTrack.constant(rpm, relative_range=0.01)
    return CrankSpeed(track, confidence, None, "sound", likeliest_rpm=likeliest or rpm)


def test_company_is_the_slowest_sure_take() -> None:
    """Takes with the speed raised lie above idle."""
    cranks = [spoken(2100.0, 0.97), spoken(760.0, 0.95), spoken(None, 0.3, 3040.0)]
    assert company(cranks, 2) == pytest.approx(760.0)
    assert company(cranks, 1) == pytest.approx(2100.0), "a take is no company of its own"


def test_unsure_takes_that_agree_are_company() -> None:
    cranks = [spoken(760.0, 0.8), spoken(None, 0.5, 765.0), spoken(None, 0.4, 1520.0)]
    assert company(cranks, 2) == pytest.approx(760.0, rel=0.01)
    assert company(cranks, 0) is None, "765 and 1520 do not agree"
    doubted = [spoken(None, 0.6, 2728.0), spoken(None, 0.5, 2695.0), spoken(None, 0.4, 682.0)]
    assert company(doubted, 2) is None, "both may be the same wrong multiple"


def test_a_second_look_undoes_an_octave_error_but_does_not_pull_a_raised_take() -> None:
    again = spoken(760.0, 0.6)
    assert confirms(again, spoken(None, 0.5, 3040.0), 755.0)
    assert not confirms(again, spoken(2100.0, 0.8), 755.0), "what was believed stays"
    assert confirms(spoken(760.0, 0.9), spoken(1520.0, 0.8), 755.0)
    assert not confirms(spoken(2900.0, 0.6), spoken(None, 0.5, 1450.0), 755.0)
    assert not confirms(spoken(None, 0.4), spoken(None, 0.5, 760.0), 755.0)
