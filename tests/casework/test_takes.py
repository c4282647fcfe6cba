"""From sources to heard takes: mono, stated speeds, streaming, several takes together."""

import weakref
from collections.abc import Iterator

import numpy as np
import pytest
from drives import SHEET, bearing_noise
from engines import RATE_HZ, engine, no_engine

from beltside.base.errors import RecordingError
from beltside.casework.crank_speed import CrankSpeed, find_crank
from beltside.casework.takes import (
    WORKERS,
    ArraySource,
    Conditions,
    Mono,
    crank_sound,
    hear,
    hear_all,
)
from beltside.sound.track import CrankTrack


def source(*channels: np.ndarray, rate_hz: int = RATE_HZ) -> ArraySource:
    return ArraySource(np.stack(channels).astype(np.float32), rate_hz)


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


@pytest.mark.parametrize("seed", [5, 6, 7])
def test_takes_of_a_case_are_judged_together(seed: int) -> None:
    """The poor take is drowned in noise; alone it is unsure."""
    rng = np.random.default_rng(seed)
    good, poor = engine(31, 800.0), engine(32, 803.0, seconds=5.0)
    drowned = poor.samples + 1.1 * poor.samples.std() * rng.normal(size=poor.samples.size)
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
    assert alone.track is None
    assert second.confidence > alone.confidence + 0.1
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
