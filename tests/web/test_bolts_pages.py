"""Bolting: holes typed or on a circle, bolts ticked in their turn, torque only with its source."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest

from beltside.base.errors import InputError
from beltside.casework.bolt_form import BoltForm, bolt_form_of, bolt_toml_of, circle_rows
from beltside.casework.settings import save_settings
from beltside.casework.shop import JobSheet, Shop
from beltside.casework.shop_bolting import bolts_now, save_bolt_pattern, tick_bolt
from beltside.web.routes.bolts import COVER_WORDS, GASKET_WORDS, KIND_WORDS

from .conftest import Browser

PAGE = "/job/1/bolts"
SQUARE = ((40, 40), (40, -40), (-40, -40), (-40, 40))


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "loses coolant"})


def sheet(shop: Shop) -> JobSheet:
    return shop.record.sheet(shop.record.job(1).id)


def fields(do: str = "keep", holes: Any = SQUARE, **more: str) -> dict[str, str]:
    typed = {"fastener": "coolant pump", "do": do, **more}
    for number, (x, y) in enumerate(holes):
        typed |= {f"{number}.x_mm": str(x), f"{number}.y_mm": str(y), f"{number}.kind": "bolt"}
    return typed


def kept(browser: Browser, **more: str) -> str:
    sent = browser.send(PAGE, PAGE, fields(**more))
    assert sent.status_code == 303, sent.text
    return browser.get(sent.headers["location"])


def live(browser: Browser, **more: str) -> Any:
    return browser.send(
        PAGE,
        f"{PAGE}/tick",
        {"fastener": "coolant pump", **more},
        headers={"Accept": "application/json"},
    )


def test_four_bolts_are_tightened_crosswise(browser: Browser) -> None:
    page = kept(browser)
    # The star order of four on a circle goes across after the first: ASME PCC-1 (2019), legacy.
    places = {
        place: (float(x), float(y))
        for place, x, y in re.findall(
            r'data-place="(\d)"><circle class="target" cx="([\d.]+)" cy="([\d.]+)"', page
        )
    }
    assert len(places) == 4
    middle = (200.0, 200.0)
    for one, other in (("1", "2"), ("3", "4")):
        (x, y), (across_x, across_y) = places[one], places[other]
        assert x + across_x == pytest.approx(2 * middle[0], abs=0.2)
        assert y + across_y == pytest.approx(2 * middle[1], abs=0.2)
    assert '<g class="bolt next" data-place="1">' in page


def test_no_torque_is_invented(browser: Browser, shop: Shop) -> None:
    page = kept(browser)
    assert "% of the torque in the service data" in page
    assert not re.search(r"<b>[\d.]+</b> <span class=\"unit\">N m", page)
    sent = browser.send(PAGE, PAGE, fields(torque="10 N m"))
    assert sent.status_code == 422
    assert "where it stands" in sent.text
    assert 'value="10 N m"' in sent.text
    page = kept(browser, torque="10 N m", torque_source="service sheet, page 12")
    assert "from service sheet, page 12" in page
    # The first stage is 30 % of 10 N m: ASME PCC-1 (2019), table of passes.
    assert re.search(r"<b>3</b> <span class=\"unit\">N m</span>", page)


def test_bolts_are_ticked_in_their_turn(browser: Browser, shop: Shop) -> None:
    kept(browser, torque="10 N m", torque_source="sheet 3")
    for turn in range(12):
        page = browser.get(PAGE)
        place = str(turn % 4 + 1)
        assert f'<g class="bolt next" data-place="{place}">' in page
        stage = str(turn // 4 + 1)
        form = {"fastener": "coolant pump", "place": place, "pass": stage}
        assert browser.send(PAGE, f"{PAGE}/tick", form).status_code == 303
    assert "All bolts are tightened in every stage." in browser.get(PAGE)
    ticks = sheet(shop).of_kind("torque-tick")
    assert [one.body["torque_nm"] for one in ticks] == [3.0] * 4 + [6.0] * 4 + [10.0] * 4
    assert {one.body["source"] for one in ticks} == {"sheet 3"}
    assert bolts_now(shop, sheet(shop).job.id).next is None


def test_live_ticks_are_kept_once_and_say_what_is_next(browser: Browser, shop: Shop) -> None:
    kept(browser, torque="10 N m", torque_source="sheet 3")
    entry = "0123456789abcdef01234567"
    for _ in range(2):
        sent = live(browser, place="1", **{"pass": "1"}, entry_id=entry)
        assert sent.status_code == 200, sent.text
    assert sent.json()["spoken"].startswith("Next: number 2, 3.0 N m")
    assert sent.json()["left"] == 11
    # A second phone ticks the same bolt: it stands once.
    assert live(browser, place="1", **{"pass": "1"}).status_code == 200
    assert len(sheet(shop).of_kind("torque-tick")) == 1
    assert live(browser, place="9", **{"pass": "1"}).status_code == 422
    assert live(browser, place="1", fastener="roof").status_code in (200, 422)


def test_a_tick_is_taken_back(browser: Browser, shop: Shop) -> None:
    kept(browser)
    live(browser, place="1", **{"pass": "1"})
    tick = sheet(shop).of_kind("torque-tick")[0].id
    assert browser.send(PAGE, f"{PAGE}/untick", {"tick": tick}).status_code == 303
    assert sheet(shop).of_kind("torque-tick") == ()
    assert '<g class="bolt next" data-place="1">' in browser.get(PAGE)


def test_times_of_ticks_are_shown(browser: Browser, shop: Shop) -> None:
    kept(browser)
    said = live(browser, place="1", **{"pass": "1"}).json()["said"]
    at = f"{sheet(shop).of_kind('torque-tick')[0].created_at:%H:%M}"
    assert f"tightened at {at}" in said


def test_another_order_under_ticked_bolts_is_refused(browser: Browser, shop: Shop) -> None:
    kept(browser)
    live(browser, place="1", **{"pass": "1"})
    five = (*SQUARE, (55, 0))
    sent = browser.send(PAGE, PAGE, fields(holes=five))
    assert sent.status_code == 422
    assert "another order" in sent.text
    assert 'value="55"' in sent.text
    # The torque may still be typed in.
    kept(browser, torque="10 N m", torque_source="sheet 3")
    with pytest.raises(InputError, match="another order"):
        save_bolt_pattern(
            shop,
            sheet(shop).job.id,
            "coolant pump",
            bolt_toml_of(BoltForm({}, circle_rows(6, 80.0))),
        )


def test_holes_on_a_circle(browser: Browser) -> None:
    sent = browser.send(PAGE, PAGE, fields("circle", (), circle_count="6", circle_mm="90"))
    assert sent.status_code == 200
    found = [
        (float(x), float(y))
        for x, y in zip(
            re.findall(r'name="\d\.x_mm" type="text" value="([-\d.]+)"', sent.text),
            re.findall(r'name="\d\.y_mm" type="text" value="([-\d.]+)"', sent.text),
            strict=True,
        )
    ]
    assert len(found) == 6
    # On a circle of 90 mm neighbours of six are a radius apart.
    for one, other in zip(found, found[1:] + found[:1], strict=True):
        assert math.hypot(*one) == pytest.approx(45.0, abs=0.01)
        assert math.dist(one, other) == pytest.approx(45.0, abs=0.02)
    for wrong in ({"circle_count": "6"}, {"circle_count": "2", "circle_mm": "90"}):
        sent = browser.send(PAGE, PAGE, fields("circle", (), **wrong))
        assert sent.status_code == 422
        assert 'value="coolant pump"' in sent.text


@pytest.mark.parametrize(
    ("typed", "place"),
    [
        ({"1.x_mm": "forty"}, "1.x_mm"),
        ({"1.y_mm": ""}, "1.y_mm"),
        ({"thread": "M five"}, "thread"),
        ({"2.turn": "first"}, "2.turn"),
    ],
)
def test_what_is_wrong_is_said_beside_it(
    browser: Browser, shop: Shop, typed: dict[str, str], place: str
) -> None:
    sent = browser.send(PAGE, PAGE, {**fields(), **typed})
    assert sent.status_code == 422
    assert 'class="problem"' in sent.text.split(f'id="f-{place}"')[1].split("</div>")[0]
    assert 'value="40"' in sent.text
    assert sheet(shop).of_kind("bolt-pattern") == ()


def test_rows_come_and_go(browser: Browser) -> None:
    assert 'name="4.x_mm"' in browser.send(PAGE, PAGE, fields("add")).text
    assert 'name="3.x_mm"' not in browser.send(PAGE, PAGE, fields("out-0")).text


def test_a_bolt_by_itself_needs_the_source_of_its_torque(browser: Browser, shop: Shop) -> None:
    typed = {"single": "pulley bolts", "single_nm": "25"}
    sent = browser.send(PAGE, f"{PAGE}/single", typed)
    assert sent.status_code == 422
    assert 'class="problem"' in sent.text.split('name="single_source"')[1].split("</div>")[0]
    assert 'value="pulley bolts"' in sent.text
    sent = browser.send(PAGE, f"{PAGE}/single", {**typed, "single_source": "service data, page 4"})
    assert sent.status_code == 303
    body = sheet(shop).of_kind("torque-tick")[0].body
    assert (body["torque_nm"], body["source"]) == (25.0, "service data, page 4")
    assert "pulley bolts" in browser.get(PAGE)
    for wrong in ({"single": ""}, {"single_nm": "tight"}):
        odd = {**typed, "single_source": "sheet", **wrong}
        assert browser.send(PAGE, f"{PAGE}/single", odd).status_code == 422


def test_a_pattern_of_the_command_is_shown_and_keeps_what_the_form_has_not(
    browser: Browser, shop: Shop
) -> None:
    toml = bolt_toml_of(BoltForm({"thread": "M6"}, circle_rows(5, 80.0)))
    toml = "# measured by Per\n" + toml.replace("x_mm = 0\n", "x_mm = 0\ndiameter_mm = 6.6\n", 1)
    save_bolt_pattern(shop, sheet(shop).job.id, "coolant pump", toml)
    tick_bolt(shop, sheet(shop).job.id, "coolant pump")
    page = browser.get(PAGE)
    assert '<g class="bolt done" data-place="1">' in page
    again = bolt_toml_of(bolt_form_of(toml), toml)
    assert "# measured by Per" in again
    assert "diameter_mm = 6.6" in again


def test_every_kind_has_its_word() -> None:
    from beltside.casework.bolt_form import COVER_KINDS, GASKET_KINDS, KINDS

    assert set(KINDS) == set(KIND_WORDS)
    assert set(COVER_KINDS) == set(COVER_WORDS)
    assert set(GASKET_KINDS) == set(GASKET_WORDS)


def test_in_german(browser: Browser, shop: Shop) -> None:
    save_settings(shop, {"language": "de"})
    assert "Nummer in der Reihenfolge" in kept(browser)
    assert live(browser, place="1", **{"pass": "1"}).json()["spoken"].startswith("Als Nächstes")
