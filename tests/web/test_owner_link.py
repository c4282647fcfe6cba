"""An owner's link: one sheet, read only, over at its time, taken back at once."""

from __future__ import annotations

import re
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from beltside.base.errors import InputError
from beltside.casework.shop import MissingError, Shop
from beltside.casework.shop_access import linked_sheet, links, make_link

from .conftest import Browser, Doors

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job


def link_of(doors: Doors, days: str = "7") -> str:
    """The path of a fresh link to the sheet of job 1."""
    sent = doors.here().send("/job/1/link", "/job/1/link", {"days": days})
    assert sent.status_code == 200, sent.text
    found = re.search(r'class="address">[^<]*:8461(/sheet/[\w-]+)<', sent.text)
    assert found is not None
    return found[1]


@pytest.fixture
def handed(shop: Shop, doors: Doors) -> str:
    """A job whose sheet is handed out."""
    job = full_job(shop)
    assert doors.here().send("/job/1/proof", "/job/1/proof", {}).status_code == 303
    return job


def test_the_link_opens_its_sheet_to_whoever_has_it(doors: Doors, handed: str) -> None:
    path, owner = link_of(doors), doors.phone()
    page = owner.get(path)
    assert "9 dB quieter" in page
    whole = owner.client.get(f"{path}/sheet.html")
    assert "Anneke Vos" in whole.text
    # It is shown as if it came from nowhere, and leaves no trace in other addresses.
    assert "sandbox allow-scripts" in whole.headers["content-security-policy"]
    assert "allow-same-origin" not in whole.headers["content-security-policy"]
    assert whole.headers["referrer-policy"] == "no-referrer"
    assert owner.client.get(f"{path}/sheet.pdf").content.startswith(b"%PDF-")


def test_it_opens_nothing_else(doors: Doors, handed: str) -> None:
    path, owner = link_of(doors), doors.phone()
    ways = re.findall(r'href="(/[^"]*)"', owner.get(path))
    assert {way for way in ways if not way.startswith(("/static/", path))} <= {"/pair"}
    for address in ("/", "/job/1", "/job/1/proof", "/job/1/proof/sheet.pdf", "/phones"):
        assert owner.client.get(address).status_code == 401
    for method in ("POST", "PUT", "DELETE"):
        assert owner.client.request(method, path).status_code == 401


def test_it_keeps_the_sheet_it_was_made_for(doors: Doors, handed: str, shop: Shop) -> None:
    path, owner = link_of(doors), doors.phone()
    shop.record.add(handed, "observation", {"words": "Belt frayed", "watch": True}, by="x")
    doors.here().send("/job/1/proof", "/job/1/proof", {})
    assert "Belt frayed" not in owner.client.get(f"{path}/sheet.html").text
    assert "Belt frayed" in owner.client.get(f"{link_of(doors)}/sheet.html").text


def test_it_is_over_at_its_time(shop: Shop, handed: str) -> None:
    made = make_link(shop, handed, 1)
    assert linked_sheet(shop, made.token)[0].id == made.access.id
    tomorrow = datetime.now(UTC) + timedelta(days=1)
    with pytest.raises(MissingError, match="no more"):
        linked_sheet(shop, made.token, now=lambda: tomorrow)


def test_it_is_taken_back_at_once(doors: Doors, handed: str, shop: Shop) -> None:
    path, owner = link_of(doors), doors.phone()
    owner.get(path)
    (link,) = links(shop)
    sent = doors.here().send("/job/1/link", f"/phones/{link.id}/end", {"from": "job"})
    assert sent.headers["location"].startswith("/job/1/link")
    for end in ("", "/sheet.html", "/sheet.pdf"):
        assert owner.client.get(path + end).status_code == 404
    assert "taken back" in doors.here().get("/job/1/link")


@pytest.mark.parametrize("token", ["x", "a" * 43, "..", "%2e%2e", "' OR 1=1 --", "a" * 3000])
def test_guesses_open_nothing(doors: Doors, handed: str, token: str) -> None:
    link_of(doors)
    assert doors.phone().client.get(f"/sheet/{token}").status_code in (401, 404)


def test_a_sheet_that_was_not_handed_out_has_no_link(
    doors: Doors, shop: Shop, browser: Browser
) -> None:
    job = full_job(shop)
    assert "was not handed out yet" in doors.here().get("/job/1/link")
    with pytest.raises(InputError, match="handed out"):
        make_link(shop, job, 7)
    with pytest.raises(InputError, match="365"):
        make_link(shop, job, 365)


def test_the_technicians_phone_makes_links_a_helpers_does_not(doors: Doors, handed: str) -> None:
    assert doors.paired("technician").client.get("/job/1/link").status_code == 200
    assert doors.paired("helper").client.get("/job/1/link").status_code == 403


def test_its_secret_is_shown_once(doors: Doors, handed: str, shop: Shop) -> None:
    token = link_of(doors).rpartition("/")[2]
    assert token not in doors.here().get("/job/1/link")
    assert token not in doors.here().get("/phones")
    data = b"".join(path.read_bytes() for path in shop.folder.glob("shop.db*"))
    assert token.encode() not in data
