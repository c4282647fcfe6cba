"""Every route of the application says who may use it, and lets in nobody else."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.responses import PlainTextResponse

from beltside.casework.settings import save_settings
from beltside.casework.shop import Shop, sheet_of
from beltside.web.who_may import HERE, RULES, lines_for, may, rules

from .conftest import Browser, Doors, routes_of

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job

REFUSED = ("This phone is not paired", "Not with this phone")


def filled(path: str) -> str:
    """An address of a route: its gaps filled with something."""
    return re.sub(r"\{(\w+)(:\w+)?\}", lambda gap: "1" if "number" in gap[1] else "x", path)


def refused(browser: Browser, method: str, path: str) -> bool:
    answer = browser.client.request(method, filled(path), follow_redirects=False)
    denied = answer.status_code in (401, 403) and any(one in answer.text for one in REFUSED)
    # JSON for programs carries the words of the page without its title.
    words = ("not paired yet", "for the technician", "done at the computer itself")
    return denied or (answer.status_code in (401, 403) and any(one in answer.text for one in words))


def test_every_route_has_its_line(app: FastAPI) -> None:
    """A new route needs a line in `RULES` of web/who_may.py: who may use it?"""
    routes = routes_of(app)
    lineless = [one for one in routes if not list(lines_for(one[0], one[1]))]
    assert lineless == [], "say in web/who_may.py who may use these"
    stale = [
        (rule.method, rule.path)
        for rule in rules()
        if not any(
            rule.method in (method, "*") and rule.pattern.fullmatch(path) for method, path in routes
        )
    ]
    assert stale == [], "lines of web/who_may.py that no route falls under"
    assert len({(method, path) for method, path, _ in RULES}) == len(RULES)


def audience(method: str, path: str) -> frozenset[str]:
    """Who may use a route: the table read line by line, without the code under test."""
    exact = {(one, way): people for one, way, people in RULES}
    if (method, path) in exact:
        return exact[method, path]
    assert path.startswith("/api/"), path
    return exact["*", "/api/{rest:path}"]


@pytest.mark.parametrize("role", ["nobody", "helper", "technician"])
def test_every_route_lets_in_whom_it_says_and_nobody_else(
    app: FastAPI, doors: Doors, shop: Shop, role: str
) -> None:
    shop.record.new_job([("owner", {"name": "Vos"})], by="Per")
    doors.no_limits()
    code = doors.code(role) if role != "nobody" else ""
    phone = doors.phone()
    if code:
        assert phone.send("/pair", "/pair", {"code": code}).status_code == 303
    wrong = [
        (method, path)
        for method, path in routes_of(app)
        if refused(phone, method, path) == (role in audience(method, path))
    ]
    assert wrong == []


def test_at_the_computer_nothing_is_refused(app: FastAPI, doors: Doors) -> None:
    here = doors.here()
    assert [one for one in routes_of(app) if refused(here, *one)] == []


def test_a_route_without_a_line_is_the_technicians_alone(app: FastAPI, doors: Doors) -> None:
    app.add_api_route("/brand-new", lambda: PlainTextResponse("new"), methods=["GET", "POST"])
    doors.no_limits()
    assert doors.here().get("/brand-new") == "new"
    assert doors.paired("technician").get("/brand-new") == "new"
    for method in ("GET", "POST"):
        assert doors.paired("helper").client.request(method, "/brand-new").status_code == 403
        assert doors.phone().client.request(method, "/brand-new").status_code == 401


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "BREW"])
def test_other_methods_are_refused_to_phones(doors: Doors, method: str) -> None:
    assert doors.phone().client.request(method, "/job/1").status_code == 401
    assert doors.paired("helper").client.request(method, "/job/1").status_code == 403


@pytest.mark.parametrize(
    "path",
    [
        "/static/../job/1",
        "/static/%2e%2e/job/1",
        "//job/1",
        "/pair/../job/1",
        "/pair/%2e%2e/job/1",
        "/job/1/",
        "/JOB/1",
        "/trust/../file/x",
        "/static/x/../../phones",
    ],
)
def test_tricks_with_the_path_open_nothing(doors: Doors, shop: Shop, path: str) -> None:
    shop.record.new_job([("owner", {"name": "Vos"})], by="Per")
    answer = doors.phone().client.get(path, follow_redirects=False)
    assert answer.status_code in (401, 404)
    assert "Vos" not in answer.text


def test_an_address_under_two_lines_needs_leave_of_both() -> None:
    assert may("helper", here=False, method="GET", path="/job/1/take")
    assert not may("nobody", here=False, method="GET", path="/pair/../job")
    assert may("technician", here=True, method="POST", path="/phones/code")
    assert not may("technician", here=False, method="POST", path="/phones/code")
    assert audience("POST", "/phones/code") is HERE


PRICES = ("452.20", "448.10", "380.00", "72.20", "480.00", "92.00", "27.00", "83.37", "61.19")


def addresses(app: FastAPI, shop: Shop, job: str) -> list[str]:
    """Every address that can be looked at, with every entry of the job in its gap."""
    sheet = sheet_of(shop, job)
    entries = [entry.id for entry in sheet.entries]
    files = [entry.body["file"] for entry in sheet.entries if entry.body.get("file")]
    fills = {
        "number": ["1"],
        "entry_id": entries,
        "sha256": files,
        "kind": ["pdf", "html"],
        "side": ["before"],
        "picture": ["orders"],
        "job": ["1"],
        "code": ["x"],
        "path": ["beltside.css"],
    }
    found = []
    for method, path in routes_of(app):
        if method != "GET":
            continue
        made = [path]
        for gap in re.findall(r"\{(\w+)(?::\w+)?\}", path):
            made = [
                re.sub(rf"\{{{gap}(:\w+)?\}}", value, one)
                for one in made
                for value in fills.get(gap, [*entries[:1], "1"])
            ]
        found += made
    return found


def ways(page: str) -> list[tuple[str, str]]:
    """Where links and forms of a page lead: method and path."""
    posts = set(re.findall(r'method="post" action="(/[^"?#]*)', page))
    gets = set(re.findall(r'href="(/[^"?#]*)', page))
    return [*(("POST", way) for way in posts), *(("GET", way) for way in gets)]


def test_a_helper_meets_no_price_anywhere(app: FastAPI, doors: Doors, shop: Shop) -> None:
    """Every address that can be looked at, for a job whose every stage is priced."""
    job = full_job(shop)
    save_settings(shop, {"labour_per_hour": "83.37", "consumables": "61.19"})
    doors.no_limits()
    helper, technician = doors.paired("helper"), doors.here()
    # What the test would find if it were there: the technician sees it.
    assert "452.20" in technician.get("/job/1")
    assert "448.10" in technician.get("/job/1/history")
    looked, met, offered = 0, [], []
    for address in addresses(app, shop, job):
        answer = helper.client.get(address)
        looked += answer.status_code == 200
        text = answer.content.decode("utf-8", "replace")
        met += [(address, price) for price in PRICES if price in text]
        if answer.headers["content-type"].startswith("text/html"):
            # What leads nowhere for him is not offered.
            offered += [(address, *way) for way in ways(text)]
    assert met == []
    assert looked > 20
    assert len(offered) > 100
    assert {
        (page, method, way)
        for page, method, way in offered
        if not may("helper", here=False, method=method, path=way)
    } == set()


def test_a_helper_works_on_a_job(doors: Doors, shop: Shop) -> None:
    full_job(shop)
    helper = doors.paired("helper")
    sent = helper.send("/", "/jobs", {"words": "chirps", "owner": "Berg"})
    assert sent.headers["location"] == "/job/2"
    sent = helper.send(
        "/job/2/find",
        "/job/2/find/finding",
        {"check": "spin-by-hand", "outcome": "rough", "part": "coolant-pump"},
    )
    assert sent.status_code == 303
    assert shop.record.sheet(shop.record.job(2).id).newest("finding") is not None


def test_a_helper_takes_nothing_off(doors: Doors, shop: Shop) -> None:
    job = full_job(shop)
    take = sheet_of(shop, job).of_kind("take")[0]
    finding = sheet_of(shop, job).of_kind("finding")[0]
    before = len(shop.record.changes(job))
    helper = doors.paired("helper")
    for page, action, fields in (
        ("/job/1/take", f"/job/1/take/{take.id}/remove", {}),
        ("/job/1/find", "/job/1/find/take-back", {"finding": finding.id}),
        ("/job/1/take", f"/job/1/history/{take.id}", {"version": "1"}),
    ):
        assert helper.send(page, action, fields).status_code == 403
    assert len(shop.record.changes(job)) == before
    assert "Take off the sheet" not in helper.get("/job/1/take")
    assert "Take it back" not in helper.get("/job/1/find")
