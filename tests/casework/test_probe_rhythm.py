"""Where a rhythm is loudest: known sounds at known places."""

from functools import cache

import numpy as np
import pytest
from drives import SHEET, heard

from beltside.casework.families import pooled_surprises, surprises
from beltside.casework.measures import CASE_MEASURES, SUSPECT_MEASURES
from beltside.casework.probe_rhythm import PROBE_RHYTHM, probe_rhythm
from beltside.casework.reasons import GROUPS, sound_reasons
from beltside.casework.shipped import catalogue
from beltside.casework.take_measures import TakeMeasures, take_measures
from beltside.casework.takes import Conditions, HeardTake

Pair = tuple[HeardTake, TakeMeasures]


@cache
def pair(seed: int, bearing: float, where: str, gain: float = 1.0) -> Pair:
    """A take with a noise that beats as the alternator's outer race does, so loud."""
    conditions = Conditions(
        where, "off" if where == "off" else "on", None if where == "off" else where
    )
    take = heard(seed, bearing=bearing, gain=gain, conditions=conditions)
    return take, take_measures(take.hearing, SHEET)


def table(probes: list[Pair], off: list[Pair] | None = None) -> dict[str, dict[str, float]]:
    spectra = [surprises(one[0].hearing, SHEET) for one in probes]
    together = pooled_surprises([one for one in spectra if one is not None])
    rows = probe_rhythm(probes, off or [], together)
    return {part: dict(zip(PROBE_RHYTHM, row.tolist(), strict=True)) for part, row in rows.items()}


def around(near: float = 3.16, gain: float = 1.0) -> list[Pair]:
    """10 dB more of it (a factor of 3.16) at the alternator than at two other housings."""
    return [
        pair(4, 1.0, "idler"),
        pair(5, near, "alternator", gain),
        pair(6, 1.0, "tensioner"),
    ]


def test_a_rhythm_is_loudest_where_it_comes_from() -> None:
    rows = table(around())
    assert rows["alternator"]["beat_lead"] * 8.0 == pytest.approx(10.0, abs=3.0)
    assert rows["alternator"]["beat_rank"] * 8.0 == pytest.approx(10.0, abs=3.0)
    assert [rows[part]["beat_top"] for part in ("alternator", "idler", "tensioner")] == [1, 0, 0]
    assert rows["idler"]["beat_rank"] * 8.0 == pytest.approx(-10.0, abs=3.0)


@pytest.mark.parametrize("gain", [0.05, 4.0])
def test_how_hard_the_probe_was_pressed_moves_nothing(gain: float) -> None:
    one, other = table(around())["alternator"], table(around(gain=gain))["alternator"]
    assert list(other.values()) == pytest.approx(list(one.values()), abs=0.03)


def test_a_rhythm_that_stays_with_the_belt_off_is_none_of_the_pulleys() -> None:
    rows = table(around(), [pair(7, 3.16, "off")])
    assert abs(rows["alternator"]["beat_lead"]) < 0.3
    kept = table(around(), [pair(7, 0.0, "off")])
    assert kept["alternator"]["beat_lead"] * 8.0 == pytest.approx(10.0, abs=3.0)


def test_one_place_or_no_crank_speed_says_nothing() -> None:
    assert table(around()[:1]) == {}
    assert probe_rhythm(around(), [], None) == {}


def test_every_measure_is_part_of_one_reason() -> None:
    """What moves the odds can be read: a group of measures for each but the constant."""
    grouped = [name for members in GROUPS.values() for name in members]
    assert sorted([*grouped, "one"]) == sorted({*CASE_MEASURES, *SUSPECT_MEASURES})


def test_the_reason_names_the_rhythm() -> None:
    names = [*CASE_MEASURES, *SUSPECT_MEASURES]
    part = np.zeros(len(SUSPECT_MEASURES))
    for name, value in (("probed", 1.0), ("beat_lead", 1.2), ("beat_top", 1.0)):
        part[SUSPECT_MEASURES.index(name)] = value
    bits = np.zeros(len(names))
    bits[names.index("beat_lead")] = 2.0
    takes, measures = zip(*around(), strict=True)
    suspect = next(one for one in catalogue().suspects if one.id == "alternator.bearing")
    (reason,) = sound_reasons(suspect, bits, np.zeros(len(CASE_MEASURES)), part, takes, measures)
    assert "rhythm is louder than on the other housings" in reason.says
    assert reason.from_ == "alternator"
    assert reason.bits == pytest.approx(2.0)
