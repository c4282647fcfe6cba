"""Tables of the benchmark: a figure is met or missed as its target says."""

import math

import pytest

from figures import Figure, table
from peak_memory import status_mb


@pytest.mark.parametrize(
    ("value", "target", "at_least", "met"),
    [
        (1.2, 1.5, False, True),
        (1.5, 1.5, False, True),
        (1.6, 1.5, False, False),
        (5.2, 5.0, True, True),
        (4.9, 5.0, True, False),
        (1.0, None, False, None),
        (math.nan, 1.5, False, None),
    ],
)
def test_met_or_missed(value, target, at_least, met):
    assert Figure("x", value, "s", target, at_least).met is met


def test_table_says_everything_in_words():
    text = table(
        [
            Figure("wrong octave", 0.031, "%", 0.02, note="3 of 97"),
            Figure("memory", 312.4, "MB", 400.0),
            Figure("log loss", 1.234, "nats"),
            Figure("nothing drawn", math.nan, "%", 0.1),
        ]
    )
    assert [line.split("  ")[0] for line in text.splitlines()] == [
        "figure",
        "wrong octave",
        "memory",
        "log loss",
        "nothing drawn",
    ]
    assert "3.1 %" in text
    assert "at most 2 %" in text
    assert "missed" in text.splitlines()[1]
    assert "312 MB" in text.splitlines()[2]
    assert text.splitlines()[2].endswith("met")
    assert "no cases" in text.splitlines()[4]


def test_sizes_of_a_process_as_the_kernel_writes_them():
    # proc(5): "VmHWM: Peak resident set size", in kB of 1024 bytes.
    text = "Name:\tpython\nVmHWM:\t  100000 kB\nVmRSS:\t   50000 kB\n"
    assert status_mb(text, "VmHWM") == pytest.approx(102.4)
    assert status_mb(text, "VmRSS") == pytest.approx(51.2)
    assert status_mb("", "VmRSS") == 0.0
