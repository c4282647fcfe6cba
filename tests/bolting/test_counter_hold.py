"""The bar by statics: hands, heads and wrench in balance."""

import itertools
import math

import pytest

from beltside.base.errors import InputError, OutOfRangeError
from beltside.bolting.counter_hold import (
    FACINGS,
    HANDS,
    HEAD_RADIUS,
    TASKS,
    counter_hold,
)

ALL = list(itertools.product(TASKS, HANDS, FACINGS, range(3, 9)))


def cross(a, b):
    return a[0] * b[1] - a[1] * b[0]


def minus(a, b):
    return (a[0] - b[0], a[1] - b[1])


@pytest.mark.parametrize(
    ("task", "hand", "facing", "turns"),
    [
        # A right-hand screw drives away from you clockwise (ISO 68-1; common practice).
        ("loosen", "right", "you", "anticlockwise"),
        ("tighten", "right", "you", "clockwise"),
        ("loosen", "left", "you", "clockwise"),
        ("tighten", "left", "you", "anticlockwise"),
        # Seen from behind everything turns the other way.
        ("loosen", "right", "away", "clockwise"),
        ("tighten", "right", "away", "anticlockwise"),
        ("loosen", "left", "away", "anticlockwise"),
        ("tighten", "left", "away", "clockwise"),
    ],
)
def test_which_way_the_wrench_turns(task, hand, facing, turns):
    hold = counter_hold(task, hand, facing)
    assert hold.wrench_turns == turns
    assert hold.bar_pushes != turns
    assert hold.bar_side == ("left" if turns == "anticlockwise" else "right")


@pytest.mark.parametrize(("task", "hand", "facing", "bolts"), ALL)
def test_the_bar_holds_the_pulley(task, hand, facing, bolts):
    """The heads push the bar only away from themselves; the bar turns the pulley back."""
    hold = counter_hold(task, hand, facing, bolts)
    sense = 1 if hold.wrench_turns == "anticlockwise" else -1
    inner, handle = hold.bar
    along = minus(handle, inner)
    length = math.hypot(*along)
    along = (along[0] / length, along[1] / length)
    near, far = hold.bolts[hold.near], hold.bolts[hold.far]
    assert 0 not in (hold.near, hold.far)
    # Places along the bar where the heads touch, and which side they are on.
    s_near = sum(a * b for a, b in zip(minus(near, inner), along, strict=True))
    s_far = sum(a * b for a, b in zip(minus(far, inner), along, strict=True))
    assert 0 < s_far < s_near < length
    side_near, side_far = cross(along, minus(near, inner)), cross(along, minus(far, inner))
    assert abs(side_near) == pytest.approx(HEAD_RADIUS)
    assert abs(side_far) == pytest.approx(HEAD_RADIUS)
    # Balance of the bar under one newton of the hand square to it.
    push = cross(along, hold.push_bar)
    assert abs(push) == pytest.approx(1.0)
    at_near = -push * (length - s_far) / (s_near - s_far)
    at_far = -push - at_near
    # Heads press, never pull: the force on the bar points away from the head.
    assert at_near * side_near < 0
    assert at_far * side_far < 0
    # What the bar does to the pulley turns it against the wrench.
    normal = (-along[1], along[0])
    on_pulley = sum(
        cross(head, (-force * normal[0], -force * normal[1]))
        for head, force in ((near, at_near), (far, at_far))
    )
    assert on_pulley * sense < 0
    # The bolt turned drags the pulley the wrench's way.
    assert cross((0.0, 1.0), hold.pull_wrench) * sense > 0


@pytest.mark.parametrize(("task", "hand", "facing", "bolts"), ALL)
def test_loosening_and_tightening_are_mirror_images(task, hand, facing, bolts):
    one = counter_hold(task, hand, facing, bolts)
    other = counter_hold("tighten" if task == "loosen" else "loosen", hand, facing, bolts)
    for a, b in zip(one.bar, other.bar, strict=True):
        assert a == pytest.approx((-b[0], b[1]))


def test_words_and_numbers_that_cannot_be():
    with pytest.raises(InputError, match="loosen"):
        counter_hold("undo")
    with pytest.raises(InputError):
        counter_hold("loosen", "both")
    with pytest.raises(InputError):
        counter_hold("loosen", "right", "sideways")
    for bolts in (2, 1, 9):
        with pytest.raises(OutOfRangeError):
            counter_hold("loosen", bolts=bolts)
