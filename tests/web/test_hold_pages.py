"""The hold test: begun, read live and by typed rows, its verdict, refusals, taking back."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from beltside.casework.coolant_bench import suggestions
from beltside.casework.hold_gauge import Gauge, gauge_of, step_kpa, target_of
from beltside.casework.settings import save_settings
from beltside.casework.shop import JobSheet, Shop, write
from beltside.casework.shop_agree import make_estimate, owner_agrees
from beltside.casework.shop_coolant import begin_hold, coolant_on_job, hold_now, hold_reading
from beltside.casework.shop_teardown import make_plan, plan_on_job

from .conftest import Browser

PAGE = "/job/1/hold"
BEGIN = {"cap": "108 kPa", "unit": "kPa", "step_kPa": "1", "stage": "after"}


@pytest.fixture(autouse=True)
def job(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "loses coolant"})


def sheet(shop: Shop) -> JobSheet:
    return shop.record.sheet(shop.record.job(1).id)


def begin(browser: Browser, **more: str) -> str:
    sent = browser.send(f"{PAGE}?new=true", f"{PAGE}/begin", {**BEGIN, **more})
    assert sent.status_code == 303, sent.text
    return sent.headers["location"].partition("test=")[2]


def live(browser: Browser, test: str, **fields: str) -> Any:
    """A reading as the page's own module sends it."""
    return browser.send(
        PAGE, f"{PAGE}/{test}/reading", fields, headers={"Accept": "application/json"}
    )


def readings(shop: Shop) -> list[tuple[float, float]]:
    return [
        (one.body["minutes"], one.body["pressure_kpa"])
        for one in sheet(shop).of_kind("hold-reading")
    ]


def test_how_it_is_pumped_up_is_kept(browser: Browser, shop: Shop) -> None:
    begin(browser, unit="bar", step_bar="0.02", cap="1.1 bar", strokes="9", stroke_ml="60")
    body = sheet(shop).of_kind("hold-test")[0].body
    assert body["given"] == {
        "cap": "1.1 bar",
        "gauge_step_kpa": pytest.approx(2.0),
        "strokes": 9.0,
        "stroke_ml": 60.0,
    }
    assert (body["unit"], body["stage"]) == ("bar", "after")
    page = browser.get(PAGE)
    assert 'data-step="0.02" data-digits="2"' in page
    # The trade's 1.1 bar cap: the gauge never shows more than its mark.
    assert 'data-most="1.10"' in page


def test_a_wrong_field_is_said_beside_it_and_all_else_kept(browser: Browser, shop: Shop) -> None:
    sent = browser.send(
        f"{PAGE}?new=true", f"{PAGE}/begin", {**BEGIN, "cap": "grey", "capacity_l": "7,5"}
    )
    assert sent.status_code == 422
    assert 'class="problem"' in sent.text.split('id="f-cap"')[1].split("</div>")[0]
    assert 'value="7,5"' in sent.text
    sent = browser.send(f"{PAGE}?new=true", f"{PAGE}/begin", {**BEGIN, "step_typed": "fine"})
    assert 'class="problem"' in sent.text.split('id="f-step_typed"')[1].split("</div>")[0]
    sent = browser.send(f"{PAGE}?new=true", f"{PAGE}/begin", {**BEGIN, "strokes": "9"})
    assert sent.status_code == 422
    assert "stroke" in sent.text.split('role="alert"')[1].split("</div>")[0]
    assert sheet(shop).of_kind("hold-test") == ()


def test_a_reading_gets_its_time_from_the_clock(browser: Browser, shop: Shop) -> None:
    test = begin(browser)
    tapped = datetime.now(UTC)
    for seconds, pressure in ((0, "107"), (30, "106"), (90, "105,5")):
        read = tapped + timedelta(seconds=seconds)
        # The phone's clock is an hour off; only how long ago it was counts.
        off = timedelta(hours=1)
        sent = live(
            browser,
            test,
            pressure=pressure,
            read_at=(read + off).isoformat(),
            sent_at=(tapped + timedelta(seconds=100) + off).isoformat(),
        )
        assert sent.status_code == 200, sent.text
    found = readings(shop)
    assert [kpa for _, kpa in found] == [107.0, 106.0, 105.5]
    for (minutes, _), expected in zip(found, (0.0, 0.5, 1.5), strict=True):
        # Sending took its own time: within a second.
        assert minutes == pytest.approx(expected, abs=1.0 / 60.0)


def test_the_answer_moves_with_each_reading(browser: Browser, shop: Shop) -> None:
    test = begin(browser)
    first = live(browser, test, pressure="107", minutes="0").json()
    assert (first["verdict"], first["readings"]) == ("not yet known", 1)
    said = first
    # 8 kPa a minute is a stream no gauge of 1 kPa can miss.
    for half in range(1, 9):
        said = live(
            browser, test, pressure=str(107 - 4 * half), minutes=f"{half // 2}:{30 * (half % 2):02}"
        ).json()
    assert said["verdict"] == "leaking"
    assert said["probability_leaking"] > 0.95
    assert "Leaking" in said["said"]
    assert 'src="data:image/svg+xml;base64,' in said["said"]
    # The command says the same of the same readings.
    answer = hold_now(shop, sheet(shop).job.id, test).answer
    assert answer is not None
    assert answer.headline in said["said"]


def test_the_same_reading_sent_twice_is_kept_once(browser: Browser, shop: Shop) -> None:
    test = begin(browser)
    for _ in range(2):
        sent = live(browser, test, pressure="107", minutes="0", entry_id="0123456789abcdef01234567")
        assert sent.status_code == 200
    assert readings(shop) == [(0.0, 107.0)]


@pytest.mark.parametrize("pressure", ["", "much", "-4", "9000", "1e5", "107 furlong"])
def test_a_reading_that_is_none_is_refused(browser: Browser, shop: Shop, pressure: str) -> None:
    test = begin(browser)
    sent = live(browser, test, pressure=pressure)
    assert sent.status_code == 422
    assert sent.json()["problem"]
    assert readings(shop) == []
    # The same by a form: what was typed stands there again.
    sent = browser.send(PAGE, f"{PAGE}/{test}/reading", {"pressure": pressure, "engine_c": "21"})
    assert sent.status_code == 422
    assert 'id="h-pressure"' in sent.text
    assert f'value="{pressure}"' in sent.text or not pressure
    assert 'name="engine_c" type="text" value="21"' in sent.text


def test_readings_typed_with_their_times(browser: Browser, shop: Shop) -> None:
    test = begin(browser)
    rows = {
        "0.minutes": "0:00",
        "0.pressure": "107",
        "1.minutes": "0:30",
        "1.pressure": "lots",
        "2.minutes": "1",
        "2.pressure": "106 kPa",
    }
    sent = browser.send(PAGE, f"{PAGE}/{test}/rows", rows)
    assert sent.status_code == 422
    assert readings(shop) == [(0.0, 107.0), (1.0, 106.0)]
    assert 'value="lots"' in sent.text
    assert 'value="106 kPa"' not in sent.text
    sent = browser.send(PAGE, f"{PAGE}/{test}/rows", {"0.minutes": "0:30", "0.pressure": "106.5"})
    assert sent.status_code == 303
    assert len(readings(shop)) == 3


def test_a_reading_is_taken_back(browser: Browser, shop: Shop) -> None:
    test = begin(browser)
    live(browser, test, pressure="107", minutes="0")
    live(browser, test, pressure="160", minutes="1")
    wrong = sheet(shop).of_kind("hold-reading")[-1].id
    sent = browser.send(PAGE, f"{PAGE}/{test}/undo", {"reading": wrong})
    assert sent.status_code == 303
    assert readings(shop) == [(0.0, 107.0)]


def test_above_the_mark_is_said_first(browser: Browser) -> None:
    test = begin(browser)
    said = live(browser, test, pressure="140", minutes="0").json()["said"]
    assert "Let pressure off at once" in said
    assert said.index("Let pressure off") < said.index("in 100")


def test_what_was_seen_counts(browser: Browser, shop: Shop) -> None:
    test = begin(browser)
    live(browser, test, pressure="107", minutes="0")
    sent = browser.send(PAGE, f"{PAGE}/{test}/seen", {"seen": ["drip", "weep-hole"]})
    assert sent.status_code == 303
    page = browser.get(PAGE)
    assert "an external leak, there" in page
    assert 'value="weep-hole" checked' in page
    assert browser.send(PAGE, f"{PAGE}/{test}/seen", {"seen": ["ghost"]}).status_code == 422


def test_the_verdict_is_written_on_the_job(browser: Browser, shop: Shop) -> None:
    test = begin(browser)
    for minute in range(6):
        live(browser, test, pressure=str(107 - 8 * minute), minutes=str(minute))
    sent = browser.send(PAGE, f"{PAGE}/{test}/end", {})
    assert sent.status_code == 303
    body = sheet(shop).of_kind("hold-test")[0].body
    assert body["result"]["verdict"] == "leaking"
    assert "leak" in browser.get("/job/1").lower()


def test_two_tests_stand_beside_each_other(browser: Browser) -> None:
    first = begin(browser, stage="before")
    second = begin(browser, stage="after")
    page = browser.get(PAGE)
    assert f"/hold/{second}/reading" in page
    assert f"test={first}" in page
    assert f"/hold/{first}/reading" in browser.get(f"{PAGE}?test={first}")


def test_cap_from_the_bench_is_filled_in(browser: Browser, shop: Shop) -> None:
    coolant_on_job(shop, sheet(shop).job.id, "cap", {"mark": "16 psi"})
    assert suggestions(sheet(shop), "cap")["mark"] == "16 psi"
    assert 'name="cap" type="text" value="16 psi"' in browser.get(PAGE)


def test_a_test_of_the_command_is_shown(browser: Browser, shop: Shop) -> None:
    job = sheet(shop).job.id
    begin_hold(shop, job, {"cap": "108 kPa", "gauge_step_kpa": 1})
    hold_reading(shop, job, "0", "107")
    hold_reading(shop, job, "1:30", "106", engine_c=21.0, air_c=20.0)
    page = browser.get(PAGE)
    assert re.search(r"<b>1:30</b> <span>106 <span class=\"unit\">kPa <span>21 °C / 20 °C", page)


def test_a_gauge_in_psi() -> None:
    # 1 psi = 6.894757 kPa: NIST SP 811 (2008), appendix B.8.
    assert step_kpa("0.5", "psi") == pytest.approx(3.4473785)
    assert Gauge("psi", 0.5).shown(6.894757 * 15.5) == "15.5"
    # A 16 psi cap on a gauge that shows half psi; 1.1 bar on one that shows hundredths.
    for cap, gauge, most in (("16 psi", Gauge("psi", 0.5), "16.0"), ("1.1 bar", BAR, "1.10")):
        target = target_of(cap, gauge)
        assert target is not None
        assert target.most == most
    # 108 kPa are 15.66 psi: the last half psi below it.
    target = target_of("108 kPa", Gauge("psi", 0.5))
    assert target is not None
    assert target.most == "15.5"
    assert target_of("grey", BAR) is None
    assert gauge_of(None, us=True).unit == "psi"


BAR = Gauge("bar", 0.01)


def test_in_german(browser: Browser, shop: Shop) -> None:
    save_settings(shop, {"language": "de"})
    test = begin(browser)
    assert live(browser, test, pressure="107", minutes="0").json()["spoken"] == "Noch nicht bekannt"
    assert "Abdrückprobe" in browser.get(PAGE)


def test_the_job_asks_for_it_when_the_coolant_was_out(browser: Browser, shop: Shop) -> None:
    job = sheet(shop).job.id
    make_plan(shop, job, {"template": "coolant-pump"})
    owner = "Ines Falk"
    make_estimate(shop, job, {"labour_per_hour": "60", "currency": "EUR"})
    owner_agrees(shop, job, "1", owner)
    for step in plan_on_job(shop, job).whole.steps:
        write(shop, job, "step-tick", {"step": step.id, "says": step.title})
    assert 'href="/job/1/hold"' in browser.get("/job/1").split('class="next"')[1]
    test = begin(browser)
    live(browser, test, pressure="107", minutes="0")
    assert "Go on with the hold test" in browser.get("/job/1")
    browser.send(PAGE, f"{PAGE}/{test}/end", {})
    assert "hold test" not in browser.get("/job/1").split('class="next"')[1].lower()


def test_readings_out_of_a_file(browser: Browser, shop: Shop) -> None:
    test = begin(browser)
    csv = b"time,pressure_psi\n0:00,15.5\n1:00,15.4\n"
    sent = browser.send(
        PAGE, f"{PAGE}/{test}/file", {}, files={"file": ("log.csv", csv, "text/csv")}
    )
    assert sent.status_code == 303, sent.text
    # 15.5 psi are 106.87 kPa: NIST SP 811 (2008).
    assert readings(shop)[0] == (0.0, pytest.approx(106.87, abs=0.01))
    for wrong in (b"time,pressure\n0,1\n2,much\n", b"", b"\x00\xff" * 50, b"x" * 1_000_001):
        sent = browser.send(
            PAGE, f"{PAGE}/{test}/file", {}, files={"file": ("log.csv", wrong, "text/csv")}
        )
        assert sent.status_code == 422
        assert 'class="problem"' in sent.text.split('id="f-file"')[1].split("</div>")[0]
    assert len(readings(shop)) == 2
