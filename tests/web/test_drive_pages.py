"""The drive sheet filled in as rows, without JavaScript."""

from __future__ import annotations

from typing import Any

import pytest

from beltside.casework.shop import Shop

from .conftest import Browser

PAGE = "/job/1/drive"
ROWS = (
    ("crank", "138", "0", "0"),
    ("alternator", "55", "175", "205"),
    ("idler", "70", "-150", "150"),
)


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "howls"})


def fields(do: str, rows: Any = ROWS, **more: str) -> dict[str, str]:
    typed = {"cylinders": "4", "strokes": "4", "idle_rpm": "", "ribs": "6", "do": do, **more}
    for number, (part, diameter, x, y) in enumerate(rows):
        typed |= {
            f"{number}.part": part,
            f"{number}.diameter_mm": diameter,
            f"{number}.face": "ribbed",
            f"{number}.x_mm": x,
            f"{number}.y_mm": y,
        }
    return typed


def toml(shop: Shop) -> str:
    entry = shop.record.sheet(shop.record.job(1).id).newest("drive-sheet")
    return str(entry.body["toml"]) if entry else ""


def test_rows_are_kept_and_drawn(browser: Browser, shop: Shop) -> None:
    sent = browser.send(PAGE, PAGE, fields("keep"))
    assert sent.status_code == 303
    assert 'part = "alternator"' in toml(shop)
    page = browser.get(PAGE)
    assert 'src="data:image/svg+xml;base64,' in page
    # Ratio of two pulleys by their diameters with a belt 2 mm above the ribs: (138 + 4)/(55 + 4).
    assert f"{142 / 59:.3f}" in page


def test_what_is_wrong_is_said_beside_its_row(browser: Browser, shop: Shop) -> None:
    rows = (ROWS[0], ("alternator", "5", "175", "205"), ROWS[2])
    sent = browser.send(PAGE, PAGE, fields("keep", rows, ribs="many"))
    assert sent.status_code == 422
    wrong = sent.text.split('id="f-1.diameter_mm"')[1].split("</div>")[0]
    assert "20 to 400 mm" in wrong
    assert 'value="many"' in sent.text
    assert toml(shop) == ""


def test_rows_come_and_go_with_all_that_was_typed(browser: Browser, shop: Shop) -> None:
    more = browser.send(PAGE, PAGE, fields("add")).text
    assert 'name="3.part"' in more
    assert 'value="138"' in more
    assert toml(shop) == ""
    fewer = browser.send(PAGE, PAGE, fields("out-1")).text
    assert 'name="2.part"' not in fewer
    assert 'value="55"' not in fewer
    moved = browser.send(PAGE, PAGE, fields("up-2")).text
    assert moved.index('value="70"') < moved.index('value="55"')


def test_what_the_form_does_not_show_stays(browser: Browser, shop: Shop) -> None:
    browser.send(PAGE, PAGE, fields("keep"))
    written = "# measured by Per\n" + toml(shop).replace(
        'part = "idler"', 'part = "idler"\noffset_mm = 1.5'
    )
    browser.send(f"{PAGE}?text=true", PAGE, {"toml": written, "do": "keep"})
    rows = (ROWS[0], ROWS[1], ("idler", "72", "-150", "150"))
    browser.send(PAGE, PAGE, fields("keep", rows))
    assert "# measured by Per" in toml(shop)
    assert "offset_mm = 1.5" in toml(shop)
    assert "diameter_mm = 72" in toml(shop)


def test_broken_text_is_kept_on_the_page(browser: Browser, shop: Shop) -> None:
    sent = browser.send(PAGE, PAGE, {"toml": "name = [broken", "do": "keep"})
    assert sent.status_code == 422
    assert "name = [broken" in sent.text
    assert toml(shop) == ""


def test_the_engine_alone_is_a_sheet(browser: Browser, shop: Shop) -> None:
    """The number of cylinders suffices for the crank's speed; untouched rows are no pulleys."""
    empty = [(part, "", "", "") for part in ("crank", "coolant-pump", "alternator", "tensioner")]
    assert browser.send(PAGE, PAGE, fields("keep", empty, cylinders="3")).status_code == 303
    assert "cylinders = 3" in toml(shop)
    assert "[[pulley]]" not in toml(shop)
    page = browser.get(PAGE)
    assert 'value="3"' in page
    assert 'name="3.part"' in page, "the rows to fill in are offered again"
    some = [("crank", "152", "", ""), ("coolant-pump", "", "", "")]
    wrong = browser.send(PAGE, PAGE, fields("keep", some, cylinders="3"))
    assert wrong.status_code == 422, "a pulley that is there and not measured is no slip to hide"
    assert "nothing is given here" in wrong.text
    assert "this key" not in wrong.text


def test_an_empty_row_for_the_tensioner_runs_on_the_back(browser: Browser) -> None:
    row = browser.get(PAGE).split('name="3.face"')[1].split("</select>")[0]
    assert 'value="back" selected' in row


def test_a_comma_that_may_stand_for_thousands_is_asked_about(browser: Browser, shop: Shop) -> None:
    sent = browser.send(PAGE, PAGE, fields("keep", length_mm="1,178"))
    assert sent.status_code == 422
    assert "the comma may stand for thousands or for decimals" in sent.text
    assert 'value="1,178"' in sent.text
    assert toml(shop) == ""
