"""A whole round, in every simulator: all takes a thorough technician makes, whatever is wrong."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import apprentice
import bystander
import judge
import neighbour
import stranger
import textbook
from beltside.rig import draw_case as draw_rig_case

ROUNDS: dict[str, Callable[..., Any]] = {
    "rig": lambda rng, what: draw_rig_case(rng, truth=what, duration_s=(4.0, 4.5), every_take=True),
    "stranger": lambda rng, what: stranger.draw_case(rng, what, (4.0, 4.5), every_take=True),
    "judge": lambda rng, what: judge.draw_case(rng, what, (4.0, 4.5), every_take=True),
    "textbook": lambda rng, what: textbook.draw_case(rng, what, (4.0, 4.5), every_take=True),
    "bystander": lambda rng, what: bystander.draw_case(rng, what, (4.0, 4.5), every_take=True),
    "apprentice": lambda rng, what: apprentice.draw_case(rng, what, (4.0, 4.5), every_take=True),
    "neighbour": lambda rng, what: neighbour.draw_case(rng, what, (4.0, 4.5), every_take=True),
}
LOAD_ON = {"lights": "alternator", "ac": "ac-compressor", "steering": "steering-pump"}


@pytest.mark.parametrize("what", ["none", "alternator.bearing", "vacuum-leak.hiss"])
@pytest.mark.parametrize("name", ROUNDS)
def test_every_take_is_there_once(name, what):
    case = ROUNDS[name](np.random.default_rng(5), what)
    parts = {pulley.part for pulley in case.sheet.pulleys} - {"crank"}
    front = [take for take in case.takes if take.place == "front of engine"]
    probed = [take.place for take in case.takes if take.place != "front of engine"]
    assert sorted(probed) == sorted({*parts, "timing-chain", "valve-train"})
    assert [take.belt for take in front].count("off") == 1
    assert case.takes[0].belt == "on"
    assert not case.takes[0].load
    loads = [load for take in front for load in take.load]
    assert sorted(loads) == sorted(load for load, part in LOAD_ON.items() if part in parts)
    idle = float(np.median(case.takes[0].truth_rpm))
    fast = [take for take in front if float(np.percentile(take.truth_rpm, 90)) > 1.3 * idle]
    assert len(fast) == 1
    assert case.truth == what
