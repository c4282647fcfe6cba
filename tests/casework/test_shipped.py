"""The tables that ship: whole, of one mind with the words of the trade, and safe to follow.

The figures themselves are common practice without a source; what is checked is that they lean the
way the trade says they must.
"""

import math
import re
from pathlib import Path

import pytest

from beltside.base.words import FAULTS, PARTS, PULLEY_PARTS
from beltside.casework.shipped import bearing_table, catalogue, costs
from beltside.suspects.catalogue import all_suspects_for, check_done, checks_for, suspects_for
from beltside.suspects.costs import repairs_for

DOCS = Path(__file__).resolve().parents[2] / "docs"
EVERY_PULLEY = (*PULLEY_PARTS, "idler-2")


def pairs():
    return checks_for(catalogue(), EVERY_PULLEY)


def suspects():
    return suspects_for(catalogue(), EVERY_PULLEY)


def likely(check, suspect, part=None):
    found = next(s for s in suspects() if s.id == suspect)
    return catalogue().check(check).likelihoods(found, part)


def test_every_part_and_fault_of_the_trade_has_a_suspect():
    assert {s.part for s in suspects()} - {"other", "idler-2"} == set(PARTS)
    assert {s.fault for s in suspects()} - {""} == set(FAULTS)
    assert {"none", "other"} <= {s.id for s in suspects()}


def test_every_driven_pulley_can_have_a_bad_bearing():
    bearings = {s.part for s in suspects() if s.fault == "bearing"}
    assert bearings == set(EVERY_PULLEY) - {"crank"}


def test_every_row_is_a_distribution_for_every_suspect():
    for check, part in pairs():
        for suspect in suspects():
            row = check.likelihoods(suspect, part)
            assert list(row) == [outcome.word for outcome in check.outcomes]
            assert math.isclose(sum(row.values()), 1.0)
            assert min(row.values()) >= 0.005


def test_every_fault_behind_the_belt_is_told_from_a_healthy_engine_by_some_check():
    healthy = next(s for s in suspects() if s.id == "none")
    for suspect in suspects():
        if suspect.id in ("none", "other") or not suspect.belt_driven:
            continue
        ratios = [
            check.likelihoods(suspect, part)[outcome.word]
            / check.likelihoods(healthy, part)[outcome.word]
            for check, part in pairs()
            for outcome in check.outcomes
        ]
        assert max(ratios) > 3.0, suspect.id


@pytest.mark.parametrize(
    ("check", "part", "outcome", "raised", "lowered"),
    [
        ("spin-by-hand", "coolant-pump", "rough", "coolant-pump.bearing", "idler.bearing"),
        ("spin-by-hand", "idler-2", "rough", "idler-2.bearing", "idler.bearing"),
        ("spin-by-hand", "idler", "smooth", "idler-2.bearing", "idler.bearing"),
        ("wiggle", "fan", "play", "fan.bearing", "none"),
        ("wiggle", "crank", "play", "crank.damper", "engine.knock"),
        ("weep-hole", "coolant-pump", "marks", "coolant-pump.seal", "coolant-pump.impeller"),
        ("water-mist", None, "chirp-stops", "belt.misalignment", "belt.slip"),
        ("water-mist", None, "squeal-louder", "belt.slip", "belt.misalignment"),
        ("belt-off-run", None, "noise-gone", "tensioner.rattle", "timing-chain.rattle"),
        ("belt-off-run", None, "noise-stays", "valve-train.tick", "alternator.bearing"),
        ("belt-look", None, "glazed", "belt.slip", "belt.damage"),
        ("electrical-load", None, "louder", "alternator.electrical", "alternator.bearing"),
        ("ac-switch", "ac-compressor", "changes", "ac-compressor.clutch", "idler.bearing"),
        ("steering-turn", "steering-pump", "louder", "steering-pump.whine", "fan.clutch"),
        ("decoupler-hold", "alternator", "seized", "alternator.decoupler", "alternator.bearing"),
        ("straight-edge", None, "out", "belt.misalignment", "belt.slip"),
        ("ear-sides", None, "front", "idler.bearing", "valve-train.tick"),
        ("ear-sides", None, "top", "valve-train.tick", "engine.knock"),
        ("ear-tube", "idler", "here", "idler.bearing", "idler-2.bearing"),
        ("probe-housing", "alternator", "loud", "alternator.bearing", "idler.bearing"),
        ("probe-engine", None, "front-cover", "timing-chain.rattle", "valve-train.tick"),
        ("throttle-blip", None, "squeals", "belt.slip", "timing-chain.rattle"),
        ("cold-warm", None, "fades", "timing-chain.rattle", "alternator.bearing"),
        ("run-down", None, "rattles", "alternator.decoupler", "alternator.bearing"),
        ("charge-ripple", "alternator", "high", "alternator.electrical", "alternator.bearing"),
        ("clutch-gap", "ac-compressor", "rubbing", "ac-compressor.clutch", "idler.bearing"),
        ("steering-fluid", "steering-pump", "foamy-or-low", "steering-pump.whine", "fan.clutch"),
        ("belt-back", None, "frayed", "belt.misalignment", "belt.slip"),
        ("belt-press", None, "slack", "belt.slip", "belt.misalignment"),
        ("belt-watch", None, "wanders", "belt.misalignment", "belt.slip"),
        ("tensioner-mark", "tensioner", "at-the-end", "belt.slip", "tensioner.bearing"),
        ("tensioner-travel", "tensioner", "no-drag", "tensioner.rattle", "tensioner.bearing"),
        ("arm-swing", "tensioner", "swings", "tensioner.rattle", "idler.bearing"),
        ("damper-watch", "crank", "wobbles", "crank.damper", "engine.knock"),
        ("fan-turn", "fan", "solid", "fan.clutch", "fan.bearing"),
        ("spin-on", "idler", "spins-on", "idler.bearing", "idler-2.bearing"),
        ("pulley-face", "crank", "worn", "crank.damper", "none"),
        ("coolant-level", "coolant-pump", "low", "coolant-pump.seal", "coolant-pump.impeller"),
        ("cap-pressure", "coolant-pump", "drops", "coolant-pump.seal", "coolant-pump.impeller"),
        ("oil-level", None, "low", "engine.knock", "idler.bearing"),
        ("oil-filler", None, "varnish", "timing-chain.rattle", "exhaust-leak.tick"),
        ("cylinder-cut", None, "changes", "engine.knock", "valve-train.tick"),
        ("hose-pinch", None, "changes", "vacuum-leak.hiss", "exhaust-leak.tick"),
        ("exhaust-feel", None, "blows", "exhaust-leak.tick", "vacuum-leak.hiss"),
    ],
)
def test_outcomes_lean_the_way_the_trade_says(check, part, outcome, raised, lowered):
    # Common practice, no source: which of two suspects an outcome speaks for.
    assert likely(check, raised, part)[outcome] > 1.5 * likely(check, lowered, part)[outcome]


def test_the_finding_of_the_format_description_is_understood():
    done = check_done(catalogue(), EVERY_PULLEY, "spin-by-hand", "coolant-pump", "rough")
    assert (done.part, done.outcome.word) == ("coolant-pump", "rough")


def test_the_docs_list_every_check_with_its_outcomes():
    lines = (DOCS / "formats.md").read_text(encoding="utf-8").splitlines()
    for check in catalogue().checks:
        (line,) = [line for line in lines if line.startswith(f"| `{check.id}` |")]
        on, outcomes = line.split("|")[2:4]
        assert re.findall("`([^`]+)`", on) == list(check.parts)
        assert re.findall("`([^`]+)`", outcomes) == [outcome.word for outcome in check.outcomes]


def test_what_can_hurt_says_so():
    for check in catalogue().checks:
        if check.engine == "running":
            assert "Engine running" in check.hazard, check.id
        if check.engine == "running" and check.belt == "off":
            assert "minute" in check.hazard, check.id
        if check.belt == "off" and check.engine == "off":
            assert "Engine off" in check.hazard, check.id
        assert check.cautions, check.id


def test_texts_are_for_people():
    for suspect in suspects():
        assert "." not in suspect.sounds, suspect.id
        assert "-" not in suspect.name.replace("A/C", ""), suspect.id
    assert len({s.name for s in suspects()}) == len(suspects())
    for check in catalogue().checks:
        assert all(sentence.endswith(".") for sentence in (check.hazard, *check.cautions))


def test_belt_driven_means_it_hangs_on_the_belt():
    engine_side = {s.id for s in suspects() if not s.belt_driven}
    assert engine_side == {
        "crank.damper",
        "timing-chain.rattle",
        "timing-chain.whine",
        "valve-train.tick",
        "vacuum-leak.hiss",
        "exhaust-leak.tick",
        "engine.knock",
        "none",
        "other",
    }


def test_every_suspect_can_be_put_right_and_each_pair_by_its_two():
    everyone = all_suspects_for(catalogue(), EVERY_PULLEY)
    cured = [word for repair in repairs_for(costs(), everyone) for word in repair.cures]
    single = [suspect.id for suspect in everyone if not suspect.members]
    assert sorted(cured) == sorted(single)


def test_common_pairs_are_there_and_rarer_than_either_alone():
    # Common practice, no source: a leaking seal washes out the pump's bearing, and so on.
    everyone = {suspect.id: suspect for suspect in all_suspects_for(catalogue(), EVERY_PULLEY)}
    pairs = [suspect for suspect in everyone.values() if suspect.members]
    assert "coolant-pump.seal+coolant-pump.bearing" in everyone
    for pair in pairs:
        assert all(pair.weight < everyone[member.id].weight for member in pair.members)
        assert "." not in pair.sounds
        assert "-" not in pair.name.replace("A/C", "")
    assert len({suspect.name for suspect in everyone.values()}) == len(everyone)


def test_about_as_many_suspects_and_checks_as_a_technician_knows():
    assert 30 <= len(catalogue().suspects) + len(catalogue().pairs) <= 45
    assert 35 <= len(catalogue().checks) <= 45


def test_every_check_says_what_it_costs_if_it_goes_wrong():
    for check in catalogue().checks:
        assert check.mishap is not None, check.id
        assert check.mishap.what, check.id


def test_tables_are_read_once():
    assert catalogue() is catalogue()
    assert bearing_table() is bearing_table()
    assert "6203" in bearing_table()
