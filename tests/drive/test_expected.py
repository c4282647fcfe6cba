"""The list of orders to look for, checked by counting what a mechanic would count."""

import pytest

from beltside.base.errors import OutOfRangeError
from beltside.drive.expected import expected_orders, firing_order
from beltside.drive.sheet import Bearing, Belt, DriveSheet, Engine, Pulley

BEARING = Bearing(balls=8, ball_mm=6.75, pitch_mm=28.5)

TARN = DriveSheet(
    engine=Engine(cylinders=4, idle_rpm=760.0, crank_sprocket_teeth=20),
    belt=Belt(ribs=6, length_mm=1230.0),
    pulleys=(
        Pulley("crank", 138.0),
        Pulley("alternator", 55.2, poles=12, fan_blades=11, bearing=BEARING),
        Pulley("idler", 69.0, face="back", bearing=BEARING),
        Pulley("coolant-pump", 110.4, vanes=7, bearing=BEARING),
    ),
)


def first(part, source, sheet=TARN):
    (found,) = [
        e
        for e in expected_orders(sheet, 500.0)
        if (e.part, e.source, e.harmonic) == (part, source, 1)
    ]
    return found


@pytest.mark.parametrize(
    ("part", "source", "order"),
    [
        ("engine", "firing", 2.0),
        ("engine", "cycle", 0.5),
        ("timing-chain", "sprocket mesh", 20.0),
        ("crank", "shaft", 1.0),
        ("alternator", "shaft", 2.5),
        ("alternator", "poles", 30.0),
        ("alternator", "pole pairs", 15.0),
        ("alternator", "rectifier", 90.0),
        ("alternator", "fan blades", 27.5),
        ("coolant-pump", "vanes", 8.75),
        ("idler", "shaft", 2.0),
    ],
)
def test_counts_by_hand(part, source, order):
    # 138 / 55.2 = 2.5, 138 / 69 = 2, 138 / 110.4 = 1.25; the rest is counting.
    assert first(part, source).order == pytest.approx(order)


def test_bearing_orders_use_the_shaft_and_the_ring_that_turns():
    # Published for the 6203 (Case Western Reserve University bearing data): outer 3.0530, inner
    # 4.9469, cage 0.3817, twice the ball 3.9874 per turn.
    pump = {name: first("coolant-pump", name) for name in ("outer race", "inner race", "cage")}
    assert pump["outer race"].order == pytest.approx(1.25 * 3.0530, rel=1e-3)
    assert pump["inner race"].order == pytest.approx(1.25 * 4.9469, rel=1e-3)
    assert pump["cage"].order == pytest.approx(1.25 * 0.3817, rel=1e-3)
    assert first("coolant-pump", "ball").order == pytest.approx(1.25 * 3.9874 / 2, rel=1e-3)
    assert first("idler", "outer race").order == pytest.approx(2 * 3.0530, rel=1e-3)
    assert first("idler", "cage").order == pytest.approx(2 * (1 - 0.3817), rel=1e-3)


def test_sidebands_stand_beside_the_flaw_that_moves_through_the_load():
    assert first("coolant-pump", "outer race").sidebands == ()
    assert first("coolant-pump", "inner race").sidebands == pytest.approx((1.25,))
    assert first("coolant-pump", "ball").sidebands == pytest.approx((1.25 * 0.3817,), rel=1e-3)
    assert first("idler", "outer race").sidebands == pytest.approx((2.0,))
    assert first("idler", "inner race").sidebands == ()
    assert first("alternator", "poles").sidebands == pytest.approx((2.5,))


@pytest.mark.parametrize(
    ("cylinders", "strokes", "fires"),
    [(1, 4, 0.5), (3, 4, 1.5), (4, 4, 2.0), (5, 4, 2.5), (6, 4, 3.0), (8, 4, 4.0), (2, 2, 2.0)],
)
def test_firings_counted_over_a_whole_cycle(cylinders, strokes, fires):
    turns_per_cycle = {4: 2, 2: 1}[strokes]
    sheet = DriveSheet(Engine(cylinders, strokes), Belt(), ())
    assert firing_order(sheet) * turns_per_cycle == cylinders
    assert firing_order(sheet) == fires


def test_a_two_stroke_has_no_half_order():
    sheet = DriveSheet(Engine(2, strokes=2), Belt(), ())
    assert {e.source for e in expected_orders(sheet, 20.0)} == {"firing", "shaft"}


def test_without_the_facts_no_line_is_made_up():
    sheet = DriveSheet(Engine(4), Belt(), (Pulley("crank", 138.0), Pulley("alternator", 55.0)))
    assert {(e.part, e.source) for e in expected_orders(sheet, 100.0)} == {
        ("engine", "firing"),
        ("engine", "cycle"),
        ("crank", "shaft"),
        ("alternator", "shaft"),
    }


def test_ranges_hold_the_order_and_widen_with_what_is_not_known():
    listed = expected_orders(TARN, 200.0)
    assert all(e.order_low <= e.order <= e.order_high for e in listed)
    assert all(e.order <= 200.0 and 1 <= e.harmonic <= 6 for e in listed)
    assert all(e.order_low == e.order_high for e in listed if e.part in ("engine", "crank"))
    by_number = Bearing(8, 6.75, 28.5, number="6203")
    numbered = DriveSheet(
        TARN.engine,
        TARN.belt,
        (TARN.pulleys[0], Pulley("alternator", 55.2, bearing=by_number)),
    )
    looked_up, measured = (first("alternator", "outer race", sheet) for sheet in (numbered, TARN))
    assert looked_up.order == measured.order
    assert looked_up.order_low < measured.order_low < measured.order_high < looked_up.order_high


@pytest.mark.parametrize(
    ("measuring", "ball", "slip", "line", "creep"),
    [
        (0.0, 0.0, 0.0, 0.0, 0.0),
        (0.001, -0.005, 0.01, 2.0, 0.002),
        (-0.005, 0.01, 0.01, 2.0, 0.005),
        (0.005, -0.01, -0.01, 0.0, 0.0),
    ],
)
def test_ranges_hold_a_bearing_that_slips_on_a_badly_measured_drive(
    measuring, ball, slip, line, creep
):
    # Second way round, to the worst of everything at once: the drive as it truly is, counted with
    # the textbook formula. Randall & Antoni (2011): true rates stray 1 to 2 % from rolling.
    ratio = (138 * (1 + measuring) + 2 * line) / (110.4 * (1 - measuring) + 2 * line) * (1 - creep)
    outer_race = 4 * (1 - 6.75 * (1 + ball) / 28.5) * ratio * (1 - slip)
    expected = first("coolant-pump", "outer race")
    assert expected.order_low <= outer_race * (1 + 1e-9)
    assert outer_race * (1 - 1e-9) <= expected.order_high


def test_belt_passing_only_with_a_length():
    assert first("belt", "belt passing").order == pytest.approx(0.3525, abs=1e-4)
    harmonics = [e.order for e in expected_orders(TARN, 2.0) if e.part == "belt"]
    assert harmonics == pytest.approx([0.3525 * k for k in range(1, 6)], rel=1e-3)


@pytest.mark.parametrize("max_order", [0.0, -1.0, 2001.0, float("nan")])
def test_a_highest_order_outside_its_range_is_refused(max_order):
    with pytest.raises(OutOfRangeError, match="highest order"):
        expected_orders(TARN, max_order)
