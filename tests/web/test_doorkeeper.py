"""The doorkeeper: names, origins, headers on every answer, lengths, errors, what the logs hold."""

from __future__ import annotations

import logging
import re

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from beltside.casework.shop import Shop
from beltside.web.app import create_app
from beltside.web.settings import WebSettings

from .conftest import Browser, Doors, Machine

# What the OWASP Secure Headers Project asks of every answer (from memory), as far as it applies.
WANTED = {
    "content-security-policy": "default-src 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=()",
}


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/", 200),
        ("GET", "/no-such-page", 404),
        ("GET", "/job/99", 404),
        ("GET", "/job/x", 404),
        ("POST", "/jobs", 403),
        ("DELETE", "/jobs", 405),
        ("GET", "/static/beltside.css", 200),
        ("GET", "/static/none.css", 404),
        ("GET", "/api/openapi.json", 200),
        ("GET", "/file/" + "0" * 64, 404),
    ],
)
def test_every_answer_has_the_headers(doors: Doors, method: str, path: str, status: int) -> None:
    answer = doors.here().client.request(method, path)
    assert answer.status_code == status
    for name, words in WANTED.items():
        assert words in answer.headers[name], name
    assert "strict-transport-security" not in answer.headers
    for directive in ("frame-ancestors 'none'", "object-src 'none'", "base-uri 'none'"):
        assert directive in answer.headers["content-security-policy"]
    assert "'unsafe-" not in answer.headers["content-security-policy"]
    assert "server" not in answer.headers


def test_refusals_have_the_headers_too(doors: Doors) -> None:
    phone = doors.phone()
    answers = [
        phone.client.get("/"),
        phone.client.get("/", headers={"host": "evil.example"}),
        phone.client.post("/pair", headers={"origin": "https://evil.example"}),
        phone.client.post("/pair", content=b"x" * 30_000),
    ]
    assert [one.status_code for one in answers] == [401, 403, 403, 413]
    for answer in answers:
        assert set(WANTED) <= set(answer.headers)
        assert answer.headers["cache-control"] == "no-store"


def test_an_error_of_our_own_has_the_headers_and_tells_nothing(app: FastAPI) -> None:
    def broken() -> None:
        raise RuntimeError("a secret of the inside")

    app.add_api_route("/broken", broken)
    client = TestClient(app, base_url="http://localhost:8460", raise_server_exceptions=False)
    answer = client.get("/broken")
    assert answer.status_code == 500
    assert set(WANTED) <= set(answer.headers)
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text


def test_https_is_remembered_only_where_it_is_https(doors: Doors) -> None:
    """RFC 6797: not over plain HTTP; and not for the name of this computer to itself."""
    answer = doors.phone().client.get("/pair")
    assert answer.headers["strict-transport-security"] == "max-age=31536000"
    own = doors.phone().client.get("/pair", headers={"host": "localhost:8461"})
    assert own.status_code == 200
    assert "strict-transport-security" not in own.headers


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:8461",
        "192.168.1.8:8461",
        "192.168.1.7.evil.example",
        "evil.example@192.168.1.7",
        "tarn.local.evil.example",
        "",
        "[::1]:8461",
        "192.168.1.7:8461:80",
    ],
)
def test_other_names_get_nothing(doors: Doors, host: str) -> None:
    """DNS rebinding: an attacker's name that leads here, at either door."""
    assert doors.phone().client.get("/pair", headers={"host": host}).status_code == 403
    if host != "[::1]:8461":
        assert doors.here().client.get("/", headers={"host": host}).status_code == 403


@pytest.mark.parametrize("host", ["192.168.1.7:8461", "tarn:8461", "TARN.local", "127.0.0.1"])
def test_the_machines_own_names_are_known(doors: Doors, host: str) -> None:
    assert doors.phone().client.get("/pair", headers={"host": host}).status_code == 200


def test_names_change_with_the_address(doors: Doors, machine: Machine) -> None:
    machine.addresses = ("10.0.0.4",)
    machine.door.look()
    assert doors.phone().client.get("/pair").status_code == 403
    moved = {"host": "10.0.0.4:8461"}
    assert doors.phone().client.get("/pair", headers=moved).status_code == 200


def test_the_local_names_are_not_those_of_the_network(doors: Doors) -> None:
    """A page on the network must not talk to the door of this computer by its address."""
    here = doors.here()
    assert here.client.get("/", headers={"host": "192.168.1.7:8460"}).status_code == 403


@pytest.mark.parametrize(
    ("origin", "site", "status"),
    [
        ("https://192.168.1.7:8461", "same-origin", 303),
        (None, None, 303),
        ("https://evil.example", None, 403),
        ("null", None, 403),
        ("http://192.168.1.7:8461", None, 403),
        ("https://192.168.1.7:9999", None, 403),
        ("https://192.168.1.7:8461", "cross-site", 403),
        (None, "same-site", 403),
    ],
)
def test_forms_from_elsewhere_are_refused(
    doors: Doors, origin: str | None, site: str | None, status: int
) -> None:
    phone = doors.paired()
    headers = {"origin": origin, "sec-fetch-site": site}
    sent = phone.send(
        "/", "/jobs", {"words": "hums"}, headers={k: v for k, v in headers.items() if v}
    )
    assert sent.status_code == status


def test_a_token_of_another_is_no_good(doors: Doors) -> None:
    one, other = doors.paired(), doors.paired(address="192.168.1.21")
    found = re.search(r'name="_token" value="([^"]+)"', one.get("/"))
    assert found is not None
    sent = other.client.post("/jobs", data={"_token": found[1], "words": "hums"})
    assert sent.status_code == 403


def test_a_form_outlives_a_restart(shop: Shop, machine: Machine) -> None:
    first = Doors(create_app(WebSettings(workers=0), shop=shop, phones=machine.door))
    phone = first.paired()
    found = re.search(r'name="_token" value="([^"]+)"', phone.get("/"))
    assert found is not None
    again = Doors(create_app(WebSettings(workers=0), shop=shop, phones=machine.door)).phone()
    again.client.cookies = phone.client.cookies
    sent = again.client.post(
        "/jobs", data={"_token": found[1], "words": "hums"}, follow_redirects=False
    )
    assert sent.status_code == 303


@pytest.mark.parametrize("header", ["x-forwarded-for", "x-forwarded-proto", "forwarded"])
def test_nobody_is_believed_about_where_he_comes_from(doors: Doors, header: str) -> None:
    value = {"x-forwarded-proto": "http", "forwarded": "proto=http"}.get(header, "127.0.0.1")
    assert doors.phone().client.get("/", headers={header: value}).status_code == 401


def test_devices_from_outside_the_local_network_are_refused(doors: Doors) -> None:
    """198.51.100.0/24 stands for a public network (RFC 5737)."""
    assert doors.phone("198.51.100.9").client.get("/pair").status_code == 403
    assert doors.phone("169.254.3.4").client.get("/pair").status_code == 200


def test_without_the_door_for_phones_https_is_not_answered(shop: Shop) -> None:
    app = create_app(WebSettings(workers=0), shop=shop)
    assert Doors(app).phone().client.get("/pair").status_code == 403


def test_a_cookie_of_one_door_is_none_at_the_other(doors: Doors) -> None:
    phone = doors.paired()
    (cookie,) = phone.client.cookies.jar
    here = doors.phone()
    here.client.cookies.set("beltside", str(cookie.value))
    assert here.client.get("/").status_code == 401


@pytest.mark.parametrize("cookie", ["", "x", "a" * 101, "a" * 5000, "' OR 1=1 --aaaaaaaaaaaaaaaaa"])
def test_bad_cookies_open_nothing(doors: Doors, cookie: str) -> None:
    phone = doors.phone()
    headers = {"cookie": f"__Host-beltside={cookie}"}
    assert phone.client.get("/", headers=headers).status_code == 401


def test_an_upload_may_not_be_longer_than_allowed(shop: Shop) -> None:
    shop.record.new_job(by="Per")
    settings = WebSettings(hosts=("testserver",), workers=0, most_upload_bytes=50_000)
    browser = Browser(TestClient(create_app(settings, shop=shop)))
    files = {"file": ("long.wav", b"x" * 60_000, "audio/wav")}
    sent = browser.send("/job/1/take", "/job/1/take", {"belt": "on"}, files=files)
    assert sent.status_code == 413
    # The same without its length said before: it is counted as it comes.
    sent = browser.client.post(
        "/job/1/take",
        content=iter([b"--b\r\n", *[b"x" * 30_000] * 3]),
        headers={"content-type": "multipart/form-data; boundary=b"},
    )
    assert sent.status_code == 413
    assert shop.record.sheet(shop.record.job(1).id).entries == ()


@pytest.mark.parametrize("length", ["-1", "many", "9" * 400])
def test_an_odd_length_is_refused(doors: Doors, length: str) -> None:
    answer = doors.here().client.post("/jobs", headers={"content-length": length}, content=b"")
    assert answer.status_code in (400, 413)


def test_private_pages_are_not_kept_by_browsers(doors: Doors, shop: Shop) -> None:
    shop.record.new_job(by="Per")
    phone = doors.paired("technician")
    for address in ("/", "/job/1", "/phones", "/job/1/proof", "/job/1/proof/page.png", "/pair"):
        assert phone.client.get(address).headers["cache-control"] == "no-store", address


def test_a_refusal_for_a_program_is_json(doors: Doors) -> None:
    answer = doors.phone().client.get("/", headers={"accept": "application/json"})
    assert answer.status_code == 401
    assert set(answer.json()) == {"problem", "allowed", "instead", "fields"}


def test_no_secret_stands_in_any_log(
    doors: Doors, caplog: pytest.LogCaptureFixture, shop: Shop, app: FastAPI
) -> None:
    """All that any library says at its most talkative, while a phone pairs and errors happen."""

    def broken() -> None:
        raise RuntimeError("broken")

    app.add_api_route("/broken", broken)
    with caplog.at_level(logging.DEBUG):
        logging.getLogger("sqlalchemy.engine").setLevel(logging.DEBUG)
        try:
            code = doors.code("technician")
            phone = doors.phone()
            phone.get(f"/pair/{code}")
            phone.send("/pair", "/pair", {"code": code})
            (cookie,) = phone.client.cookies.jar
            with pytest.raises(RuntimeError):
                phone.client.get("/broken")
        finally:
            logging.getLogger("sqlalchemy.engine").setLevel(logging.NOTSET)
    ours = [one.getMessage() for one in caplog.records if not one.name.startswith("httpx")]
    said = "\n".join(ours)
    assert "access" in said
    for secret in (code, code.replace("-", ""), str(cookie.value)):
        assert secret not in said
