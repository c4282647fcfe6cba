"""Where the noise sits counts in the odds: direction and tones on the housing map, each once."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy.signal

from beltside.casework.crank_speed import CrankSpeed
from beltside.casework.find import find_in_memory
from beltside.casework.phone_setup import Setup
from beltside.casework.place_evidence import (
    PlaceReason,
    PlacesSaid,
    places_said,
    suspects_band_hz,
)
from beltside.casework.results import Because
from beltside.casework.sound_said import SoundSaid
from beltside.casework.takes import ArraySource, Conditions, HeardTake, hear
from beltside.casework.where_results import PartEvidence
from beltside.drive.expected import expected_orders
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley
from beltside.sound.track import CrankTrack

RATE_HZ = 48_000
SECONDS = 4.0
BAND_HZ = (2000.0, 4000.0)
RPM = 780.0
SETUP = Setup(mic_spacing_mm=140.0, stand_off_mm=400.0)
SHEET = DriveSheet(
    Engine(4),
    Belt(),
    (
        Pulley("crank", 138.0, x_mm=0.0, y_mm=0.0),
        Pulley("coolant-pump", 112.0, x_mm=-143.0, y_mm=181.0),
        Pulley("alternator", 54.0, x_mm=175.0, y_mm=205.0, poles=12),
    ),
)


def noise(seed: int, low_hz: float, high_hz: float) -> np.ndarray:
    """Noise between two frequencies, root mean square 1."""
    rng = np.random.default_rng(seed)
    sections = scipy.signal.butter(4, (low_hz, high_hz), "band", fs=RATE_HZ, output="sos")
    wave = scipy.signal.sosfilt(sections, rng.normal(size=round(SECONDS * RATE_HZ)))
    return np.asarray(wave / wave.std())


def at_two_microphones(wave: np.ndarray, x_mm: float) -> np.ndarray:
    """A point source 400 mm away at two microphones 140 mm apart: plane geometry."""
    time_s = np.arange(wave.size) / RATE_HZ
    away_m = [math.hypot((x_mm - side * 70.0) / 1000.0, 0.4) for side in (-1.0, 1.0)]
    return np.stack([np.interp(time_s - away / 343.2, time_s, wave) for away in away_m])


def take(samples: np.ndarray, conditions: Conditions, *, known: bool = False) -> HeardTake:
    source = ArraySource((0.05 * np.atleast_2d(samples)).astype(np.float32), RATE_HZ)
    track = CrankTrack.constant(RPM) if known else None
    speed = CrankSpeed(track, float(known), None, "sound")
    return HeardTake(conditions, speed, hear(source, track))


def source(samples: np.ndarray) -> ArraySource:
    return ArraySource((0.05 * np.atleast_2d(samples)).astype(np.float32), RATE_HZ)


def belt_case(x_mm: float) -> tuple[list[HeardTake], list[ArraySource], list[Setup | None]]:
    """Belt on and off, where noise in one band goes with the belt, and a stereo take of it."""
    engine = noise(1, 300.0, 9000.0)
    own = 1.5 * noise(2, *BAND_HZ)
    apart = 0.5 * np.stack([noise(3, 300.0, 9000.0), noise(4, 300.0, 9000.0)])
    sounds = [engine + own, engine, at_two_microphones(own, x_mm) + apart]
    named = [Conditions("on", "on"), Conditions("off", "off"), Conditions("pan", "on")]
    heard = [take(sound, one) for sound, one in zip(sounds, named, strict=True)]
    return heard, [source(sound) for sound in sounds], [None, None, SETUP]


@pytest.mark.parametrize(("x_mm", "part"), [(-143.0, "coolant-pump"), (175.0, "alternator")])
def test_a_stereo_take_counts_for_the_pulley_it_points_at(x_mm: float, part: str) -> None:
    said = places_said(*belt_case(x_mm), SHEET)
    bits = {one.evidence.part: one.evidence.bits for one in said.reasons}
    # One pulley of three: log2 of 3 at most.
    assert 1.0 < bits[part] <= math.log2(3.0) + 1e-9
    assert all(value < 0.0 for other, value in bits.items() if other not in (part, "crank"))
    assert {one.evidence.from_ for one in said.reasons} == {"direction, pan"}


def test_the_band_that_went_with_the_belt_is_the_suspects() -> None:
    heard, _, _ = belt_case(0.0)
    band = suspects_band_hz(heard, SHEET)
    assert band is not None
    # Bands are four tenths of an octave wide.
    assert 0.7 * BAND_HZ[0] < band[0] < 1.3 * BAND_HZ[0]
    assert 0.7 * BAND_HZ[1] < band[1] < 1.3 * BAND_HZ[1]


def test_without_a_band_of_its_own_the_direction_is_not_counted() -> None:
    heard, sources, setups = belt_case(175.0)
    said = places_said(heard[2:], sources[2:], setups[2:], SHEET)
    assert said.reasons == ()
    assert "not counted" in said.warnings[0][1]


def test_one_microphone_written_twice_says_why_and_counts_nothing() -> None:
    heard, sources, setups = belt_case(175.0)
    twice = np.repeat(sources[2].samples[:1], 2, axis=0)
    said = places_said(heard, [*sources[:2], ArraySource(twice, RATE_HZ)], setups, SHEET)
    assert said.reasons == ()
    assert any("same sound in both channels" in text for _, text in said.warnings)


def test_tones_that_are_loudest_at_one_housing_count_for_its_tonal_faults_only() -> None:
    moments = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    orders = [
        one.order
        for one in expected_orders(SHEET, 80.0)
        if one.part == "alternator" and one.source == "poles"
    ]
    hum = sum(np.sin(2.0 * np.pi * order * RPM / 60.0 * moments) for order in orders)
    heard = [
        take(noise(seed, 100.0, 9000.0) + loud * hum, Conditions(part, None, part), known=True)
        for seed, (part, loud) in enumerate((("alternator", 2.0), ("coolant-pump", 0.15)))
    ]
    said = places_said(heard, [], [], SHEET)
    bits = {one.evidence.part: one.evidence.bits for one in said.reasons}
    assert bits["alternator"] > 0.3
    assert bits["coolant-pump"] < -0.3
    here = next(one for one in said.reasons if one.evidence.part == "alternator")
    assert here.counts_for("alternator.electrical")
    assert not here.counts_for("alternator.bearing")
    assert not here.counts_for("coolant-pump.impeller")


def test_a_reason_moves_the_odds_by_its_bits() -> None:
    said = SoundSaid({"idler.bearing": -1.0, "none": 0.5}, {"none": ()}, {})
    reason = PlaceReason(PartEvidence("idler", 2.0, "direction, pan", "it is there"))
    joined = PlacesSaid((reason,)).joined_to(said)
    # log2 of the odds of one against the other.
    moved = (joined.told["idler.bearing"] - joined.told["none"]) - (-1.0 - 0.5)
    assert moved / math.log(2.0) == pytest.approx(2.0)
    assert joined.reasons["idler.bearing"] == (Because("direction, pan", "it is there", 2.0),)
    assert PlacesSaid().joined_to(said) is said


def test_find_tells_the_direction_among_its_reasons() -> None:
    _, sources, setups = belt_case(175.0)
    named = [Conditions("on", "on"), Conditions("off", "off"), Conditions("pan", "on")]
    without = find_in_memory(sources, named, SHEET)
    result = find_in_memory(sources, named, SHEET, setups=setups)

    def odds(found: object, part: str) -> float:
        each = {one.id: one.probability for one in found.suspects}  # type: ignore[attr-defined]
        share = sum(value for name, value in each.items() if name == f"{part}.bearing")
        return share / each["none"]

    assert odds(result, "alternator") > 1.8 * odds(without, "alternator")
    assert odds(result, "coolant-pump") < odds(without, "coolant-pump")
    because = next(one for one in result.suspects if one.id == "alternator.bearing").because
    assert any(reason.from_ == "direction, pan" and reason.bits > 1.0 for reason in because)
