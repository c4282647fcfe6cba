"""Crank speed as used: stated speeds, and takes of one case judged together."""

from functools import cache

import numpy as np
import pytest
from drives import SHEET
from engines import RATE_HZ, engine, no_engine

from beltside.base.errors import OutOfRangeError, RecordingError
from beltside.casework.crank_speed import (
    STATED_AGREES,
    CrankSpeed,
    calm_rpm,
    company,
    crank_paths,
    find_crank,
    in_question,
    settle,
    settled,
)
from beltside.casework.takes import ArraySource, crank_sound
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.sound.crank_feed import CrankSound
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


def spoken(rpm: float | None, confidence: float, likeliest: float | None = None) -> CrankSpeed:
    """A crank speed as found from the sound; `rpm` None when it was not believed."""
    track = None if rpm is None else CrankTrack.constant(rpm, relative_range=0.01)
    return CrankSpeed(track, confidence, None, "sound", likeliest_rpm=likeliest or rpm)


def raised(confidence: float) -> CrankSpeed:
    """From idle at 760 to 2400 rpm and back."""
    rpm = np.array([760.0, 760.0, 2400.0, 2400.0, 760.0])
    track = CrankTrack(np.array([0.0, 2.0, 3.5, 7.0, 9.0]), rpm, rpm * 0.99, rpm * 1.01)
    return CrankSpeed(track, confidence, None, "sound", likeliest_rpm=track.rpm_median)


def test_company_is_the_slowest_sure_take() -> None:
    """Takes with the speed raised lie above idle."""
    cranks = [spoken(2100.0, 0.97), spoken(760.0, 0.95), spoken(None, 0.3, 3040.0)]
    assert company(cranks, 2) == pytest.approx(760.0)
    assert company(cranks, 1) == pytest.approx(2100.0), "a take is no company of its own"


def test_one_take_at_half_the_speed_of_several_is_not_idle() -> None:
    cranks = [
        spoken(760.0, 0.97),
        spoken(755.0, 0.95),
        spoken(380.0, 0.9),
        spoken(None, 0.3, 900.0),
    ]
    assert company(cranks, 3) == pytest.approx(757.0, rel=0.01)


def test_a_raised_take_that_starts_at_idle_is_company_by_its_calm_part() -> None:
    assert calm_rpm(raised(0.9)) == pytest.approx(760.0, rel=0.01)
    assert calm_rpm(spoken(800.0, 0.9)) == 800.0
    assert company([raised(0.95), spoken(None, 0.2, 1520.0)], 1) == pytest.approx(760.0, rel=0.01)


def test_unsure_takes_that_agree_are_company() -> None:
    cranks = [spoken(760.0, 0.8), spoken(None, 0.5, 765.0), spoken(None, 0.4, 1520.0)]
    assert company(cranks, 2) == pytest.approx(760.0, rel=0.01)
    assert company(cranks, 0) is None, "765 and 1520 do not agree"
    doubted = [spoken(None, 0.6, 2728.0), spoken(None, 0.5, 2695.0), spoken(None, 0.4, 682.0)]
    assert company(doubted, 2) is None, "both may be the same wrong multiple"


def test_a_take_away_from_idle_is_in_question_however_sure() -> None:
    assert in_question(spoken(860.0, 0.99), 800.0)
    assert in_question(spoken(800.0, 0.8), 800.0)
    assert not in_question(spoken(805.0, 0.9), 800.0)
    assert not in_question(raised(0.9), 760.0), "it comes down to idle"


def test_a_second_look_undoes_an_octave_error_but_does_not_pull_a_raised_take() -> None:
    back = spoken(760.0, 0.6)
    assert settled(back, spoken(None, 0.5, 3040.0), 755.0) is back
    doubted = settled(back, spoken(2100.0, 0.8), 755.0)
    assert doubted.track is None, "two speeds stand against each other"
    assert "2100 rpm" in (doubted.reason or "")
    sure = spoken(760.0, 0.9)
    assert settled(sure, spoken(1520.0, 0.8), 755.0) is sure
    held = spoken(2400.0, 0.97)
    assert settled(spoken(None, 0.7, 2400.0), held, 755.0) is held
    unsure = spoken(None, 0.5, 1450.0)
    assert settled(spoken(2900.0, 0.6), unsure, 755.0) is unsure
    assert settled(spoken(None, 0.4, 760.0), unsure, 755.0) is unsure


def test_stated_and_lonely_takes_are_not_looked_at_again() -> None:
    stated = CrankSpeed(CrankTrack.constant(2000.0), 0.95, None, "stated")
    cranks = [spoken(760.0, 0.95), stated, spoken(None, 0.2, 3000.0)]
    asked: list[tuple[int, float]] = []

    def look(wanted: list[tuple[int, float]]) -> list[CrankSpeed]:
        asked.extend(wanted)
        return [spoken(2280.0, 0.9) for _ in wanted]

    assert settle(cranks, look)[2].track is not None
    # The idle take stands beside a stated one that lies above it, so it is asked too.
    assert dict(asked) == {0: pytest.approx(2000.0), 2: pytest.approx(760.0)}
    assert settle([spoken(None, 0.3, 900.0)], lambda wanted: [])[0].track is None


def test_raised_takes_are_told_beside_the_idle_speed_of_others() -> None:
    """Four engines in noise, from idle to 2,400 rpm and back: more are told, and none wrongly."""
    rng = np.random.default_rng(1)
    profile = ([0.0, 1.0, 2.5, 5.0, 6.5, 7.5], [760.0, 760.0, 2400.0, 2400.0, 800.0, 760.0])
    alone, beside = [], []
    for seed in range(4):
        take = engine(60 + seed, profile, seconds=7.5, uneven=0.08)
        noise = 1.2 * take.samples.std() * rng.normal(size=take.samples.size)
        sound = heard(take.samples + noise)
        paths = crank_paths(sound, SHEET)
        truth = float(np.median(take.rpm_at(np.arange(0.0, 7.5, 0.05))))
        for told, idle_rpm in ((alone, None), (beside, 760.0)):
            found = find_crank(sound, SHEET, heard_idle_rpm=idle_rpm, paths=paths)
            if found.track is not None:
                told.append(found.track.rpm_median / truth)
    assert len(beside) >= max(len(alone), 3)
    assert beside == pytest.approx([1.0] * len(beside), abs=0.03)
