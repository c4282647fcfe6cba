"""The plan's picture: whole, well-formed, readable without colour."""

from xml.etree import ElementTree

import pytest

from beltside.casework.teardown import teardown
from beltside.proof.plan_picture import plan_svg

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def result():
    return teardown("coolant-pump", runs=10)


def test_every_step_has_its_label_and_its_bar(result):
    root = ElementTree.fromstring(plan_svg(result))
    words = [text.text or "" for text in root.iter(f"{SVG}text")]
    for step in result.steps:
        mark = "*" if step.critical else ""
        assert any(text.startswith(f"{step.number}{mark} ") for text in words)
    assert len(list(root.iter(f"{SVG}rect"))) == len(result.steps) + 1


def test_states_and_minutes_stand_in_words(result):
    """Colour never alone: the state in words beside each step, the axis with its unit."""
    first, other = result.steps[0], next(one for one in result.steps if one.slack_min >= 0.5)
    root = ElementTree.fromstring(plan_svg(result, {first.id: "started"}))
    lines = [text.text or "" for text in root.iter(f"{SVG}text")]
    whole = " ".join(lines)
    assert whole.count("started") == 1
    assert f"{other.slack_min:.0f} min to spare" in whole
    assert {"0 min", "from the start"} <= set(lines)


def test_what_waits_is_drawn_and_told(result):
    root = ElementTree.fromstring(plan_svg(result))
    told = root.find(f"{SVG}desc").text
    for step in result.steps:
        assert step.title in told
    links = sum(len(step.waits_for) for step in result.steps)
    assert len(list(root.iter(f"{SVG}path"))) >= links


def test_nothing_lies_outside(result):
    root = ElementTree.fromstring(plan_svg(result))
    width, height = float(root.get("width")), float(root.get("height"))
    for box in root.iter(f"{SVG}rect"):
        if box.get("x") is not None:
            assert 0 <= float(box.get("x")) <= width
            assert float(box.get("x")) + float(box.get("width")) <= width
            assert float(box.get("y")) + float(box.get("height")) <= height
    for text in root.iter(f"{SVG}text"):
        assert 0 <= float(text.get("x")) <= width
        assert 0 < float(text.get("y")) <= height
