"""Odds from measures: the conditional logit and its file."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.base.errors import InputError
from beltside.casework.measures import CASE_MEASURES, SUSPECT_MEASURES
from beltside.casework.shipped import catalogue, sound_model
from beltside.suspects.catalogue import suspects_for
from beltside.suspects.sound_model import (
    SoundModel,
    fault_kind,
    parse_sound_model,
    sound_odds,
)

SMALL = SoundModel(
    case_names=("one", "drop"),
    suspect_names=("bearing",),
    weights={
        "bearing": np.array([0.0, 1.0, 2.0]),
        "belt.slip": np.array([0.5, 1.0, 0.0]),
        "none": np.array([1.0, -2.0, 0.0]),
    },
    sharpness=1.0,
    version=1,
)


def test_scores_by_hand() -> None:
    odds = sound_odds(
        SMALL,
        ["idler.bearing", "belt.slip", "none"],
        np.log([0.5, 0.25, 0.25]),
        np.array([1.0, 0.5]),
        {"idler": np.array([0.75])},
    )
    # exp of: ln 0.5 + 0.5 + 1.5; ln 0.25 + 0.5 + 0.5; ln 0.25 + 1 - 1, by hand.
    plain = np.array([0.5 * np.exp(2.0), 0.25 * np.exp(1.0), 0.25])
    assert odds.probability == pytest.approx(plain / plain.sum())


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-3, 3), min_size=3, max_size=3), st.floats(-5, 5))
def test_reasons_add_up_to_the_odds(values: list[float], shift: float) -> None:
    prior = np.log([0.5, 0.3, 0.2]) + shift
    odds = sound_odds(
        SMALL,
        ["idler.bearing", "belt.slip", "none"],
        prior,
        np.array(values[:2]),
        {"idler": np.array(values[2:])},
    )
    bits = odds.parts.sum(axis=1)
    back = np.exp(prior + bits * np.log(2.0))
    assert odds.probability == pytest.approx(back / back.sum())


def test_every_suspect_of_a_full_drive_has_weights() -> None:
    parts = [
        "crank", "coolant-pump", "alternator", "idler", "idler-2", "tensioner", "ac-compressor",
        "steering-pump", "fan",
    ]  # fmt: skip
    for suspect in suspects_for(catalogue(), parts):
        assert fault_kind(suspect.id) in sound_model().weights, suspect.id


def test_the_shipped_model_speaks_of_the_measures_the_code_takes() -> None:
    assert sound_model().case_names == CASE_MEASURES
    assert sound_model().suspect_names == SUSPECT_MEASURES


@pytest.mark.parametrize(
    "change",
    [
        {"weights": {"none": [1.0]}},
        {"weights": {"none": [float("nan")] * 3}},
        {"weights": []},
        {"sharpness": "much"},
        {"case_measures": None},
    ],
)
def test_a_spoilt_model_is_refused(change: dict[str, object]) -> None:
    whole = {
        "version": 1,
        "sharpness": 1.0,
        "case_measures": ["one", "drop"],
        "suspect_measures": ["bearing"],
        "weights": {"none": [1.0, 2.0, 3.0]},
    }
    assert parse_sound_model(whole).weights["none"][2] == 3.0
    with pytest.raises(InputError):
        parse_sound_model(whole | change)


def test_measures_of_the_wrong_length_are_refused() -> None:
    with pytest.raises(InputError, match="measures for none"):
        sound_odds(SMALL, ["none"], np.zeros(1), np.zeros(5), {})
