"""What the path tells the listening."""

from __future__ import annotations

from dataclasses import replace

import pytest

from beltside.casework.drive_orders import doubted_diameters, with_path
from beltside.casework.results import Crank, ExplainedLine
from beltside.drive.expected import expected_orders
from beltside.drive.path import belt_path
from beltside.drive.ratios import belt_passing_range, shaft_ratios
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley

SHEET = DriveSheet(
    Engine(4),
    Belt(ribs=6),
    (
        Pulley("crank", 138.0, x_mm=0, y_mm=0),
        Pulley("ac-compressor", 112.0, x_mm=-195, y_mm=60),
        Pulley("alternator", 55.0, x_mm=-150, y_mm=265, poles=12),
        Pulley("steering-pump", 120.0, x_mm=150, y_mm=275, vanes=10),
    ),
)
CRANK = {"front": Crank(760.0, 758.0, 762.0, 0.99)}


def test_positions_give_the_belt_passing_its_order():
    found = with_path(SHEET)
    length = belt_path(SHEET).effective_length_mm
    assert found.sheet.belt.length_mm == pytest.approx(length)
    assert any("worked out" in note for note in found.notes)
    belt = [one for one in expected_orders(found.sheet, 3.0) if one.part == "belt"]
    assert belt
    low, high = belt_passing_range(found.sheet)
    # The cords' travel per crank turn over their length, with the standard's 2 mm.
    exact = 3.14159265 * 142.0 / (length + 4.0 * 3.14159265)
    assert low < exact < high
    assert high / low < 1.08


def test_a_length_off_the_belt_stands():
    marked = replace(SHEET, belt=Belt(length_mm=1500.0))
    assert with_path(marked).sheet is marked
    bare = replace(SHEET, pulleys=tuple(replace(p, x_mm=None, y_mm=None) for p in SHEET.pulleys))
    assert with_path(bare).sheet is bare


def test_impossible_positions_are_noted_not_refused():
    clash = replace(
        SHEET, pulleys=(*SHEET.pulleys[:3], replace(SHEET.pulleys[3], x_mm=-140.0, y_mm=260.0))
    )
    found = with_path(clash)
    assert found.sheet is clash
    assert "overlap" in found.notes[0]


def lines(sheet, line_mm=1.2, significance=20.0):
    ratios = shaft_ratios(sheet, line_mm, 2.5)
    made = []
    for pulley in sheet.pulleys[1:]:
        turns = 0.9975 * ratios[pulley.part]
        counts = {"shaft": 1, "poles": pulley.poles, "vanes": pulley.vanes}
        for source, count in counts.items():
            for harmonic in (1, 2):
                if count:
                    made.append(
                        ExplainedLine(
                            pulley.part,
                            source,
                            count * harmonic * turns,
                            -40.0,
                            significance,
                            harmonic=harmonic,
                        )
                    )
    return {"front": made}


def measured(**changes):
    return replace(
        SHEET,
        pulleys=tuple(
            replace(p, diameter_mm=changes.get(p.part.replace("-", "_"), p.diameter_mm))
            for p in SHEET.pulleys
        ),
    )


def test_the_wrong_pulley_is_named():
    (said,) = doubted_diameters(measured(alternator=57.5), lines(SHEET), CRANK)
    assert said.startswith("Your alternator pulley is nearer 5")
    assert "57.5 mm" in said


def test_a_healthy_sheet_and_weak_evidence_say_nothing():
    for line_mm in (0.0, 1.0, 2.0):
        careful = measured(crank=138.5, alternator=54.8, steering_pump=120.5)
        assert doubted_diameters(careful, lines(SHEET, line_mm), CRANK) == ()
    wrong = measured(alternator=57.5)
    assert doubted_diameters(wrong, lines(SHEET, significance=3.0), CRANK) == ()
    unsure = {"front": Crank(760.0, 758.0, 762.0, 0.8)}
    assert doubted_diameters(wrong, lines(SHEET), unsure) == ()
    assert doubted_diameters(wrong, lines(SHEET), {"front": None}) == ()
    assert doubted_diameters(wrong, {}, CRANK) == ()
