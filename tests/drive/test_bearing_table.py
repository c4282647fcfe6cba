"""Bearings by number."""

import pytest

from beltside.base.errors import InputError
from beltside.drive.bearing_table import find_bearing, parse_bearing_table

ROW = {
    "balls": 8,
    "ball_mm": 6.746,
    "pitch_mm": 28.5,
    "source": "counted and measured",
    "sure": "memory",
}


@pytest.mark.parametrize("number", ["6203", "6203-2RS", "6203 2Z C3", "6203ddu", " 6203 "])
def test_suffixes_do_not_change_the_geometry(number):
    found = find_bearing(number, parse_bearing_table({"6203": ROW}))
    assert (found.bearing.balls, found.bearing.number) == (8, "6203")


def test_an_unknown_number_names_the_nearest():
    with pytest.raises(InputError, match='"6203"'):
        find_bearing("6230", parse_bearing_table({"6203": ROW}))
    with pytest.raises(InputError, match="its geometry"):
        find_bearing("needle", parse_bearing_table({"6203": ROW}))


def test_all_that_is_wrong_with_a_table_is_named():
    with pytest.raises(InputError) as caught:
        parse_bearing_table(
            {
                "1": {**ROW, "bals": 3},
                "2": {**ROW, "ball_mm": "big"},
                "3": {**ROW, "sure": "guess"},
                "4": {**ROW, "balls": 16},
                "5": "6203",
                "6": {**ROW, "balls": True},
            }
        )
    said = str(caught.value)
    for words in ("1.bals", "nearest: balls", "2.ball_mm", "3.sure", "do not fit", "5 is", "6.ba"):
        assert words in said
