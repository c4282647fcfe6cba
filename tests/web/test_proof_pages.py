"""The pages of handing over: the proof sheet, how it was done, what to look at again."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job

from beltside.casework.shop import Shop, sheet_of
from beltside.casework.shop_proof import handed_out
from beltside.proof.sheet_check import check_file


def test_the_sheet_is_handed_out_and_holds(shop: Shop, browser: Any) -> None:
    job = full_job(shop)
    page = browser.get("/job/1/proof")
    assert "9 dB quieter" in page
    assert "sheet.pdf" not in page
    assert browser.client.get("/job/1/proof/sheet.pdf").status_code >= 400
    assert browser.client.get("/job/1/proof/page.png").content.startswith(b"\x89PNG")
    sent = browser.send("/job/1/proof", "/job/1/proof", {})
    assert sent.status_code == 303
    assert handed_out(shop, job) is not None
    page = browser.get("/job/1/proof?saved=1")
    assert "Last handed out" in page
    assert "written since" not in page
    for kind in ("pdf", "html"):
        file = browser.client.get(f"/job/1/proof/sheet.{kind}")
        assert file.headers["content-disposition"] == f'attachment; filename="proof-1.{kind}"'
        assert check_file(shop, file.content).genuine


def test_something_written_since_is_said(shop: Shop, browser: Any) -> None:
    job = full_job(shop)
    browser.send("/job/1/proof", "/job/1/proof", {})
    shop.record.add(job, "part-used", {"name": "Clamp", "quantity": 1}, by="x")
    assert "written since" in browser.get("/job/1/proof")


def test_handing_out_needs_the_form(shop: Shop, browser: Any) -> None:
    job = full_job(shop)
    assert browser.client.post("/job/1/proof", data={}).status_code >= 400
    assert handed_out(shop, job) is None


def test_an_empty_job_says_what_is_missing(shop: Shop, browser: Any) -> None:
    shop.record.new_job(by="x")
    assert "not tested for leaks" in browser.get("/job/1/proof")
    assert "No step was ticked" in browser.get("/job/1/how")
    assert browser.client.get("/job/9/proof").status_code == 404


def test_how_it_was_done(shop: Shop, browser: Any) -> None:
    full_job(shop)
    page = browser.get("/job/1/how")
    assert "Where it fought back" in page
    assert "Take the coolant pump off" in page
    assert browser.client.get("/job/1/how/sheet.pdf").content.startswith(b"%PDF-")
    assert b"Vos" not in browser.client.get("/job/1/how/sheet.html").content
    assert browser.client.get("/job/1/how/sheet.exe").status_code >= 400


def test_reminders_are_listed_and_ticked(shop: Shop, browser: Any) -> None:
    job = full_job(shop)
    page = browser.get("/reminders")
    assert "Listen again at idle" in page
    entry = sheet_of(shop, job).of_kind("reminder")[0]
    assert browser.send("/reminders", f"/reminders/{entry.id}", {}).status_code == 303
    assert shop.record.entry(entry.id).body["done"] is True
    take = sheet_of(shop, job).of_kind("take")[0]
    assert browser.send("/reminders", f"/reminders/{take.id}", {}).status_code >= 400
