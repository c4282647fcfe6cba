"""The list of jobs, and a new job in three fields."""

from __future__ import annotations

from beltside.casework.shop import Shop, write

from .conftest import Browser


def test_a_new_job_in_three_fields(browser: Browser, shop: Shop) -> None:
    sent = browser.send(
        "/", "/jobs", {"words": "Howls <when> cold", "car": "Tarn 1.4", "owner": "Åsa & Co"}
    )
    assert (sent.status_code, sent.headers["location"]) == (303, "/job/1")
    card = shop.record.job(1).card
    assert (card.complaint, card.car, card.owner) == ("Howls <when> cold", "Tarn 1.4", "Åsa & Co")
    page = browser.get("/")
    assert "Howls &lt;when&gt; cold" in page
    assert "Åsa &amp; Co" in page


def test_an_empty_form_opens_no_job(browser: Browser, shop: Shop) -> None:
    sent = browser.send("/", "/jobs", {"words": "", "car": "", "owner": ""})
    assert sent.status_code == 422
    assert "say what the owner says" in sent.text
    assert shop.record.jobs() == []


def test_a_field_that_is_off_is_left_out_and_the_rest_is_kept(browser: Browser, shop: Shop) -> None:
    sent = browser.send("/", "/jobs", {"words": "hums", "car": "x" * 500, "owner": "Per"})
    assert sent.headers["location"] == "/job/1/complaint"
    card = shop.record.job(1).card
    assert (card.complaint, card.owner, card.car) == ("hums", "Per", "")


def test_the_sheet_of_a_job_shows_every_stage(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "hums"})
    page = browser.get("/job/1")
    stages = ("Complaint", "Listen", "Find", "Measure", "Agree", "Work", "Prove", "Record")
    assert [name for name in stages if f">{name}</span>" not in page] == []
    assert "“hums”" in page


def test_a_form_without_its_token_changes_nothing(browser: Browser, shop: Shop) -> None:
    answer = browser.client.post("/jobs", data={"words": "hums"})
    assert answer.status_code == 403
    assert shop.record.jobs() == []


def test_a_form_sent_from_another_sites_page_is_refused(browser: Browser, shop: Shop) -> None:
    answer = browser.client.post(
        "/jobs", data={"words": "hums"}, headers={"origin": "https://evil.example"}
    )
    assert answer.status_code == 403
    assert shop.record.jobs() == []


def test_another_name_for_this_computer_is_refused(browser: Browser) -> None:
    """An attacker's name that leads here (DNS rebinding) gets nothing."""
    assert browser.client.get("/", headers={"host": "evil.example"}).status_code == 403


def test_every_answer_carries_the_safety_headers(browser: Browser) -> None:
    for address in ("/", "/no-such-page", "/static/beltside.css"):
        headers = browser.client.get(address).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def test_a_search_finds_words_with_a_slip_in_them(browser: Browser) -> None:
    browser.send("/", "/jobs", {"words": "howls when cold", "owner": "Lindqvist"})
    browser.send("/", "/jobs", {"words": "chirps", "owner": "Berg"})
    page = browser.get("/?words=lindqwist")
    assert "Lindqvist" in page
    assert "Berg" not in page


def test_an_address_that_names_no_job_is_told_in_plain_words(browser: Browser) -> None:
    answer = browser.client.get("/job/abc")
    assert answer.status_code == 404
    assert "No page has this address" in answer.text
    assert "integer" not in answer.text


def test_the_engine_alone_leaves_the_pulleys_to_be_measured(browser: Browser, shop: Shop) -> None:
    browser.send("/", "/jobs", {"words": "howls"})
    job = shop.record.job(1).id
    write(shop, job, "finding", {"check": "throttle-blip", "outcome": "follows"})
    write(shop, job, "drive-sheet", {"toml": "[engine]\ncylinders = 3\n"})
    page = browser.get("/job/1")
    assert "Engine entered, no pulleys yet." in page
    assert "Measure the pulleys and enter the drive" in page
