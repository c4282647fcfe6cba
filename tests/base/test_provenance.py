"""Every result says where it came from."""

import dataclasses
import json
import pickle

import pytest

from beltside.base.provenance import Provenance

FULL = Provenance(
    method="crank-speed",
    version=1,
    inputs={"duration_s": 12.0, "cylinders": 4, "file": "belt-on.m4a", "stated": None},
    valid_range="500 to 7,000 rpm",
    source="own method",
    warnings=("short take",),
)


def test_it_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError):
        FULL.version = 2


def test_nothing_is_shared_between_two_of_them():
    first, second = Provenance("a", 1), Provenance("b", 1)
    assert first.inputs == second.inputs == {}
    assert first.inputs is not second.inputs


def test_it_goes_through_json_and_back_in_plain_values():
    read = json.loads(json.dumps(dataclasses.asdict(FULL)))
    read["warnings"] = tuple(read["warnings"])
    assert Provenance(**read) == FULL


def test_it_travels_to_another_process():
    assert pickle.loads(pickle.dumps(FULL)) == FULL
