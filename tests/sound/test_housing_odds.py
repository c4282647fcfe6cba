"""The map's chances: a multinomial logit over signs of each place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import softmax
from test_housing import OWN, hearing

from beltside.base.errors import InputError
from beltside.sound.housing import OwnSound
from beltside.sound.housing_odds import (
    MOST_DB,
    OWN_WEIGHT,
    WEIGHTS,
    Signs,
    chances,
    engine_levels,
    sign_table,
)

PLAIN = Signs(-40.0, -45.0, -30.0, -36.0, -60.0, -38.0, 0.4, 3.0)
LEVELS = ("own_db", "belt_band_db", "whole_db", "quiet_db", "engine_lines_db", "engine_beat_db")


def test_chances_are_a_softmax_of_weighted_signs() -> None:
    """P_i = exp(w x_i) / sum exp(w x_j) (McFadden 1974, equation 12); scipy's own softmax."""
    takes = [PLAIN, replace(PLAIN, own_db=-34.0, bursts=0.9), replace(PLAIN, whole_db=-33.0)]
    weight = {"own_db": OWN_WEIGHT["rhythm"], **WEIGHTS}
    score = [sum(w * getattr(one, name) for name, w in weight.items()) for one in takes]
    found = chances(["pump", "idler", "fan"], takes, "rhythm")
    assert list(found) == ["pump", "idler", "fan"]
    assert list(found.values()) == pytest.approx(softmax(score))


def test_the_same_at_all_places_leaves_them_alike() -> None:
    found = chances(["pump", "idler", "fan"], [PLAIN] * 3, "tones")
    assert list(found.values()) == pytest.approx([1 / 3] * 3)


@pytest.mark.parametrize("by", ["rhythm", "tones", "band"])
def test_a_take_gained_up_says_hardly_more(by: str) -> None:
    """A phone's gain lifts suspect and engine alike. 6 dB of it move an even chance to less than
    6 in 7; the same rise without the engine's moves it beyond 19 in 20."""
    louder = replace(PLAIN, **{name: getattr(PLAIN, name) + 6.0 for name in LEVELS})
    gained = chances(["pump", "idler"], [louder, PLAIN], by)["pump"]
    assert 1 / 7 < gained < 6 / 7
    fault = replace(
        PLAIN, **{name: getattr(PLAIN, name) + 6.0 for name in LEVELS if "engine" not in name}
    )
    assert chances(["pump", "idler"], [fault, PLAIN], by)["pump"] > 0.95


def test_what_cannot_be_read_counts_as_the_mean() -> None:
    deaf = replace(PLAIN, own_db=None, engine_lines_db=None, engine_beat_db=None, clearness=None)
    table = sign_table(
        ["pump", "idler", "fan"], [replace(PLAIN, own_db=-30.0), replace(PLAIN, own_db=-50.0), deaf]
    )
    assert table["own_db"] == pytest.approx([10.0, -10.0, 0.0])
    only_one = sign_table(["pump", "idler"], [PLAIN, deaf])
    assert only_one["own_db"] == pytest.approx([0.0, 0.0])


def test_takes_at_one_place_count_by_their_mean_and_far_ones_no_further() -> None:
    takes = [replace(PLAIN, whole_db=db) for db in (-20.0, -30.0, -35.0)]
    table = sign_table(["pump", "pump", "fan"], takes)
    assert table["whole_db"] == pytest.approx([5.0, -5.0])
    far = sign_table(["pump", "fan"], [replace(PLAIN, own_db=-300.0), PLAIN])
    assert far["own_db"] == pytest.approx([-MOST_DB, MOST_DB])


def test_what_is_no_map_is_refused() -> None:
    with pytest.raises(InputError, match="two housings or more"):
        chances(["idler", "idler"], [PLAIN, PLAIN], "rhythm")
    with pytest.raises(InputError, match="rhythm, tones or band"):
        chances(["idler", "fan"], [PLAIN, PLAIN], "ear")


def test_the_engines_levels_move_with_the_gain_alone() -> None:
    """100 times the power: 20 dB in both; the suspect's beat changes neither."""
    quiet, loud = (engine_levels(hearing(gain=gain), OWN, 0.5) for gain in (1.0, 100.0))
    assert np.subtract(loud, quiet) == pytest.approx([20.0, 20.0], abs=0.01)
    assert engine_levels(hearing(depth=0.9), OWN, 0.5) == pytest.approx(quiet, abs=0.01)


def test_the_engines_beat_is_the_power_that_swings() -> None:
    """Firing 0.4 deep in all three bands: 1.11e-3 of mean square x sqrt(2 x 0.4^2 / 2)."""
    _, beat = engine_levels(hearing(), OWN, 0.5)
    assert beat == pytest.approx(10.0 * np.log10(1.11e-3 * 0.4), abs=0.05)


def test_no_speed_no_engine() -> None:
    assert engine_levels(hearing(with_orders=False), OWN, 0.5) == (None, None)


def test_the_suspects_tones_are_not_the_engines() -> None:
    """An engine line that is the suspect's own does not count as the engine's."""
    lines, _ = engine_levels(hearing(), OWN, 0.5)
    mine = OwnSound((), tuple(np.arange(2.0, 12.5, 0.5)), 1200.0, 4000.0)
    without, _ = engine_levels(hearing(), mine, 0.5)
    assert lines is not None
    assert without is not None
    assert without < lines
