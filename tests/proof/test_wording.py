"""Words for odds, speeds and the answer: true to the number behind them."""

from __future__ import annotations

import re
from types import ModuleType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from beltside.casework.results import Because, Crank, SuspectOdds
from beltside.proof.wording import (
    answer,
    bits_words,
    crank_sentence,
    minutes_words,
    odds_words,
    order_words,
    percent_words,
    rpm_words,
    weightiest,
)


@settings(max_examples=200)
@given(st.floats(min_value=0.0, max_value=1.0))
def test_odds_in_words_are_near_the_probability(probability: float) -> None:
    match = re.fullmatch(r"(under |over )?(\d+) in (\d+)", odds_words(probability))
    assert match is not None
    said = int(match[2]) / int(match[3])
    if match[1] == "under ":
        assert probability < said
    elif match[1] == "over ":
        assert probability > said
    elif probability >= 0.1:
        assert said == pytest.approx(probability, abs=0.051)
    else:
        assert 1 / 1.42 <= said / probability <= 1.42  # half way to a neighbour twice as far


@settings(max_examples=100)
@given(st.floats(min_value=1e-12, max_value=1.0 - 1e-12))
def test_nothing_open_is_called_certain(probability: float) -> None:
    assert percent_words(probability) not in ("0 %", "100 %")
    assert odds_words(probability) not in ("0 in 10", "10 in 10")


def case(made: ModuleType, *odds: tuple[str, float]) -> str:
    suspects = tuple(SuspectOdds(name, name.replace(".", " "), p) for name, p in odds)
    return answer(made.find_result(suspects))


def test_a_clear_case_names_its_suspect(made: ModuleType) -> None:
    said = case(made, ("idler.bearing", 0.7), ("none", 0.2), ("other", 0.1))
    assert said == "Most likely: idler bearing, 7 in 10 (70 %)."


def test_an_open_case_names_two_and_says_so(made: ModuleType) -> None:
    said = case(made, ("idler.bearing", 0.4), ("belt.slip", 0.35), ("none", 0.15), ("other", 0.1))
    assert said.startswith("Not settled yet. In front: idler bearing, 4 in 10")
    assert "belt slip" in said


def test_a_healthy_case_says_that_nothing_is_wrong(made: ModuleType) -> None:
    said = case(made, ("none", 0.9), ("other", 0.1))
    assert "nothing is wrong" in said


def test_an_unknown_cause_is_called_unknown(made: ModuleType) -> None:
    assert "not on the list" in case(made, ("other", 0.8), ("none", 0.2))


def test_speed_reads_with_its_range() -> None:
    assert rpm_words(Crank(762.0, 755.2, 768.8, 0.97)) == "762 rpm (755 to 769)"


def test_a_raised_speed_tells_what_it_ran_through() -> None:
    track = tuple((float(t), 760.0 + 100.0 * t) for t in range(11))
    said = rpm_words(Crank(1260.0, 1250.0, 1270.0, 0.9, track))
    assert said == "760 to 1760 rpm, median 1260 (1250 to 1270)"


def test_a_missing_speed_gives_its_reason(made: ModuleType) -> None:
    assert crank_sentence(made.deaf_result()).startswith(
        "Crank speed: can't tell. No firing beat stands out"
    )


def test_small_words() -> None:
    assert order_words(3.5714) == "3.57"
    assert order_words(20.0) == "20"
    assert order_words(10.0) == "10"
    assert bits_words(-0.01) == "+0.0 bits"
    assert bits_words(1.0) == "+1.0 bit"
    assert minutes_words(4.0) == "4 minutes"


def test_the_weightiest_reasons_stay_in_their_order() -> None:
    reasons = [Because("a", str(n), bits) for n, bits in enumerate([0.1, -3.0, 2.0, 0.5])]
    assert [reason.says for reason in weightiest(reasons, 2)] == ["1", "2"]
