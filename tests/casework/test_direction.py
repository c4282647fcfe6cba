"""Directions of made-up stereo takes: known places come back, and bad takes say why."""

from __future__ import annotations

import numpy as np
import pytest

from beltside.base.errors import InputError, OutOfRangeError
from beltside.casework.direction import NamedSource, direction_in
from beltside.casework.phone_setup import Setup
from beltside.casework.takes import ArraySource
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley

RATE_HZ = 48_000
SHEET = DriveSheet(
    Engine(4),
    Belt(),
    (
        Pulley("crank", 138.0, x_mm=0.0, y_mm=0.0),
        Pulley("coolant-pump", 112.0, x_mm=-143.0, y_mm=181.0),
        Pulley("idler", 70.0, face="back", x_mm=30.0, y_mm=190.0),
        Pulley("alternator", 55.0, x_mm=175.0, y_mm=205.0),
    ),
)
NO_PLACES = DriveSheet(Engine(4), Belt(), (Pulley("crank", 138.0), Pulley("alternator", 55.0)))
SETUP = Setup(mic_spacing_mm=140.0, stand_off_mm=400.0)


def stereo(
    source_mm: float, phone_mm: tuple[float, float] = (0.0, 0.0), *, seconds: float = 4.0
) -> NamedSource:
    """A point source, and noise of each microphone's own; the phone moved steadily."""
    rng = np.random.default_rng(abs(int(source_mm)) + 1)
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    phone = np.linspace(*phone_mm, time_s.size)
    wave = rng.normal(size=time_s.size)
    channels = []
    for side in (-1.0, 1.0):
        across_m = (source_mm - phone - side * 70.0) / 1000.0
        channels.append(np.interp(time_s - np.hypot(across_m, 0.4) / 343.2, time_s, wave))
    both = np.stack(channels) + 0.6 * rng.normal(size=(2, time_s.size))
    return NamedSource("take.wav", ArraySource((0.05 * both).astype(np.float32), RATE_HZ))


def changed(take: NamedSource, samples: np.ndarray) -> NamedSource:
    return NamedSource(take.name, ArraySource(samples.astype(np.float32), RATE_HZ))


def samples_of(take: NamedSource) -> np.ndarray:
    return np.concatenate(list(take.source.blocks()), axis=1)


@pytest.mark.parametrize(("x_mm", "part"), [(-143.0, "coolant-pump"), (175.0, "alternator")])
def test_it_points_at_the_pulley_it_came_from(x_mm: float, part: str) -> None:
    result = direction_in([stereo(x_mm)], SETUP, sheet=SHEET)
    assert result.can_tell
    assert result.pulleys[0].part == part
    assert result.along_mm is not None
    assert result.along_mm[1] < x_mm < result.along_mm[2]
    assert sum(pulley.probability for pulley in result.pulleys) == pytest.approx(1.0)
    best = max(result.evidence(), key=lambda one: one.bits)
    assert best.part == part


def test_a_moved_phone_gives_a_path_that_swings_and_one_place() -> None:
    setup = Setup(140.0, 400.0, at=("coolant-pump:alternator",))
    result = direction_in([stereo(30.0, (-143.0, 175.0))], setup, sheet=SHEET)
    angles = [point.angle_deg for point in result.takes[0].path]
    assert angles[0] is not None
    assert angles[-1] is not None
    # To the right of the phone at first, to its left at the end; seen from 400 mm.
    assert angles[0] == pytest.approx(np.rad2deg(np.arctan(173 / 400)), abs=5.0)
    assert angles[-1] == pytest.approx(np.rad2deg(np.arctan(-145 / 400)), abs=5.0)
    assert result.along_mm is not None
    assert result.along_mm[0] == pytest.approx(30.0, abs=20.0)
    assert not result.swapped


def test_a_moved_phone_that_counts_as_still_is_said() -> None:
    result = direction_in([stereo(30.0, (-200.0, 200.0))], SETUP, sheet=SHEET)
    assert any("swings by" in text for text in result.warnings)


def test_channels_the_wrong_way_round_are_found_out_on_a_moved_take() -> None:
    right = stereo(100.0, (-200.0, 200.0))
    wrong = changed(right, samples_of(right)[::-1])
    setup = Setup(140.0, 400.0, at=("-200:200",))
    result = direction_in([wrong], setup, sheet=SHEET)
    assert result.swapped
    assert result.along_mm is not None
    assert result.along_mm[0] == pytest.approx(100.0, abs=20.0)
    told = direction_in([wrong], Setup(140.0, 400.0, at=("-200:200",), swap=True), sheet=SHEET)
    assert not told.swapped


def test_two_takes_at_two_places() -> None:
    takes = [stereo(175.0, (-100.0, -100.0)), stereo(175.0, (150.0, 150.0))]
    result = direction_in(takes, Setup(140.0, 400.0, at=("-100", "150")), sheet=SHEET)
    assert result.pulleys[0].part == "alternator"


def test_mono_is_said() -> None:
    one = changed(stereo(0.0), samples_of(stereo(0.0))[:1])
    result = direction_in([one], SETUP, sheet=SHEET)
    assert not result.can_tell
    assert result.state == "can't tell"
    assert "one channel" in result.why_not[0]
    assert result.to_json()["takes"][0]["channels"] == "mono"
    assert result.evidence() == ()


def test_one_microphone_written_twice_is_said() -> None:
    wave = samples_of(stereo(0.0))[0]
    result = direction_in([changed(stereo(0.0), np.stack((wave, wave)))], SETUP, sheet=SHEET)
    assert not result.can_tell
    assert "one microphone written twice" in result.why_not[0]


def test_a_silent_channel_is_said() -> None:
    wave = samples_of(stereo(0.0))[0]
    result = direction_in([changed(stereo(0.0), np.stack((wave, 0 * wave)))], SETUP, sheet=SHEET)
    assert "one channel only" in result.why_not[0]


def test_microphones_too_close_are_said() -> None:
    result = direction_in([stereo(0.0)], Setup(12.0, 400.0), sheet=SHEET)
    assert not result.can_tell
    assert "too close" in result.why_not[0]


def test_sound_from_everywhere_has_no_direction() -> None:
    noise = np.random.default_rng(3).normal(size=(2, 4 * RATE_HZ))
    result = direction_in([changed(stereo(0.0), 0.05 * noise)], SETUP, sheet=SHEET)
    assert not result.can_tell
    assert "no one side" in result.why_not[0]


@pytest.mark.parametrize(
    ("setup", "sheet", "missing"),
    [
        (Setup(None, 400.0), SHEET, "the microphones' spacing"),
        (Setup(140.0, None), SHEET, "the stand-off"),
        (SETUP, None, "a drive sheet"),
        (SETUP, NO_PLACES, "no positions"),
    ],
)
def test_what_is_missing_for_a_pulley_is_said(
    setup: Setup, sheet: DriveSheet | None, missing: str
) -> None:
    result = direction_in([stereo(150.0)], setup, sheet=sheet)
    assert result.can_tell
    assert result.state == "path only"
    assert any(missing in text for text in result.why_not)


def test_pulleys_on_one_line_ask_for_the_phone_upright() -> None:
    over = DriveSheet(
        Engine(4),
        Belt(),
        (
            Pulley("idler", 70.0, x_mm=0.0, y_mm=0.0),
            Pulley("alternator", 55.0, x_mm=10.0, y_mm=300.0),
        ),
    )
    result = direction_in([stereo(5.0)], SETUP, sheet=over)
    assert any("--held upright" in text for text in result.warnings)


@pytest.mark.parametrize(
    ("setup", "message"),
    [
        (Setup(1.0, 400.0), "microphone spacing"),
        (Setup(140.0, 10.0), "stand-off"),
        (Setup(140.0, 400.0, held="slanted"), "across or upright"),
        (Setup(140.0, 400.0, at=("alternater",)), "Try: alternator"),
        (Setup(140.0, 400.0, at=("0", "1", "2")), "3 places for 1 takes"),
        (Setup(140.0, 400.0, at=("nan",)), "place of the phone"),
    ],
)
def test_a_setup_that_is_off_is_refused(setup: Setup, message: str) -> None:
    with pytest.raises(InputError, match=message):
        direction_in([stereo(0.0, seconds=2.0)], setup, sheet=SHEET)


def test_bands_and_parts_that_are_off_are_refused() -> None:
    take = stereo(0.0, seconds=2.0)
    with pytest.raises(InputError, match="a band from"):
        direction_in([take], SETUP, band_hz=(5000.0, 40_000.0))
    with pytest.raises(InputError, match="without a drive sheet"):
        direction_in([take], SETUP, part="idler")
    with pytest.raises(InputError, match="no part of this drive sheet"):
        direction_in([take], SETUP, sheet=SHEET, part="fan")
    with pytest.raises(OutOfRangeError, match="stated crank speed"):
        direction_in([take], SETUP, crank_rpm=10.0)
    with pytest.raises(InputError, match="no take"):
        direction_in([], SETUP)
