"""The results and their JSON: the shape other programs rely on, finite, summing to one."""

from __future__ import annotations

import importlib.util
import json
import math
from pathlib import Path
from types import ModuleType
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.casework.results import (
    Because,
    Crank,
    ExplainedLine,
    FindResult,
    ListenResult,
    NextCheck,
    OrderSpectrum,
    Spectrogram,
    SuspectOdds,
    rounded_to_one,
    thin_track,
)
from beltside.sound.track import CrankTrack

NUMBER = {"type": "number"}
TEXT = {"type": "string"}
WARNINGS = {"type": "array", "items": TEXT}
CRANK = {
    "type": ["object", "null"],
    "required": ["rpm_median", "rpm_low", "rpm_high", "confidence", "track"],
    "properties": {
        "rpm_median": NUMBER,
        "rpm_low": NUMBER,
        "rpm_high": NUMBER,
        "confidence": {"type": "number", "minimum": 0, "maximum": 1},
        "track": {
            "type": "array",
            "maxItems": 600,
            "items": {"type": "array", "prefixItems": [NUMBER, NUMBER], "minItems": 2,
                      "maxItems": 2},
        },
    },
}  # fmt: skip
LINE = {
    "type": "object",
    "required": ["part", "source", "order", "level_db", "significance"],
    "properties": {
        "part": TEXT,
        "source": TEXT,
        "order": NUMBER,
        "level_db": NUMBER,
        "significance": NUMBER,
    },
}
LISTEN = {
    "type": "object",
    "required": ["crank", "crank_reason", "lines", "warnings"],
    "properties": {
        "crank": CRANK,
        "crank_reason": {"type": ["string", "null"]},
        "lines": {"type": "array", "items": LINE},
        "warnings": WARNINGS,
    },
}
BECAUSE = {
    "type": "object",
    "required": ["from", "says", "bits"],
    "properties": {"from": TEXT, "says": TEXT, "bits": NUMBER},
}
SUSPECT = {
    "type": "object",
    "required": ["id", "probability", "because"],
    "properties": {
        "id": TEXT,
        "probability": {"type": "number", "minimum": 0, "maximum": 1},
        "because": {"type": "array", "items": BECAUSE},
    },
}
CHECK = {
    "type": "object",
    "required": ["check", "part", "minutes", "worth", "why"],
    "properties": {
        "check": TEXT,
        "part": TEXT,
        "minutes": NUMBER,
        "worth": NUMBER,
        "why": TEXT,
    },
}
FIND = {
    "type": "object",
    "required": ["suspects", "next_checks", "crank", "warnings"],
    "properties": {
        "suspects": {"type": "array", "items": SUSPECT},
        "next_checks": {"type": "array", "items": CHECK},
        "crank": {"type": "object", "additionalProperties": CRANK},
        "warnings": WARNINGS,
    },
}


@pytest.fixture(scope="module")
def made() -> ModuleType:
    path = Path(__file__).parent.parent / "proof" / "made_results.py"
    spec = importlib.util.spec_from_file_location("made_results_for_casework", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def check_json(value: dict[str, Any], schema: dict[str, Any]) -> None:
    """`value` keeps to `schema` after a trip through JSON text, which holds no NaN."""
    text = json.dumps(value, allow_nan=False)
    jsonschema.Draft202012Validator(schema).validate(json.loads(text))


def odds(*probabilities: float) -> tuple[SuspectOdds, ...]:
    names = ["none", "other", *(f"idler-{n}.bearing" for n in range(len(probabilities)))]
    return tuple(
        SuspectOdds(name, name, probability)
        for name, probability in zip(names, probabilities, strict=False)
    )


def test_listen_json_keeps_its_shape(made: ModuleType) -> None:
    value = made.listen_result().to_json()
    check_json(value, LISTEN)
    assert value["crank_reason"] is None
    assert len(value["lines"]) == len(made.LINES)


def test_without_a_crank_speed_the_json_says_why(made: ModuleType) -> None:
    value = made.deaf_result().to_json()
    check_json(value, LISTEN)
    assert value["crank"] is None
    assert "wind" in value["crank_reason"]


def test_find_json_keeps_its_shape(made: ModuleType) -> None:
    value = made.find_result().to_json()
    check_json(value, FIND)
    assert {"none", "other"} <= {suspect["id"] for suspect in value["suspects"]}
    assert value["crank"]["wind.webm"] is None
    assert "wind" in value["crank_reasons"]["wind.webm"]


@settings(max_examples=60)
@given(st.lists(st.floats(min_value=1e-9, max_value=1.0), min_size=2, max_size=60))
def test_probabilities_in_the_json_sum_to_one(weights: list[float]) -> None:
    total = math.fsum(weights)
    value = FindResult(odds(*(weight / total for weight in weights))).to_json()
    given_out = [suspect["probability"] for suspect in value["suspects"]]
    assert math.fsum(given_out) == pytest.approx(1.0, abs=1e-12)
    assert all(0.0 <= probability <= 1.0 for probability in given_out)


def test_rounding_to_one_leaves_no_probability_negative() -> None:
    assert rounded_to_one([]) == []
    assert min(rounded_to_one([0.5e-6] * 40 + [1.0 - 20e-6])) >= 0.0


def test_a_suspect_list_that_does_not_sum_to_one_is_refused() -> None:
    with pytest.raises(ValueError, match=r"sum to 0\.9"):
        FindResult(odds(0.5, 0.4))


def test_a_suspect_list_without_none_or_other_is_refused() -> None:
    with pytest.raises(ValueError, match="leave out other"):
        FindResult((SuspectOdds("none", "nothing", 1.0),))


@pytest.mark.parametrize(
    ("low", "median", "high"), [(800, 760, 820), (740, 760, 750), (0, 0, 0), (math.nan, 1, 2)]
)
def test_a_speed_range_that_does_not_rise_is_refused(
    low: float, median: float, high: float
) -> None:
    with pytest.raises(ValueError, match="rpm"):
        Crank(median, low, high, 0.9)


def test_a_confidence_is_a_share() -> None:
    with pytest.raises(ValueError, match="confidence"):
        Crank(760.0, 750.0, 770.0, 1.2)


def test_a_missing_speed_without_a_reason_is_refused() -> None:
    with pytest.raises(ValueError, match="why"):
        ListenResult("a.wav", None, None)


def test_an_overwhelming_line_is_given_as_the_limit() -> None:
    line = ExplainedLine("crank", "firing", 2.0, -40.0, math.inf)
    assert line.to_json()["significance"] == 300.0


@pytest.mark.parametrize("field", ["order", "level_db", "excess_db", "significance"])
def test_a_line_with_a_number_missing_is_refused(field: str) -> None:
    numbers = {"order": 2.0, "level_db": -40.0, "excess_db": 9.0, "significance": 3.0}
    with pytest.raises(ValueError, match=field):
        ExplainedLine("crank", "firing", **{**numbers, field: math.nan})


def test_a_line_comes_from_one_of_two_spectra() -> None:
    with pytest.raises(ValueError, match="'cepstrum'"):
        ExplainedLine("crank", "firing", 2.0, -40.0, 3.0, spectrum="cepstrum")


def test_numbers_that_are_not_finite_never_reach_the_json() -> None:
    with pytest.raises(ValueError, match="bits"):
        Because("a.wav", "a line", math.inf).to_json()
    with pytest.raises(ValueError, match="worth"):
        NextCheck("spin-by-hand", "idler", 3.0, math.nan, "why").to_json()


def test_a_long_track_is_thinned_and_keeps_its_ends() -> None:
    time_s = np.linspace(0.0, 600.0, 12_001)
    rpm = 760.0 + 40.0 * np.sin(time_s / 50.0)
    crank = Crank.from_track(CrankTrack(time_s, rpm, rpm - 3.0, rpm + 4.0), 0.9)
    assert len(crank.track) == 600
    assert crank.track[0] == (0.0, 760.0)
    assert crank.track[-1] == (600.0, pytest.approx(rpm[-1]))
    points = dict(zip(time_s.tolist(), rpm.tolist(), strict=True))
    assert all(points[t_s] == value for t_s, value in crank.track)
    assert crank.rpm_high - crank.rpm_median == pytest.approx(4.0)
    assert crank.rpm_median - crank.rpm_low == pytest.approx(3.0)


def test_a_short_track_stays_whole() -> None:
    time_s = np.array([0.0, 0.5, 1.0])
    assert thin_track(time_s, time_s + 700.0) == ((0.0, 700.0), (0.5, 700.5), (1.0, 701.0))


def test_picture_arrays_must_fit_together() -> None:
    with pytest.raises(ValueError, match="shape"):
        Spectrogram(np.zeros(3), np.zeros(4), np.zeros((3, 4)))
    with pytest.raises(ValueError, match="shape"):
        OrderSpectrum(np.zeros(3), np.zeros(3), np.zeros(4))
