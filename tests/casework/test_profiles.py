"""Profiles and contrasts: where a sign sits, known sounds with known answers."""

from functools import cache

import numpy as np
import pytest
import scipy.signal
from drives import ALTERNATOR_RATIO, OUTER_RACE_ORDER, SHEET, heard, true_track, turns_of
from engines import RATE_HZ, coloured, engine

from beltside.casework.contrasts import (
    CASE_CONTRASTS,
    SUSPECT_CONTRASTS,
    case_contrasts,
    suspect_contrasts,
)
from beltside.casework.crank_speed import CrankSpeed
from beltside.casework.families import surprises
from beltside.casework.profiles import (
    CASE_PROFILES,
    EVENTS_PER_TURN,
    POINTS_HZ,
    SUSPECT_PROFILES,
    case_profiles,
    suspect_profiles,
)
from beltside.casework.take_measures import TakeMeasures, take_measures
from beltside.casework.takes import ArraySource, Conditions, HeardTake, hear

Pair = tuple[HeardTake, TakeMeasures]
PIECE_OF_3_KHZ = int(np.argmin(np.abs(np.log(POINTS_HZ / 3000.0)))) // 3 + 1


@cache
def pair(
    seed: int, bearing: float = 0.0, hiss: float = 0.0, gain: float = 1.0, where: str = "front"
) -> Pair:
    """A take and its measures; `where` is "front", "off" or a part."""
    conditions = Conditions(
        where,
        "off" if where == "off" else "on",
        None if where in ("front", "off") else where,
    )
    take = heard(seed, bearing=bearing, hiss=hiss, gain=gain, conditions=conditions)
    return take, take_measures(take.hearing, SHEET)


def swelling(seed: int, order: float, depth: float) -> Pair:
    """An engine with a noise round 3 kHz over it whose power swells at an order of the crank."""
    take = engine(seed, 800.0, seconds=12.0)
    rng = np.random.default_rng(seed + 50)
    sections = scipy.signal.butter(4, (2500.0, 3500.0), "band", fs=RATE_HZ, output="sos")
    noise = scipy.signal.sosfilt(sections, coloured(rng, take.samples.size, RATE_HZ, 0.0))
    power = 1.0 + depth * np.cos(2.0 * np.pi * order * turns_of(take))
    samples = take.samples / take.samples.std() + 2.0 * noise / noise.std() * np.sqrt(power)
    source = ArraySource((0.02 * samples[None, :]).astype(np.float32), RATE_HZ)
    track = true_track(take)
    conditions = Conditions("front", "on")
    one = HeardTake(conditions, CrankSpeed(track, 1.0, None, "sound"), hear(source, track))
    return one, take_measures(one.hearing, SHEET)


def of_case(row: np.ndarray, name: str) -> float:
    return float(row[CASE_PROFILES.index(name)])


def turns(row: np.ndarray) -> np.ndarray:
    return row[[name.startswith("turn_") for name in SUSPECT_PROFILES]]


@pytest.mark.parametrize(("order", "name"), [(0.5, "0.5"), (1.5, "1.5"), (2.0, "1x")])
def test_a_noise_that_swells_shows_its_depth_at_its_order(order: float, name: str) -> None:
    """A power that swells by the share m has a line of m^2 / 2 in its envelope: the definition
    of modulation depth. A size of 2 is a depth of 10^(-10/20) = 32 %."""
    depth = 10.0**-0.5
    row = case_profiles(swelling(7, order, depth), [])
    assert of_case(row, f"beat_mid_{name}") == pytest.approx(2.0, abs=0.25)
    elsewhere = of_case(row, "beat_mid_3.5")
    assert elsewhere < 1.2


def test_an_added_hiss_shows_in_its_pieces_and_goes_with_the_belt() -> None:
    """Four times the amplitude is 12 dB: 2 on the scale of 6 dB, 1.2 on that of 10 dB. At 16,000
    samples a second two of the fifth piece's three points lie below the highest band."""
    loud, soft = pair(3, hiss=4.0), pair(3, hiss=1.0, where="off")
    row = case_profiles(loud, [soft])
    assert of_case(row, "change_5") == pytest.approx(2.0 * 2 / 3, abs=0.1)
    assert abs(of_case(row, "change_1")) < 0.1
    quiet = case_profiles(pair(3, hiss=1.0), [])
    assert of_case(row, "level_5") - of_case(quiet, "level_5") == pytest.approx(
        1.2 * 2 / 3, abs=0.1
    )


@pytest.mark.parametrize("gain", [0.05, 4.0])
def test_the_level_of_the_recording_moves_no_profile(gain: float) -> None:
    one = case_profiles(pair(3, hiss=2.0), [])
    other = case_profiles(pair(3, hiss=2.0, gain=gain), [])
    assert other == pytest.approx(one, abs=0.03)


def test_a_bearing_beats_at_its_events_per_turn() -> None:
    """The order of the outer race over the part's ratio: n/2 (1 - d/D) = 3.05 events per turn."""
    sick = pair(1, bearing=0.7)
    spectra = surprises(sick[0].hearing, SHEET)
    row = turns(suspect_profiles("alternator", sick, [], spectra, ALTERNATOR_RATIO))
    events = OUTER_RACE_ORDER / ALTERNATOR_RATIO
    place = int(np.argmin(np.abs(np.log(EVENTS_PER_TURN / events)))) // 2
    assert row[place - 1 : place + 2].max() > 2.0
    well = pair(2)
    spectra = surprises(well[0].hearing, SHEET)
    quiet = turns(suspect_profiles("alternator", well, [], spectra, ALTERNATOR_RATIO))
    assert quiet[place - 1 : place + 2].max() < 1.5


def test_what_was_not_recorded_says_nothing() -> None:
    alone = pair(2)
    row = case_profiles(alone, [])
    missing = [name for name in CASE_PROFILES if "change" in name]
    assert [of_case(row, name) for name in missing] == [0.0] * len(missing)
    assert not suspect_profiles("idler", alone, [], None, None).any()
    contrasts = case_contrasts(alone, [], [], [])
    made = {name for name, value in contrasts.items() if value}
    assert made <= {f"{k}_best{c}" for k in ("cycle", "turn", "firing") for c in ("", "_centre")}
    assert not suspect_contrasts("idler", alone, [], None).any()


def test_a_probe_leads_in_the_band_of_the_noise_it_is_close_to() -> None:
    """10 dB (a factor of 3.16) more of a noise round 3 kHz with the probe on it."""
    front = pair(4, bearing=1.0)
    near, far = pair(4, bearing=3.16, where="alternator"), pair(4, bearing=1.0, where="idler")
    row = suspect_profiles("alternator", front, [near, far], None, None)
    lead = row[: len(POINTS_HZ) // 3]
    assert int(np.argmax(lead)) + 1 == PIECE_OF_3_KHZ
    assert lead.max() * 8.0 == pytest.approx(10.0, abs=4.0)
    values = dict(
        zip(
            SUSPECT_CONTRASTS,
            suspect_contrasts("alternator", front, [near, far], None).tolist(),
            strict=True,
        )
    )
    assert values["probe_top"] == 1.0
    assert values["front_band"] * 8.0 > 3.0  # over the middle band, which gains some too
    assert values["alone"] == 0.0


def test_what_went_with_the_belt_is_heard_as_if_alone() -> None:
    """A noise that swells by 32 % with the firing, over an engine that does not: what is left
    when the engine is taken away swells by as much as before it was mixed in."""
    on = swelling(9, 2.0, 10.0**-0.5)
    values = case_contrasts(on, [pair(9, where="off")], [], [])
    assert values["gone_firing"] == pytest.approx(2.0, abs=0.35)
    assert values["gone_cycle"] < values["gone_firing"]
    assert set(values) == set(CASE_CONTRASTS)
