"""Takes: a file from a form without JavaScript, and one sent by the recorder."""

from __future__ import annotations

import io
import re
import wave

import pytest

from beltside.casework.shop import Shop, sheet_of, write

from .conftest import Browser


def wav(seconds: float = 2.5) -> bytes:
    """A quiet recording, in the simplest format there is."""
    data = io.BytesIO()
    with wave.open(data, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes(bytes(int(seconds * 8000) * 2))
    return data.getvalue()


@pytest.fixture
def job(browser: Browser) -> str:
    browser.send("/", "/jobs", {"words": "howls"})
    return "/job/1/take"


def send(browser: Browser, job: str, data: bytes, name: str = "take.wav", **fields: str):
    return browser.send(
        job, job, {"belt": "on", **fields}, files={"file": (name, data, "audio/wav")}
    )


def test_a_file_is_kept_with_its_conditions(browser: Browser, shop: Shop, job: str) -> None:
    sent = send(browser, job, wav(), belt="off", place="coolant-pump", load="lights")
    assert sent.status_code == 303
    (take,) = shop.record.sheet(shop.record.job(1).id).of_kind("take")
    assert (take.body["belt"], take.body["place"], take.body["load"]) == (
        "off",
        "coolant-pump",
        ["lights"],
    )
    assert shop.files.path(take.body["file"]).read_bytes() == wav()
    assert "belt off, at the coolant pump, with lights" in browser.get(job)
    assert browser.client.get(f"/file/{take.body['file']}").content == wav()


def test_the_same_recording_sent_again_is_kept_once(browser: Browser, shop: Shop, job: str) -> None:
    for _ in range(2):
        assert send(browser, job, wav(), entry_id="0199aa").status_code == 303
    assert len(shop.record.sheet(shop.record.job(1).id).of_kind("take")) == 1


@pytest.mark.parametrize(
    ("data", "name", "says"),
    [
        (b"", "take.wav", "an empty file"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "photo.png", "a picture"),
        (b"dear owner, the pump is done", "letter.txt", "text, no recording"),
    ],
)
def test_what_is_no_recording_is_told_beside_the_file(
    browser: Browser, shop: Shop, job: str, data: bytes, name: str, says: str
) -> None:
    sent = send(browser, job, data, name, belt="off", place="idler")
    assert sent.status_code == 422
    assert says in sent.text
    assert 'value="idler" checked' in sent.text
    assert shop.record.sheet(shop.record.job(1).id).of_kind("take") == ()


def test_a_wrong_field_keeps_the_recording(browser: Browser, shop: Shop, job: str) -> None:
    sent = send(browser, job, wav(), belt="off", crank_rpm="fast")
    assert sent.status_code == 422
    assert "this text is no number" in sent.text
    assert 'value="fast"' in sent.text
    assert 'value="off" checked' in sent.text
    (take,) = shop.record.sheet(shop.record.job(1).id).of_kind("take")
    assert (take.body["belt"], take.body["crank_rpm"]) == ("off", None)


def test_the_recorder_is_answered_in_json(browser: Browser, job: str) -> None:
    page = browser.get(job)
    token = page.split('name="_token" value="')[1].split('"')[0]
    answer = browser.client.post(
        job,
        data={"_token": token, "belt": "on"},
        files={"file": ("a.webm", b"", "audio/webm")},
        headers={"accept": "application/json"},
    )
    assert answer.status_code == 422
    assert "an empty file" in answer.json()["problem"]


def test_how_the_phone_was_held_for_a_stereo_take(browser: Browser, shop: Shop, job: str) -> None:
    sent = send(browser, job, wav(), belt="on", mic_spacing_mm="140", stand_off_mm="2")
    assert sent.status_code == 422
    assert "50 to 3000" in sent.text
    (take,) = sheet_of(shop, "1").of_kind("take")
    assert (take.body["mic_spacing_mm"], take.body["stand_off_mm"]) == (140.0, None)
    page = f"/job/1/take/{take.id}"
    fields = {"belt": "on", "place": "front of engine", "stage": "before"}
    fields |= {"mic_spacing_mm": "138", "stand_off_mm": "400", "version": str(take.version)}
    assert browser.send(page, page, fields).status_code == 303
    (take,) = sheet_of(shop, "1").of_kind("take")
    assert (take.body["mic_spacing_mm"], take.body["stand_off_mm"]) == (138.0, 400.0)
    assert 'value="138.0"' in browser.get(page)


TWO_IDLERS = """
[engine]
cylinders = 3
[[pulley]]
part = "crank"
diameter_mm = 152
[[pulley]]
part = "idler"
diameter_mm = 77
face = "back"
[[pulley]]
part = "alternator"
diameter_mm = 54
[[pulley]]
part = "idler"
diameter_mm = 82
face = "back"
"""


def test_the_probe_can_be_put_on_every_pulley_of_this_drive_and_on_no_other(
    browser: Browser, shop: Shop, job: str
) -> None:
    assert 'value="fan"' in browser.get(job)
    write(shop, sheet_of(shop, "1").job.id, "drive-sheet", {"toml": TWO_IDLERS})
    page = browser.get(job)
    assert "<span>idler 2</span>" in page
    assert re.findall(r'name="place" value="([^"]+)"', page) == [
        "front of engine",
        "crank",
        "idler",
        "alternator",
        "idler-2",
    ]
    assert send(browser, job, wav(), place="idler-2").status_code == 303
    (take,) = sheet_of(shop, "1").of_kind("take")
    own_page = browser.get(f"/job/1/take/{take.id}")
    assert 'value="idler-2" checked' in own_page
    assert "at the idler 2" in browser.get(job)


def test_a_place_in_own_words_is_not_lost_on_the_takes_own_page(
    browser: Browser, shop: Shop, job: str
) -> None:
    send(browser, job, wav(), place="under the car")
    (take,) = sheet_of(shop, "1").of_kind("take")
    assert 'value="under the car" checked' in browser.get(f"/job/1/take/{take.id}")
