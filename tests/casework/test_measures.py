"""Measures of takes and cases: known faults move the right ones, the recording's level none."""

from functools import cache

import numpy as np
import pytest
from drives import SHEET, heard

from beltside.casework.measures import (
    CASE_MEASURES,
    SUSPECT_MEASURES,
    CaseMeasures,
    case_measures,
)
from beltside.casework.take_measures import PART_MEASURES, TakeMeasures, take_measures
from beltside.casework.takes import Conditions, HeardTake


@cache
def take(
    seed: int,
    bearing: float = 0.0,
    hiss: float = 0.0,
    gain: float = 1.0,
    rpm: float = 800.0,
    with_crank: bool = True,
) -> HeardTake:
    return heard(seed, bearing=bearing, hiss=hiss, gain=gain, rpm=rpm, with_crank=with_crank)


@cache
def measured(
    seed: int,
    bearing: float = 0.0,
    hiss: float = 0.0,
    gain: float = 1.0,
    rpm: float = 800.0,
    with_crank: bool = True,
) -> TakeMeasures:
    return take_measures(take(seed, bearing, hiss, gain, rpm, with_crank).hearing, SHEET)


def case(*made: tuple[Conditions, dict[str, object]]) -> CaseMeasures:
    takes = [
        HeardTake(conditions, take(**what).crank, take(**what).hearing)  # type: ignore[arg-type]
        for conditions, what in made
    ]
    return case_measures(takes, [measured(**what) for _, what in made], SHEET)  # type: ignore[arg-type]


def of_case(result: CaseMeasures, name: str) -> float:
    return float(result.case[CASE_MEASURES.index(name)])


def of_part(result: CaseMeasures, part: str, name: str) -> float:
    return float(result.parts[part][SUSPECT_MEASURES.index(name)])


FRONT = Conditions("belt-on", "on")
OFF = Conditions("belt-off", "off")
SICK = {"seed": 1, "bearing": 0.5}
WELL: dict[str, object] = {"seed": 2}


def test_a_bad_bearing_shows_at_its_own_part() -> None:
    sick, well = measured(1, 0.5), measured(2)
    row = dict(zip(PART_MEASURES, sick.parts["alternator"], strict=True))
    assert row["bearing"] > 1.0
    assert row["bearing_depth"] > 0.5
    for part in ("coolant-pump", "idler"):
        assert sick.parts[part][0] < 1.0
    assert well.parts["alternator"][0] < 1.0
    assert set(sick.parts) == {"alternator", "coolant-pump", "idler"}


@pytest.mark.parametrize("gain", [0.05, 4.0])
def test_the_level_of_the_recording_moves_nothing(gain: float) -> None:
    soft, plain = measured(1, 0.5, gain=gain), measured(1, 0.5)
    for name, value in plain.values.items():
        assert soft.values[name] == pytest.approx(value, abs=0.02), name
    for part, row in plain.parts.items():
        assert soft.parts[part] == pytest.approx(row, abs=0.05)
    assert soft.zone_db == pytest.approx(plain.zone_db, abs=0.05)


def test_hiss_lifts_the_high_zone_by_as_much_as_was_added() -> None:
    """Four times the amplitude is 12 dB, where the hiss outshouts the engine."""
    soft, loud = measured(3, hiss=1.0), measured(3, hiss=4.0)
    assert loud.zone_db[2] - soft.zone_db[2] == pytest.approx(12.0, abs=1.0)
    assert loud.zone_db[0] == pytest.approx(soft.zone_db[0], abs=0.2)


def test_belt_off_takes_the_bearing_away() -> None:
    both = case((FRONT, SICK), (OFF, WELL))
    assert of_case(both, "has_off") == 1.0
    assert of_case(both, "drop_mid") > 0.5
    assert of_case(both, "drop_most") >= of_case(both, "drop_mid")
    assert of_part(both, "alternator", "off_bearing") < 1.0 < of_part(both, "alternator", "bearing")
    stays = case((FRONT, SICK), (OFF, SICK))
    assert of_case(stays, "drop_mid") == pytest.approx(0.0, abs=1e-9)
    assert of_part(stays, "alternator", "off_bearing") > 1.0


def test_what_was_not_recorded_says_nothing() -> None:
    alone = case((FRONT, SICK))
    for name in (
        "has_off",
        "drop_low",
        "drop_mid",
        "drop_high",
        "drop_most",
        "raised_high",
        "has_load",
        "load_apart",
        "went_apart",
        "squeal_off",
        "belt_beat_off",
        "cycle_high_off",
    ):
        assert of_case(alone, name) == 0.0, name
    for name in (
        "probed",
        "probe_mid",
        "probe_high",
        "probe_rhythm",
        "lead_bearing",
        "off_bearing",
        "own_load",
        "own_load_apart",
        "probe_sway_mid",
        *(f"own_{one}" for one in PART_MEASURES),
    ):
        assert of_part(alone, "alternator", name) == 0.0, name


def test_the_probe_on_the_bad_part_leads() -> None:
    probes = case(
        (FRONT, SICK),
        (Conditions("probe 1", "on", "alternator"), {"seed": 4, "bearing": 2.0}),
        (Conditions("probe 2", "on", "coolant-pump"), {"seed": 5}),
        (Conditions("probe 3", "on", "idler"), {"seed": 6}),
    )
    assert of_part(probes, "alternator", "probed") == 1.0
    assert of_part(probes, "alternator", "probe_mid") > 0.5 > of_part(probes, "idler", "probe_mid")
    assert of_part(probes, "alternator", "lead_bearing") > 0.0
    best = {part: of_part(probes, part, "best_of_parts") for part in probes.parts}
    assert max(best, key=lambda part: best[part]) == "alternator"
    assert best["alternator"] > 0.5


def test_knowing_the_geometry_is_a_measure_of_its_own() -> None:
    alone = case((FRONT, SICK))
    assert of_part(alone, "alternator", "geometry_known") == 1.0
    assert of_part(alone, "idler", "geometry_known") == 0.0


def test_raised_speed_and_load_are_told_against_idle() -> None:
    raised = case(
        (FRONT, WELL), (Conditions("raised", "on"), {"seed": 7, "rpm": 1800.0, "hiss": 1.0})
    )
    assert of_case(raised, "raised_high") > 0.3
    loaded = case(
        (FRONT, WELL), (Conditions("lights", "on", None, ("lights",)), {"seed": 2, "hiss": 1.0})
    )
    assert of_case(loaded, "has_load") == 1.0
    assert of_case(loaded, "load_step") > 0.5
    assert of_part(loaded, "alternator", "own_load_step") > 0.5
    assert of_part(loaded, "idler", "own_load_step") == 0.0


def test_without_a_crank_speed_the_case_says_so_and_still_counts_levels() -> None:
    deaf = case(
        (FRONT, {"seed": 1, "bearing": 0.5, "with_crank": False}),
        (OFF, {"seed": 2, "with_crank": False}),
    )
    assert of_case(deaf, "no_crank") == 1.0
    assert of_case(deaf, "drop_mid") > 0.2
    assert not measured(1, 0.5, with_crank=False).parts
    assert np.isfinite(deaf.case).all()
    assert all(np.isfinite(row).all() for row in deaf.parts.values())


def test_vectors_have_the_stated_order_and_modest_size() -> None:
    both = case((FRONT, SICK), (OFF, WELL))
    assert both.case.shape == (len(CASE_MEASURES),)
    assert of_case(both, "one") == 1.0
    assert len(set(CASE_MEASURES)) == len(CASE_MEASURES)
    assert len(set(SUSPECT_MEASURES)) == len(SUSPECT_MEASURES)
    for row in both.parts.values():
        assert row.shape == (len(SUSPECT_MEASURES),)
        assert np.abs(row).max() <= 4.0
    assert np.abs(both.case).max() <= 4.0
    assert of_case(both, "best_bearing") == max(
        of_part(both, part, "bearing") for part in both.parts
    )
