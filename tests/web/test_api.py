"""The API: a job from the first words to the closed record, and what is refused how."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2
import pytest
from fastapi.testclient import TestClient
from PIL import Image

from beltside.casework.shop import Shop, open_shop
from beltside.casework.shop_view import job_view
from beltside.web.app import create_app
from beltside.web.settings import WebSettings

from .api_shop import HEADERS, api_over
from .test_take_pages import wav


@pytest.fixture
def client(shop: Shop) -> Iterator[TestClient]:
    with TestClient(api_over(shop), headers=HEADERS) as client:
        yield client


@pytest.fixture
def job(client: TestClient) -> str:
    sent = client.post("/api/jobs", json={"words": "howls when cold", "owner": "Per"})
    assert sent.status_code == 201
    return f"/api/jobs/{sent.json()['number']}"


def jpeg() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (96, 72), (120, 90, 60)).save(out, "JPEG")
    return out.getvalue()


SHEET = """
[engine]
cylinders = 4
strokes = 4
[[pulley]]
part = "crank"
x_mm = 0
y_mm = 0
diameter_mm = 138
face = "ribbed"
[[pulley]]
part = "alternator"
x_mm = 175
y_mm = 205
diameter_mm = 55
face = "ribbed"
[[pulley]]
part = "coolant-pump"
x_mm = -60
y_mm = 180
diameter_mm = 120
face = "ribbed"
"""


def made(sent: httpx2.Response, status: int = 201) -> Any:
    assert sent.status_code == status, sent.text
    return sent.json()


def test_a_whole_job(client: TestClient, shop: Shop, job: str) -> None:
    made(client.patch(f"{job}/car", json={"name": "Tarn 1.4", "distance_km": 81000}), 200)
    made(client.post(f"{job}/observations", json={"words": "belt glazed", "watch": True}))
    saved = made(client.put(f"{job}/drive-sheet", json={"toml": SHEET}), 200)
    assert saved["belt_length_mm"] > 0
    take = made(
        client.post(
            f"{job}/takes",
            params={"belt": "off", "place": "coolant-pump", "name": "memo.wav"},
            content=wav(),
            headers={"Content-Type": "audio/wav"},
        )
    )
    assert take["problems"] == {}
    card = made(client.get(f"{job}/checks/spin-by-hand?part=coolant-pump"), 200)
    assert "rough" in [one["word"] for one in card["outcomes"]]
    finding = {"check": "spin-by-hand", "part": "coolant-pump", "outcome": "rough"}
    made(client.post(f"{job}/findings", json=finding))
    odds = made(client.get(f"{job}/odds"), 200)
    assert sum(one["probability"] for one in odds["suspects"]) == pytest.approx(1.0, abs=1e-6)
    made(client.put(f"{job}/plan", json={"template": "coolant-pump"}), 200)
    step = made(client.get(f"{job}/plan"), 200)["steps"][0]["id"]
    made(client.post(f"{job}/plan/ticks", json={"step": step, "minutes": 4.5}))
    prices = {"labour_per_hour": "72.00", "price": [{"name": "coolant pump", "price": "89.50"}]}
    offer = made(client.post(f"{job}/estimate", json=prices))
    yes = {"option": "1", "name": "Per", "version": offer["version"]}
    made(client.post(f"{job}/approval", json=yes))
    made(client.post(f"{job}/parts", json={"name": "coolant pump", "price": "89.50"}))
    cap = made(client.post(f"{job}/coolant/cap", json={"given": {"mark": "1.1"}}))
    assert cap["headline"]
    test = made(client.post(f"{job}/hold-tests", json={"given": {"cap": "108 kPa"}}))["entry"]
    for minutes, pressure in ((0, 108), ("5:00", "108 kPa"), (10, 107.5)):
        look = {"minutes": minutes, "pressure_kpa": pressure}
        read = made(client.post(f"{job}/hold-tests/{test}/readings", json=look))
    assert [one["minutes"] for one in read["read"]] == [0, 5, 10]
    made(client.post(f"{job}/hold-tests/{test}/verdict", json={}), 200)
    made(client.post(f"{job}/reminders", json={"words": "level", "due": "2027-03-31"}))
    end = {"cause": "coolant-pump.bearing", "cured": True, "replaced": ["coolant-pump.bearing"]}
    made(client.post(f"{job}/close", json=end), 200)
    made(client.post(f"{job}/proof"))
    pdf = client.get(f"{job}/proof.pdf")
    assert (pdf.status_code, pdf.content[:5]) == (200, b"%PDF-")
    glance = made(client.get(job), 200)
    # The same as the command prints.
    assert glance == json.loads(json.dumps(job_view(shop, "1").to_json()))
    assert glance["job"]["stage"] == "closed"
    assert made(client.get("/api/jobs?which=closed"), 200)["jobs"][0]["number"] == 1
    assert made(client.get("/api/search?words=houls"), 200)["jobs"][0]["number"] == 1
    changes = made(client.get(f"{job}/history"), 200)["changes"]
    assert {one["by"] for one in changes} == {"a program"}
    again = made(client.post(f"{job}/comeback", json={"words": "it howls again"}))
    assert made(client.get(f"/api/jobs/{again['number']}/earlier"), 200)["job"]["number"] == 1


def test_export_and_import(client: TestClient, job: str, tmp_path: Path) -> None:
    made(client.post(f"{job}/takes", content=wav()))
    exported = client.get("/api/export.zip")
    with zipfile.ZipFile(io.BytesIO(exported.content)) as zipped:
        assert zipped.testzip() is None
    assert client.get("/api/jobs.csv").content.startswith(b"\xef\xbb\xbf")
    with open_shop(tmp_path / "other") as other, TestClient(api_over(other)) as there:
        made(there.post("/api/import", content=exported.content, headers=HEADERS))
        take = made(there.get("/api/jobs/1/takes"), 200)["takes"][0]
        assert there.get(f"/api/files/{take['body']['file']}").content == wav()
        refused = there.post("/api/import", content=b"no zip", headers=HEADERS)
    assert refused.status_code == 422


def test_two_writers_are_joined_and_a_clash_is_told(client: TestClient, job: str) -> None:
    first = made(client.get(f"{job}/entries?kind=owner"), 200)["entries"][0]
    base = {"based_on": first["version"]}
    made(client.patch(f"{job}/owner", params=base, json={"phone": "0555 1"}), 200)
    joined = made(client.patch(f"{job}/owner", params=base, json={"email": "per@x.example"}), 200)
    assert joined["joined"] == ["phone"]
    assert (joined["body"]["phone"], joined["body"]["email"]) == ("0555 1", "per@x.example")
    strict = {**base, "refuse_clash": True}
    refused = client.patch(f"{job}/owner", params=strict, json={"phone": "0555 2"})
    assert refused.status_code == 409
    assert "phone" in refused.json()["problem"]
    clash = made(client.patch(f"{job}/owner", params=base, json={"phone": "0555 2"}), 200)
    (told,) = clash["clashes"]
    assert (told["field"], told["kept"], told["other"]) == ("phone", "0555 2", "0555 1")
    gone = client.patch(f"{job}/owner", params={"based_on": 99}, json={"phone": "1"})
    assert gone.status_code == 404


def test_an_estimate_that_changed_is_not_agreed_to(client: TestClient, job: str) -> None:
    made(client.put(f"{job}/plan", json={"template": "belt"}), 200)
    shown = made(client.post(f"{job}/estimate", json={"labour_per_hour": "70"}))["version"]
    made(client.post(f"{job}/estimate", json={"labour_per_hour": "95"}))
    yes = {"option": "1", "name": "Per", "version": shown}
    refused = client.post(f"{job}/approval", json=yes)
    assert refused.status_code == 409
    assert "has changed" in refused.json()["problem"]


def test_an_entry_is_removed_and_brought_back(client: TestClient, job: str) -> None:
    note = made(client.post(f"{job}/notes", json={"words": "first"}))["entry"]
    made(client.patch(f"{job}/entries/{note}", json={"words": "second"}), 200)
    assert made(client.delete(f"{job}/entries/{note}"), 200)["removed"] is True
    assert made(client.get(f"{job}/entries?kind=note"), 200)["entries"] == []
    assert client.patch(f"{job}/entries/{note}", json={"words": "x"}).status_code == 422
    back = made(client.post(f"{job}/entries/{note}/bring-back", json={"version": 1}), 200)
    assert (back["body"]["words"], back["removed"]) == ("first", False)
    versions = made(client.get(f"{job}/entries/{note}/versions"), 200)["entries"]
    assert [one["how"] for one in versions] == ["made", "changed", "removed", "brought back"]


def test_what_was_worked_out_is_not_changed_by_hand(client: TestClient, job: str) -> None:
    made(client.post(f"{job}/close", json={"note": "gave up"}), 200)
    outcome = made(client.get(f"{job}/entries?kind=outcome"), 200)["entries"][0]["entry"]
    refused = client.patch(f"{job}/entries/{outcome}", json={"closed": False})
    assert refused.status_code == 422
    assert refused.json()["fields"] == {
        "closed": "is not changed by itself: take it back and write it anew"
    }


def test_what_is_sent_twice_is_kept_once(client: TestClient, job: str) -> None:
    for _ in range(2):
        sent = made(client.post(f"{job}/takes?own_name=memo-1", content=wav()))
        assert sent["entry"] == "memo-1"
    assert len(made(client.get(f"{job}/takes"), 200)["takes"]) == 1
    numbers = {
        made(client.post("/api/jobs?own_name=visit-7", json={"words": "hums"}))["number"]
        for _ in range(2)
    }
    assert len(numbers) == 1


def test_a_condition_that_is_off_keeps_the_recording(client: TestClient, job: str) -> None:
    sent = made(client.post(f"{job}/takes?belt=loose&place=idler", content=wav()))
    assert list(sent["problems"]) == ["belt"]
    body = made(client.get(f"{job}/takes/1"), 200)["body"]
    assert (body["belt"], body["place"]) == ("unknown", "idler")


def test_analysis_is_asked_called_off_and_asked_again(client: TestClient, job: str) -> None:
    made(client.post(f"{job}/takes", content=wav()))
    assert made(client.get(f"{job}/takes/1"), 200)["state"] == "waiting"
    assert made(client.get("/api/work"), 200)["open"] == 1
    assert made(client.delete(f"{job}/takes/1/analysis"), 200)["called_off"] is True
    assert made(client.get(f"{job}/takes/1"), 200)["state"] == "cancelled"
    assert made(client.post(f"{job}/takes/1/analysis"), 202)["state"] == "waiting"


def test_a_photo_is_kept_and_handed_out(client: TestClient, job: str) -> None:
    sent = made(
        client.post(
            f"{job}/photos?caption=front", content=jpeg(), headers={"Content-Type": "image/jpeg"}
        )
    )
    got = client.get(f"/api/files/{sent['body']['file']}")
    assert (got.content, got.headers["content-type"]) == (jpeg(), "image/jpeg")


@pytest.mark.parametrize(
    ("path", "body", "status", "says"),
    [
        ("/api/jobs/1/takes", b"dear owner", 415, "text, no recording"),
        ("/api/jobs/1/takes", jpeg(), 415, "picture"),
        ("/api/jobs/1/takes", b"", 415, "an empty file"),
        ("/api/jobs/1/takes", bytes(3000), 413, "up to 0.002 MB"),
        ("/api/jobs/1/photos", b"dear owner", 415, "picture"),
        ("/api/jobs/9/takes", wav(0.1), 404, "no job"),
    ],
)
def test_uploads_that_are_refused_leave_nothing(
    shop: Shop, path: str, body: bytes, status: int, says: str
) -> None:
    app = create_app(
        WebSettings(hosts=("testserver",), workers=0, most_upload_bytes=2000), shop=shop
    )
    with TestClient(app, headers=HEADERS) as client:
        client.post("/api/jobs", json={"words": "x"})
        sent = client.post(path, content=body)
    assert sent.status_code == status, sent.text
    assert says in sent.text
    assert list(shop.files.names()) == []
    assert not any((shop.folder / "files").rglob("tmp*"))


def test_an_upload_of_unknown_length_is_cut_off(shop: Shop) -> None:
    app = create_app(
        WebSettings(hosts=("testserver",), workers=0, most_upload_bytes=200_000), shop=shop
    )
    with TestClient(app, headers=HEADERS) as client:
        client.post("/api/jobs", json={"words": "x"})
        sent = client.post("/api/jobs/1/takes", content=iter([wav(20)] * 4))
    assert sent.status_code == 413
    assert list(shop.files.names()) == []


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"X-Beltside-By": ""}, 422),
        ({"X-Beltside-By": "%FF"}, 422),
        ({"X-Beltside-By": "a", "Origin": "http://evil.example"}, 403),
        ({"X-Beltside-By": "a", "Origin": "null"}, 403),
        ({"X-Beltside-By": "a", "Sec-Fetch-Site": "cross-site"}, 403),
        ({"X-Beltside-By": "a", "Host": "evil.example"}, 403),
        ({"X-Beltside-By": "a", "Content-Type": "text/plain"}, 415),
        ({"X-Beltside-By": "a", "Content-Type": "application/x-www-form-urlencoded"}, 415),
    ],
)
def test_a_write_names_its_writer_and_is_no_foreign_pages(
    shop: Shop, headers: dict[str, str], status: int
) -> None:
    with TestClient(api_over(shop)) as client:
        sent = client.post(
            "/api/jobs",
            content=b'{"words": "x"}',
            headers={"Content-Type": "application/json", **headers},
        )
    assert sent.status_code == status
    assert set(sent.json()) == {"problem", "allowed", "instead", "fields"}
    assert shop.record.jobs() == []


def test_a_write_without_the_header_is_refused(shop: Shop) -> None:
    """A form of a foreign page can send no header of its own."""
    with TestClient(api_over(shop)) as client:
        assert client.post("/api/jobs", json={"words": "x"}).status_code == 422
        assert client.post("/api/jobs/1/takes", content=wav()).status_code == 422
        asked = client.options(
            "/api/jobs",
            headers={
                "Origin": "http://evil.example",
                "Access-Control-Request-Method": "POST",
                "Access-Control-Request-Headers": "x-beltside-by",
            },
        )
    # No answer a browser would take for a yes (Fetch standard, CORS-preflight fetch).
    assert "access-control-allow-origin" not in asked.headers
    assert shop.record.jobs() == []


def test_a_writers_name_may_have_any_letters(client: TestClient, shop: Shop) -> None:
    for name in ("Åsa Öst".encode(), b"%C3%85sa%20%C3%96st"):
        made(client.post("/api/jobs", json={"words": "x"}, headers={b"X-Beltside-By": name}))
    assert {job.created_by for job in shop.record.jobs()} == {"Åsa Öst"}


@pytest.mark.parametrize(
    ("body", "status"),
    [(b"{", 422), (b"\xff", 422), (b"[1]", 422), (b'{"words": 1}', 422), (b"x" * 2_100_000, 413)],
)
def test_bodies_that_are_off_are_told(client: TestClient, body: bytes, status: int) -> None:
    sent = client.post("/api/jobs", content=body, headers={"Content-Type": "application/json"})
    assert sent.status_code == status
    assert sent.json()["problem"]


def test_a_long_body_is_refused_whatever_it_says_of_its_length(client: TestClient) -> None:
    sent = client.post(
        "/api/jobs",
        content=iter([b" " * 100_000] * 30),
        headers={"Content-Type": "application/json"},
    )
    assert sent.status_code == 413


def test_paths_and_methods_that_are_not_there(client: TestClient) -> None:
    assert client.get("/api/nothing").json()["instead"] == "what /api/openapi.json lists"
    assert client.put("/api/jobs").status_code == 405


def test_the_page_for_programs_lists_every_operation(client: TestClient) -> None:
    page = client.get("/api").text
    document = client.get("/api/openapi.json").json()
    for path, methods in document["paths"].items():
        assert f"<code>{path}</code>" in page
        assert page.count(f"<code>{path}</code>") == len(methods)
    for name in document["components"]["schemas"]:
        assert f'id="form-{name}"' in page
    # Nothing is fetched from elsewhere.
    assert "//cdn" not in page
    assert [line for line in page.split('src="')[1:] if not line.startswith("/static/")] == []


def test_an_owner_is_forgotten_when_it_is_really_meant(client: TestClient, job: str) -> None:
    would = made(client.post(f"{job}/forget", json={}), 200)
    assert (would["done"], would["jobs"]) == (False, [1])
    assert "Per" in client.get(f"{job}/history").text
    assert made(client.post(f"{job}/forget", json={"really": True}), 200)["done"] is True
    assert "Per" not in client.get(f"{job}/history").text
    assert made(client.get(job), 200)["job"]["words"] == "howls when cold"


def test_without_closed_jobs_a_noise_is_like_nothing(client: TestClient, job: str) -> None:
    made(client.post(f"{job}/takes", content=wav()))
    found = made(client.get(f"{job}/similar"), 200)
    assert (found["nearest"], found["compared"]) == ([], 0)
    assert found["why_not"]
