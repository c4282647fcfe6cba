"""Intruders on the same network: odd requests of every kind open nothing and break nothing.

An unpaired phone, a helper's phone, an owner whose link is over, a stranger's page in the
technician's browser. What is refused has a code of 400 to 499 and tells nothing of the shop.
"""

from __future__ import annotations

import itertools
import json
import random
from datetime import timedelta

import httpx2
import pytest
from starlette.websockets import WebSocketDisconnect

from beltside.casework.shop import Shop

from .conftest import Doors, routes_of

OWNER = "Quennel Harskrog"


@pytest.fixture
def job(shop: Shop) -> int:
    return shop.record.new_job([("owner", {"name": OWNER})], by="x").job.number


def refused(answer: httpx2.Response) -> bool:
    return 400 <= answer.status_code < 500 and OWNER not in answer.text


# An unpaired phone --------------------------------------------------------------------------------

ODD_PATHS = (
    *("//", "//job/1", "/job/1//", "/./job/1", "/pair/../job/1", "/static/../job/1", "/job/1%00"),
    *("/job/1%0a", "/job/1;x=/static/x", "/%6aob/1", "/JOB/1", "/job/1?x=/pair", "/job/1#/pair"),
    *("/pair/%2e%2e/job/1", "/pair%2f..%2fjob%2f1", "/trust/%2e%2e%2fjob%2f1", "/job/\uff11"),
    *("/static/%2e%2e/%2e%2e/shop.db", "/api/jobs/1", "/api/../job/1", "/sheet/x/../../job/1"),
    *("/.well-known/x", "/job/" + "1" * 4000, "/job/-1", "/job/1e0", "/file/" + "a" * 64),
)


def test_an_unpaired_phone_gets_nowhere_by_odd_paths(doors: Doors, job: int) -> None:
    doors.no_limits()
    phone = doors.phone().client
    for path in ODD_PATHS:
        answer = phone.get(path, follow_redirects=False)
        assert refused(answer) or answer.status_code in (301, 307), path
        if "location" in answer.headers:
            assert refused(phone.get(answer.headers["location"]))


ODD_HEADERS: tuple[dict[str, str], ...] = (
    {"x-forwarded-for": "127.0.0.1", "x-real-ip": "127.0.0.1"},
    {"x-forwarded-proto": "http", "x-forwarded-host": "localhost:8460"},
    {"forwarded": "for=127.0.0.1;proto=http;host=localhost"},
    {"x-original-url": "/pair", "x-rewrite-url": "/pair"},
    {"x-http-method-override": "GET", "x-method-override": "GET"},
    {"host": "localhost:8460"},
    {"authorization": "Basic dGVjaG5pY2lhbjo="},
    {"cookie": "__Host-beltside=" + "A" * 43},
    {"cookie": "beltside=" + "A" * 43},
    {"upgrade": "h2c", "connection": "upgrade, http2-settings"},
    {"te": "trailers", "expect": "100-continue"},
)


def test_no_header_makes_anybody_of_him(doors: Doors, job: int) -> None:
    doors.no_limits()
    for headers in ODD_HEADERS:
        for method, path in (("GET", f"/job/{job}"), ("POST", "/jobs"), ("GET", "/api/jobs")):
            answer = doors.phone().client.request(method, path, headers=headers)
            assert refused(answer), headers


def test_no_method_does_either(doors: Doors, job: int) -> None:
    doors.no_limits()
    phone = doors.phone().client
    for method in ["OPTIONS", "TRACE", "CONNECT", "PROPFIND", "PUT", "DELETE"]:
        for path in ("/", f"/job/{job}", "/pair", "/trust", "/static/app.css"):
            assert refused(phone.request(method, path)), (method, path)


def test_a_websocket_is_closed(doors: Doors) -> None:
    for browser in (doors.phone(), doors.here()):
        with (
            pytest.raises(WebSocketDisconnect),
            browser.client.websocket_connect("/", headers={"origin": "https://evil.example"}),
        ):
            pass


def test_thousands_of_random_requests_open_nothing(doors: Doors, job: int) -> None:
    """Paths and headers put together by chance from pieces that mean something; seed 12."""
    doors.no_limits()
    chance = random.Random(12)
    pieces = ["/", "..", "job", "1", "%2f", "%00", "pair", "static", "sheet", "api", ";", "?", "\t"]
    phone = doors.phone().client
    for _ in range(300):
        path = "/" + "".join(chance.choice(pieces) for _ in range(chance.randrange(1, 9)))
        method = chance.choice(["GET", "POST", "HEAD", "PUT"])
        try:
            answer = phone.request(method, path, follow_redirects=False)
        except httpx2.InvalidURL:
            continue
        assert answer.status_code < 500, path
        assert OWNER not in answer.text, path


# A helper's phone ---------------------------------------------------------------------------------


def test_a_helper_is_no_technician_by_odd_spelling(doors: Doors, job: int) -> None:
    """His pages are not the technician's under another spelling of their address."""
    doors.no_limits()
    helper = doors.paired("helper").client
    for path in ("/settings", f"/job/{job}/proof", f"/job/{job}/agree", "/backup", "/api/jobs"):
        for odd in (path, f"{path}/", f"{path}%0a", f"{path}%20", path.upper()):
            answer = helper.get(odd, follow_redirects=False)
            assert answer.status_code in (307, 401, 403, 404), odd
            if answer.status_code == 307:
                assert helper.get(answer.headers["location"]).status_code in (403, 404), odd


def test_a_helper_asks_for_no_role(doors: Doors, job: int) -> None:
    """Roles are in the record: no field, cookie or header of his says what he is."""
    helper = doors.paired("helper")
    fields = {"role": "technician", "here": "1", "phone": "", "name": "x", "sure": "yes"}
    for action in (f"/job/{job}/forget", "/settings", "/phones/code", "/backup"):
        assert helper.send("/", action, fields).status_code == 403
    answer = helper.client.get("/settings", headers={"x-beltside-role": "technician"})
    assert answer.status_code == 403


# An owner whose link is over ----------------------------------------------------------------------


def test_a_code_or_phone_secret_opens_no_sheet_and_none_a_page(doors: Doors, shop: Shop) -> None:
    from beltside.jobs.access import AccessBook

    book = AccessBook(shop.record.database)
    long_ago = timedelta(days=-1)
    book.make("link", "L" * 43, role="owner", name="x", by="x", holds_for=long_ago)
    book.make("code", "ABCD2345", role="technician", name="x", by="x", holds_for=long_ago)
    stranger = doors.phone()
    assert refused(stranger.client.get("/sheet/" + "L" * 43))
    assert refused(stranger.client.get("/job/1", headers={"cookie": f"__Host-beltside={'L' * 43}"}))
    assert stranger.send("/pair", "/pair", {"code": "ABCD-2345"}).status_code in (401, 403, 422)


# A stranger's page in the technician's own browser ------------------------------------------------


FETCHES = (
    ("no-cors", "image"),
    ("no-cors", "script"),
    ("cors", "empty"),
    ("navigate", "iframe"),
    ("navigate", "object"),
    ("websocket", "websocket"),
)


def test_a_strangers_page_learns_nothing(doors: Doors, job: int) -> None:
    """Not even whether a job is there: both answers are the same."""
    doors.no_limits()
    for browser in (doors.here(), doors.paired("technician")):
        for site, (mode, dest) in itertools.product(("cross-site", "same-site"), FETCHES):
            said = {"sec-fetch-site": site, "sec-fetch-mode": mode, "sec-fetch-dest": dest}
            there = browser.client.get(f"/job/{job}", headers=said)
            nothing = browser.client.get("/job/999", headers=said)
            assert there.status_code == nothing.status_code == 403, said
            assert there.content == nothing.content


def test_a_link_on_a_strangers_page_may_be_followed(doors: Doors, job: int) -> None:
    said = {
        "sec-fetch-site": "cross-site",
        "sec-fetch-mode": "navigate",
        "sec-fetch-dest": "document",
    }
    assert doors.here().client.get(f"/job/{job}", headers=said).status_code == 200
    assert doors.here().client.post("/jobs", headers=said).status_code == 403


BODY_KINDS = (
    "text/plain",
    "application/x-www-form-urlencoded",
    "multipart/form-data; boundary=x",
    "application/json",
    "application/json; charset=utf-7",
    "text/xml",
    "application/x-www-form-urlencoded, application/json",
    "",
)


def test_what_a_body_calls_itself_opens_nothing(doors: Doors, shop: Shop) -> None:
    """A body that is JSON and a form at once, under every name a foreign form may give it."""
    body = b'{"words": "howls", "x": "=&words=howls&_token=x"}'
    here = doors.here().client
    for kind in BODY_KINDS:
        for path in ("/jobs", "/api/jobs"):
            sent = here.post(path, content=body, headers={"content-type": kind} if kind else {})
            assert 400 <= sent.status_code < 500, (kind, path)
    assert shop.record.jobs() == []


# Bodies made to exhaust ---------------------------------------------------------------------------


EXHAUSTING_JSON = (
    b"[" * 1_000_000,
    b'{"a":' * 300_000,
    json.dumps({f"k{n}": n for n in range(150_000)}).encode(),
    b'{"words": ' + b"9" * 1_000_000 + b"}",
    b'{"words": "' + b"\\ud800" * 100_000 + b'"}',
    b'{"words": NaN}',
)
EXHAUSTING_FORMS = (
    ("application/x-www-form-urlencoded", b"a=1&" * 100_000),
    ("application/x-www-form-urlencoded", b"a=" + b"x" * 11_000_000),
    ("multipart/form-data; boundary=x", b"--x\r\nA: b\r\n\r\n" * 50_000),
    ("multipart/form-data; boundary=" + "x" * 500, b"--"),
    ("multipart/form-data", b"--x\r\n"),
)


def test_json_made_to_exhaust(doors: Doors, shop: Shop) -> None:
    headers = {"content-type": "application/json", "x-beltside-by": "x"}
    here = doors.here().client
    for body in EXHAUSTING_JSON:
        sent = here.post("/api/jobs", content=body, headers=headers)
        assert 400 <= sent.status_code < 500, body[:20]
        assert len(sent.content) < 100_000, body[:20]
    assert shop.record.jobs() == []


def test_forms_made_to_exhaust(doors: Doors, shop: Shop) -> None:
    doors.no_limits()
    here, phone = doors.here().client, doors.phone().client
    for kind, body in EXHAUSTING_FORMS:
        for sent in (
            here.post("/jobs", content=body, headers={"content-type": kind}),
            phone.post("/pair", content=body, headers={"content-type": kind}),
        ):
            assert 400 <= sent.status_code < 500, (kind, body[:20])
    assert shop.record.jobs() == []


def test_no_route_is_a_websocket(doors: Doors) -> None:
    """All are plain requests: the table of who may what covers them all."""
    assert {method for method, _ in routes_of(doors.app)} <= {
        "GET",
        "POST",
        "PUT",
        "PATCH",
        "DELETE",
    }
