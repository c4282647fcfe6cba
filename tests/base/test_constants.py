"""Constants against other ways to the same figure."""

import dataclasses
import math
import re

import pytest

from beltside.base import constants
from beltside.base.constants import PK_PITCH_LINE, SOUND_SPEED, Constant

ALL = {name: value for name, value in vars(constants).items() if isinstance(value, Constant)}


def test_speed_of_sound_is_that_of_an_ideal_gas():
    """c = sqrt(kappa R T / M): kappa 1.400, R and M of dry air as in the US Standard Atmosphere
    1976 (8314.32 J/(kmol K), 28.9644 kg/kmol), at 293.15 K."""
    speed = math.sqrt(1.400 * 8314.32 / 28.9644 * 293.15)
    assert pytest.approx(speed, rel=5e-4) == SOUND_SPEED.value
    assert SOUND_SPEED.unit == "m/s"


def test_pk_pitch_line_lies_inside_the_belt():
    """A PK belt is 4 to 6 mm high and its ribs about 2 to 3 mm deep (ISO 9982, from memory)."""
    assert 0.0 < PK_PITCH_LINE.value < 4.0
    assert PK_PITCH_LINE.unit == "mm"


@pytest.mark.parametrize("name", ALL)
def test_each_names_a_unit_and_a_dated_source(name):
    constant = ALL[name]
    assert math.isfinite(constant.value)
    assert constant.unit.strip() == constant.unit != ""
    assert re.search(r"\b(18|19|20)\d\d\b", constant.source)


def test_a_constant_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError):
        SOUND_SPEED.value = 340.0
