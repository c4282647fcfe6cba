"""Crank speed as used: stated speeds, and takes of one case judged together."""

from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest
from drives import SHEET
from engines import RATE_HZ, engine, no_engine

from beltside.base.errors import OutOfRangeError, RecordingError
from beltside.casework.crank_speed import (
    ENGINE_NATS,
    STATED_AGREES,
    CrankSpeed,
    company,
    crank_paths,
    find_crank,
    settle,
    settled,
    surely_engine,
)
from beltside.casework.takes import ArraySource, crank_sound
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.sound.crank import CrankEvidence
from beltside.sound.crank_choice import Candidate
from beltside.sound.crank_feed import CrankSound
from beltside.sound.crank_prior import IdleBelief
from beltside.sound.track import CrankTrack


def heard(samples: np.ndarray) -> CrankSound:
    return crank_sound(ArraySource(samples[None, :].astype(np.float32), RATE_HZ))


@cache
def idle_sound() -> CrankSound:
    return heard(engine(31, 800.0).samples)


@cache
def noise_sound() -> CrankSound:
    return heard(no_engine("white noise", 1))


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


def evidence(speeds: dict[float, float], none: float = 0.05) -> CrankEvidence:
    """What a sound says: each speed's probability if all speeds were alike beforehand."""
    rpms = np.array(list(speeds))
    return CrankEvidence(
        rpm=float(rpms[0]),
        probability=next(iter(speeds.values())),
        none=none,
        rival_rpm=float("nan"),
        rival_probability=0.0,
        candidate=Candidate(1.0, *[0.0] * 7),
        match=20.0,
        mains_hz=0,
        measures=np.zeros((rpms.size, 1)),
        take=np.zeros(1),
        rpms=rpms,
        calm_rpms=rpms,
        scores=np.log(np.array(list(speeds.values()))),
        none_score=float(np.log(none)),
        tracks=(),
        of_track=(),
    )


def spoken(speeds: dict[float, float], *, told: bool = True, none: float = 0.05) -> CrankSpeed:
    """A take whose sound fits these speeds so well; the first is the likeliest."""
    rpm = next(iter(speeds))
    track = CrankTrack.constant(rpm) if told else None
    heard_of_it = evidence(speeds, none)
    return CrankSpeed(track, 0.8, None, "sound", likeliest_rpm=rpm, evidence=heard_of_it)


STATED_FAST = CrankSpeed(CrankTrack.constant(2000.0), 0.95, None, "stated")


def test_a_take_is_no_company_of_its_own_and_silence_is_none() -> None:
    assert company([spoken({760.0: 0.9})], 0, SHEET) is None
    mute = CrankSpeed(None, 0.0, "only 1.0 s of sound", "sound")
    assert company([spoken({760.0: 0.9}), mute], 0, SHEET) is None


def test_takes_that_each_leave_two_speeds_open_settle_each_other() -> None:
    """One fits 700 and 1400, another 700 and 1050: their engine idles at 700."""
    cranks = [spoken({1400.0: 0.5, 700.0: 0.5}), spoken({1050.0: 0.5, 700.0: 0.5})]
    belief = company([*cranks, spoken({2800.0: 1.0})], 2, SHEET)
    assert belief is not None
    assert belief.likeliest_rpm == pytest.approx(700.0, rel=0.02)
    assert belief.near(700.0, 0.05) > 0.7


def test_a_raised_take_moves_the_idle_speed_little() -> None:
    """It lies above idle; an idle take says where idle is, the sheet's 760 pulls a little."""
    belief = company(
        [spoken({2100.0: 0.97}), spoken({690.0: 0.95}), spoken({690.0: 1.0})], 2, SHEET
    )
    assert belief is not None
    assert belief.likeliest_rpm == pytest.approx(690.0, rel=0.03)


def test_beside_a_known_idle_its_double_and_its_half_are_unlikely() -> None:
    belief = company([spoken({760.0: 0.97}), spoken({760.0: 1.0})], 1, SHEET)
    assert belief is not None
    at_idle, half, double, raised = belief.log_density(np.array([760.0, 380.0, 4560.0, 1900.0]))
    assert at_idle - half > 5.0
    assert at_idle - double > 4.0
    assert raised > double


def test_other_takes_speak_for_an_engine_as_surely_as_they_hold_one() -> None:
    sure, doubtful = spoken({760.0: 0.9}, none=0.01), spoken({760.0: 0.4}, none=0.6)
    assert surely_engine([sure, doubtful], 1) == pytest.approx(0.99 * ENGINE_NATS)
    assert surely_engine([sure, doubtful], 0) == pytest.approx(0.4 * ENGINE_NATS)
    assert surely_engine([STATED_FAST, doubtful], 1) == pytest.approx(ENGINE_NATS)
    assert surely_engine([sure], 0) == 0.0


def test_a_second_look_stands_and_says_why_it_withdraws_a_speed() -> None:
    before = spoken({2100.0: 0.8})
    other = spoken({760.0: 0.7})
    assert settled(other, before) is other
    doubted = settled(spoken({760.0: 0.6}, told=False), before)
    assert doubted.track is None
    assert "2100 rpm" in (doubted.reason or "")
    same = spoken({2100.0: 0.6}, told=False)
    assert settled(same, before) is same


def test_stated_and_lonely_takes_are_not_looked_at_again() -> None:
    cranks = [spoken({760.0: 0.95}), STATED_FAST, spoken({3000.0: 0.2}, told=False)]
    asked: list[int] = []

    def look(wanted: Sequence[tuple[int, IdleBelief, float]]) -> list[CrankSpeed]:
        asked.extend(index for index, _, _ in wanted)
        return [spoken({2280.0: 0.9}) for _ in wanted]

    assert settle(cranks, SHEET, look)[2].likeliest_rpm == 2280.0
    assert asked == [0, 2]
    alone = [spoken({900.0: 0.3}, told=False)]
    assert settle(alone, SHEET, lambda wanted: [])[0] is alone[0]


def test_raised_takes_are_told_beside_the_idle_speed_of_others() -> None:
    """Four engines in noise, from idle to 2,400 rpm and back: more are told, and none wrongly."""
    rng = np.random.default_rng(1)
    profile = ([0.0, 1.0, 2.5, 5.0, 6.5, 7.5], [760.0, 760.0, 2400.0, 2400.0, 800.0, 760.0])
    alone: list[float] = []
    beside: list[float] = []
    belief = company([spoken({760.0: 0.97}), spoken({760.0: 1.0})], 1, SHEET)
    for seed in range(4):
        take = engine(60 + seed, profile, seconds=7.5, uneven=0.08)
        noise = 1.2 * take.samples.std() * rng.normal(size=take.samples.size)
        sound = heard(take.samples + noise)
        paths = crank_paths(sound, SHEET)
        truth = float(np.median(take.rpm_at(np.arange(0.0, 7.5, 0.05))))
        for told, idle in ((alone, None), (beside, belief)):
            found = find_crank(sound, SHEET, idle=idle, paths=paths)
            if found.track is not None:
                told.append(found.track.rpm_median / truth)
    assert len(beside) >= max(len(alone), 3)
    assert beside == pytest.approx([1.0] * len(beside), abs=0.03)
