"""The charts of a take in German: words translated, figures with a comma, on axes too."""

from __future__ import annotations

import re
from types import ModuleType

import pytest

from beltside.proof.definition import to_svg
from beltside.proof.order_picture import envelope_order_chart, order_spectrum_chart
from beltside.web.texts import said
from beltside.web.texts.figures import number_marks

from ..proof.conftest import load_made_results

POINT = re.compile(r"\d\.\d")


MADE: ModuleType = load_made_results()


def written(chart: object, language: str) -> list[str]:
    decimal, thousands = number_marks(language)
    svg = to_svg(
        chart(MADE.listen_result(), lambda words: said(words, language)),  # type: ignore[operator]
        decimal=decimal,
        thousands=thousands,
    )
    return re.findall(r"<text\b[^>]*>([^<]+)</text>", svg)


@pytest.mark.parametrize("chart", [order_spectrum_chart, envelope_order_chart])
def test_figures_of_a_chart_have_a_comma(chart: object) -> None:
    german, english = written(chart, "de"), written(chart, "en")
    assert [one for one in german if POINT.search(one)] == []
    assert [one for one in english if POINT.search(one)] != []
    # Ticks of the axis, which the drawing library words by itself.
    assert "0,5" in german
    assert "0.5" in english


@pytest.mark.parametrize(
    ("words", "in_german"),
    [
        ("order 3.57", "Ordnung 3,57"),
        ("orders 2, 3.57, 26.4 and on", "Ordnungen 2, 3,57, 26,4 und weiter"),
        ("8.3 dB up", "+8,3 dB"),
    ],
)
def test_labels_of_a_chart(words: str, in_german: str) -> None:
    assert said(words, "de") == in_german
