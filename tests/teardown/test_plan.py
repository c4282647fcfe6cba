"""Plans as a technician would check them: by hand, on jobs small enough to see through."""

import pytest

from beltside.base.errors import InputError
from beltside.teardown.model import Trouble
from beltside.teardown.plan import ConflictError, plan, shared_minutes
from beltside.teardown.times import Minutes
from jobs import job, thing

TEN = Minutes(10.0, 10.0, 10.0)


def order(found):
    return [step.id for step in found.steps]


def mount_or_alternator(alternator_min=10.0, mount_min=6.0, liner_min=3.0):
    return job(
        thing("alternator", minutes=alternator_min),
        thing("mount", minutes=mount_min),
        thing("liner", minutes=liner_min),
        thing("goal", "alternator or mount and liner", minutes=5.0),
    )


def test_the_cheaper_of_two_ways_and_what_the_other_costs():
    found = plan(mount_or_alternator())
    assert set(found.way.things) == {"mount", "liner", "goal"}
    assert found.way.expected_min == pytest.approx(14.0)
    assert found.second is not None
    assert set(found.second.things) == {"alternator", "goal"}
    assert found.second.expected_min == pytest.approx(15.0)


def test_a_shared_way_in_is_paid_once():
    both = job(
        thing("cover", minutes=8.0),
        thing("side-a", minutes=5.0),
        thing("side-b", minutes=5.0),
        thing("a", "cover or side-a"),
        thing("b", "cover or side-b"),
        repairs={"a": ("a",), "b": ("b",)},
    )
    assert plan(both, ["a"]).way.expected_min == pytest.approx(6.0)
    assert plan(both, ["a", "b"]).way.expected_min == pytest.approx(10.0)
    assert shared_minutes(both, ["a"], "b") == pytest.approx(4.0)


def test_every_step_says_why():
    found = plan(mount_or_alternator())
    why = {reason.thing: reason for reason in found.reasons}
    assert why["mount"].for_ == ("goal",)
    assert why["mount"].dearer_by_min == pytest.approx(1.0)
    assert "what the repair is about" in why["goal"].why


def test_earth_lead_first_off_last_on():
    # Common practice, no source.
    found = plan(
        job(
            thing("belt", refit=TEN),
            thing("earth-lead", refit=TEN, refit_last=True),
            thing("goal", "belt;earth-lead", refit=TEN),
        )
    )
    steps = order(found)
    assert steps.index("apart:earth-lead") < steps.index("apart:goal")
    assert steps[-1] == "refit:earth-lead"


def test_refit_is_the_reverse_where_nothing_else_is_said():
    chain = job(thing("a", refit=TEN), thing("b", "a", refit=TEN), thing("goal", "b", refit=TEN))
    assert order(plan(chain)) == [
        "apart:a", "apart:b", "apart:goal", "refit:goal", "refit:b", "refit:a",
    ]  # fmt: skip


def test_loosened_while_the_belt_holds_it_and_tightened_when_the_belt_is_on():
    found = plan(
        job(
            thing("belt", refit=TEN),
            thing("bolts", refit=TEN, while_on=("belt",)),
            thing("goal", "belt;bolts", refit=TEN),
        )
    )
    steps = order(found)
    assert steps.index("apart:bolts") < steps.index("apart:belt")
    assert steps.index("refit:belt") < steps.index("refit:bolts")


def test_refit_has_rules_of_its_own():
    found = plan(
        job(
            thing("a", refit=TEN, refit_after=("b",)),
            thing("b", refit=TEN),
            thing("goal", "a;b", refit=TEN),
        )
    )
    assert order(found).index("refit:b") < order(found).index("refit:a")


def test_an_impossible_refit_makes_another_way_the_best():
    ways = job(
        thing("short", refit=TEN, minutes=1.0),
        thing("deep", "short or long", refit=TEN, refit_after=("short",)),
        thing("long", refit=TEN, minutes=50.0),
        thing("goal", "deep;short"),
    )
    # "deep" can go on only after "short", so it must have another way back in.
    assert set(plan(ways).way.things) == {"short", "deep", "long", "goal"}


def test_a_finish_belongs_to_what_it_finishes():
    found = plan(
        job(
            thing("coolant", refit=TEN),
            thing("bleed", kind="finish", refit=TEN, when=("coolant",), refit_after=("belt",)),
            thing("belt", refit=TEN),
            thing("goal", "coolant;belt"),
        )
    )
    assert order(found)[-1] == "refit:bleed"
    assert "apart:bleed" not in order(found)


def test_fewest_tools_may_take_longer():
    ways = job(
        thing("quick", minutes=5.0, tools=("puller", "press")),
        thing("slow", minutes=20.0, tools=("spanner",)),
        thing("goal", "quick or slow", tools=("spanner",)),
    )
    assert "quick" in plan(ways).way.things
    fewest = plan(ways, aim="tools")
    assert "slow" in fewest.way.things
    assert fewest.way.tools == 1


def test_a_risky_way_is_left_when_it_must_hold_in_80_percent():
    risky = Trouble("it snaps", 0.3, Minutes(20.0, 25.0, 30.0))
    ways = job(
        thing("risky", minutes=10.0, troubles=(risky,)),
        thing("steady", minutes=19.0),
        thing("goal", "risky or steady"),
    )
    assert "risky" in plan(ways).way.things
    sure = plan(ways, aim="sure")
    assert "steady" in sure.way.things
    assert sure.proved


def test_replanned_from_where_the_work_stands():
    start = mount_or_alternator(mount_min=6.0)
    assert "mount" in plan(start).way.things
    stuck = plan(start, done=["liner"], blocked=["mount"])
    assert set(stuck.way.things) == {"liner", "alternator", "goal"}
    assert order(stuck) == ["apart:alternator", "apart:goal"]


def test_work_done_tips_the_balance():
    start = mount_or_alternator()
    assert "alternator" in plan(start, done=["alternator"]).way.things
    assert plan(start, done=["alternator"]).way.expected_min == pytest.approx(5.0)


def test_a_trouble_that_has_come_is_certain():
    snaps = Trouble("it snaps", 0.1, Minutes(60.0, 60.0, 60.0), then="drill it out")
    one = job(thing("goal", minutes=10.0, troubles=(snaps,)))
    assert plan(one).way.expected_min == pytest.approx(16.0)
    assert plan(one, gone_wrong={"goal": "it snaps"}).way.expected_min == pytest.approx(70.0)


def test_refitting_goes_on_from_where_it_stands():
    chain = job(thing("a", refit=TEN), thing("goal", "a", refit=TEN))
    found = plan(chain, done=["a", "goal"], refitted=["goal"])
    assert order(found) == ["refit:a"]


def lines(found_job, targets=()):
    with pytest.raises(ConflictError) as caught:
        plan(found_job)
    return {(line.thing, line.key, line.place) for line in caught.value.lines}


def test_a_circle_names_its_lines_and_no_others():
    circle = job(thing("a", "b;x"), thing("b", "a"), thing("x"), thing("y"), thing("goal", "y;a"))
    assert lines(circle) == {
        ("goal", "target", 0), ("goal", "reach", 1), ("a", "reach", 0), ("b", "reach", 0),
    }  # fmt: skip


def test_the_smaller_of_two_conflicts_is_named():
    two = job(
        thing("a", "b"), thing("b", "c"), thing("c", "a"), thing("goal", "a;p"), thing("p", "p")
    )
    assert lines(two) == {("goal", "target", 0), ("goal", "reach", 1), ("p", "reach", 0)}


def test_both_ways_shut_are_both_named():
    shut = job(thing("a", stays=True), thing("b", stays=True), thing("goal", "a or b"))
    assert lines(shut) == {
        ("goal", "target", 0), ("goal", "reach", 0), ("a", "stays", 0), ("b", "stays", 0),
    }  # fmt: skip


def test_a_step_that_destroys_what_it_needs():
    holding = job(thing("belt"), thing("goal", "belt", while_on=("belt",)))
    assert lines(holding) == {
        ("goal", "target", 0), ("goal", "reach", 0), ("goal", "while_on", 0),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"repairs": ["itt"]}, '"it"'),
        ({"done": ["linr"]}, '"liner"'),
        ({"aim": "quick"}, "expected"),
        ({"done": ["liner"], "blocked": ["liner"]}, "impossible"),
        ({"refitted": ["liner"]}, "not to have been off"),
        ({"gone_wrong": {"liner": ""}}, "no trouble"),
        ({"gone_wrong": {"liner": ""}, "done": ["liner"]}, "gone wrong"),
    ],
)
def test_bad_input_says_what_would_work(given, said):
    with pytest.raises(InputError, match=said):
        plan(mount_or_alternator(), **given)
