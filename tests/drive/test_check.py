"""What a drive sheet may hold, on and over its edges."""

from dataclasses import replace

import pytest

from beltside.base.errors import InputError
from beltside.drive.check import check_sheet, key_path, sheet_problems
from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley

CRANK = Pulley("crank", 138.0)
ALTERNATOR = Pulley("alternator", 55.0)


def sheet(*pulleys, engine=None, belt=None):
    return DriveSheet(engine or Engine(4), belt or Belt(), pulleys)


@pytest.mark.parametrize(
    "good",
    [
        sheet(),
        sheet(CRANK),
        sheet(CRANK, ALTERNATOR),
        sheet(CRANK, Pulley("idler", 70.0, face="back"), Pulley("idler-2", 70.0)),
        sheet(engine=Engine(16, 2, 300.0, 10)),
        sheet(engine=Engine(1, 4, 2000.0, 60)),
        sheet(CRANK, replace(ALTERNATOR, diameter_mm=20.0, poles=2, x_mm=2000.0, y_mm=-2000.0)),
        sheet(CRANK, replace(ALTERNATOR, diameter_mm=400.0, poles=48)),
        sheet(CRANK, replace(ALTERNATOR, bearing=Bearing(3, 20.0, 28.5))),
        sheet(CRANK, replace(ALTERNATOR, bearing=Bearing(30, 2.9, 28.5, 45.0))),
    ],
)
def test_good_sheets_pass(good):
    assert sheet_problems(good) == ()
    assert check_sheet(good) is good


@pytest.mark.parametrize(
    ("bad", "where", "says"),
    [
        (sheet(engine=Engine(7)), "engine.cylinders", "7"),
        (sheet(engine=Engine(4, strokes=3)), "engine.strokes", "2, 4"),
        (sheet(engine=Engine(4, idle_rpm=299.0)), "engine.idle_rpm", "300 to 2000"),
        (sheet(engine=Engine(4, idle_rpm=float("nan"))), "engine.idle_rpm", "nan"),
        (sheet(engine=Engine(4, crank_sprocket_teeth=9)), "engine.crank_sprocket_teeth", "10"),
        (sheet(belt=Belt(profile="pK")), "belt.profile", "PK"),
        (sheet(belt=Belt(ribs=1)), "belt.ribs", "2 to 14"),
        (sheet(belt=Belt(length_mm=float("inf"))), "belt.length_mm", "4000"),
        (sheet(ALTERNATOR), "pulley", "crank"),
        (sheet(CRANK, CRANK), "pulley 2, part", "first at pulley 1"),
        (sheet(CRANK, ALTERNATOR, ALTERNATOR), "pulley 3, part", "alternator-2"),
        (sheet(CRANK, Pulley("alternater", 55.0)), "pulley 2, part", '"alternator"'),
        (sheet(CRANK, Pulley("crank-2", 55.0)), "pulley 2, part", "crank"),
        (sheet(CRANK, Pulley("belt", 55.0)), "pulley 2, part", "not a pulley"),
        (sheet(CRANK, replace(ALTERNATOR, face="bak")), "pulley 2, face", '"back"'),
        (sheet(CRANK, replace(ALTERNATOR, diameter_mm=19.9)), "pulley 2, diameter_mm", "20 to 400"),
        (sheet(CRANK, replace(ALTERNATOR, diameter_mm=401.0)), "pulley 2, diameter_mm", "mm"),
        (sheet(CRANK, replace(ALTERNATOR, x_mm=3.0)), "pulley 2, y_mm", "without y_mm"),
        (sheet(CRANK, replace(ALTERNATOR, y_mm=3.0)), "pulley 2, x_mm", "without x_mm"),
        (sheet(CRANK, replace(ALTERNATOR, poles=7)), "pulley 2, poles", "14"),
        (
            sheet(CRANK, replace(ALTERNATOR, bearing=Bearing(2, 6.0, 28.5))),
            "pulley 2, bearing.balls",
            "3 to 30",
        ),
        (
            # 28.5 sin(180/8) = 10.9 mm is the chord between neighbouring centres.
            sheet(CRANK, replace(ALTERNATOR, bearing=Bearing(8, 10.95, 28.5))),
            "pulley 2, bearing",
            "10.9",
        ),
        (
            sheet(CRANK, replace(ALTERNATOR, bearing=Bearing(3, 30.0, 28.5))),
            "pulley 2, bearing",
            "do not fit",
        ),
    ],
)
def test_each_problem_says_where_and_what(bad, where, says):
    (problem,) = sheet_problems(bad)
    assert key_path(problem.where) == where
    assert says in f"{problem.given} {problem.allowed} {problem.instead}"
    with pytest.raises(InputError, match=where):
        check_sheet(bad)


def test_all_problems_are_named_at_once():
    bad = sheet(replace(ALTERNATOR, face="side", poles=3), engine=Engine(7, strokes=1))
    assert [key_path(p.where) for p in sheet_problems(bad)] == [
        "engine.cylinders",
        "engine.strokes",
        "pulley",
        "pulley 1, face",
        "pulley 1, poles",
    ]
    with pytest.raises(InputError, match=r"cylinders.*strokes.*crank.*face.*poles"):
        check_sheet(bad)
