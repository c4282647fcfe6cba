"""A wrong diameter is named, a healthy sheet is left in peace."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from belt_drives import TARN, moved

from beltside.base.errors import InputError
from beltside.drive.diameters import HeardShaft, doubted_diameter
from beltside.drive.ratios import shaft_ratios

HEARD = ("alternator", "ac-compressor", "steering-pump", "coolant-pump")


def heard(sheet, rng, parts=HEARD):
    """Speeds of the true drive with any plausible lines and creep."""
    line, back = rng.uniform(0.0, 2.0), rng.uniform(1.0, 4.0)
    ratios = shaft_ratios(sheet, line, back)
    return [
        HeardShaft(
            part,
            ratios[part] * (1.0 - rng.uniform(0.0, 0.005)) * (1.0 + rng.normal(0.0, 4e-4)),
            5e-4,
        )
        for part in parts
    ]


def measured(sheet, rng):
    """The sheet as a careful technician writes it: half a per cent off at most."""
    return replace(
        sheet,
        pulleys=tuple(
            replace(p, diameter_mm=p.diameter_mm * (1.0 + rng.uniform(-0.005, 0.005)))
            for p in sheet.pulleys
        ),
    )


def test_the_wrong_pulley_is_named_with_about_its_true_size():
    rng = np.random.default_rng(54)
    named, close = 0, 0
    for _ in range(40):
        truth = moved(TARN, "alternator", diameter_mm=54.2)
        written = moved(measured(truth, rng), "alternator", diameter_mm=57.5)
        doubt = doubted_diameter(written, heard(truth, rng))
        if doubt is not None:
            assert doubt.part == "alternator"
            assert doubt.measured_mm == 57.5
            named += 1
            close += doubt.low_mm <= 54.2 <= doubt.high_mm
    assert named >= 32
    assert close >= 0.8 * named


def test_healthy_sheets_raise_no_doubt():
    rng = np.random.default_rng(7)
    for _ in range(150):
        assert doubted_diameter(measured(TARN, rng), heard(TARN, rng)) is None


def test_two_shafts_are_too_few():
    rng = np.random.default_rng(1)
    truth = moved(TARN, "alternator", diameter_mm=50.0)
    assert doubted_diameter(TARN, heard(truth, rng, HEARD[:2])) is None
    assert doubted_diameter(TARN, []) is None


@pytest.mark.parametrize(
    "shafts",
    [
        [HeardShaft("fan", 1.0)],
        [HeardShaft("crank", 1.0)],
        [HeardShaft("alternator", 2.4), HeardShaft("alternator", 2.5)],
        [HeardShaft("alternator", 0.0)],
        [HeardShaft("alternator", 2.4, 0.0)],
    ],
)
def test_speeds_must_be_some(shafts):
    with pytest.raises(InputError):
        doubted_diameter(TARN, shafts)
