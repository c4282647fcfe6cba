"""Backup and forgetting in the browser: said, begun, watched, called off; errors lose nothing.

Backups are put back here by the command's own way, so that "made" means that it can be.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "casework"))

from proof_jobs import full_job

from beltside.casework import shop_backup
from beltside.casework.shop import Shop, open_shop
from beltside.casework.shop_backup import list_backups, restore_backup
from beltside.casework.shop_forget import is_forgotten

from .conftest import Browser, Doors

PAGE = "/backup"


def made(browser: Browser, folder: Path | str, **more: Any) -> str:
    """Send the form, wait, and give the page afterwards."""
    sent = browser.send(PAGE, PAGE, {"folder": str(folder), **more})
    assert sent.status_code == 303, sent.text
    browser.client.app.state.backup.wait()  # type: ignore[attr-defined]
    return browser.get(PAGE)


def test_the_settings_lead_to_it_and_none_was_made(browser: Browser) -> None:
    assert f'href="{PAGE}"' in browser.get("/settings")
    assert "No backup was made from this computer yet" in browser.get(PAGE)


def test_made_and_put_back(browser: Browser, shop: Shop, tmp_path: Path) -> None:
    shop.record.new_job([("owner", {"name": "Berg"})], by="Ida", job_id="j1")
    page = made(browser, tmp_path / "stick")
    assert "Read back and whole: 1 job and 0 files." in page
    last = page.split("The last one")[1].split("</section>")[0]
    assert str(tmp_path / "stick") in last
    (line,) = list_backups(tmp_path / "stick")
    assert line.made_at[:16].replace("T", " ") in last
    restore_backup(tmp_path / "stick", tmp_path / "again")
    with open_shop(tmp_path / "again", by="Ida") as again:
        assert again.record.job("j1").card.owner == "Berg"
    # The next one is offered the same folder, and one by command is known to the page too.
    assert f'value="{tmp_path / "stick"}"' in page


def test_with_a_passphrase(browser: Browser, tmp_path: Path) -> None:
    folder, words = tmp_path / "stick", {"passphrase": "quiet belts", "again": "quiet belt"}
    sent = browser.send(PAGE, PAGE, {"folder": str(folder), **words})
    assert sent.status_code == 422
    assert "The two passphrases differ; nothing was written" in sent.text
    assert "quiet belt" not in sent.text
    assert "encrypted" in made(browser, folder, passphrase="quiet belts", again="quiet belts")
    # From then on once is enough, and another one is told.
    made(browser, folder, passphrase="quiet belts")
    assert len(list_backups(folder, passphrase=lambda new: "quiet belts")) == 2
    sent = browser.send(PAGE, PAGE, {"folder": str(folder), "passphrase": "loud belts"})
    assert "This passphrase does not open the backup" in sent.text
    sent = browser.send(PAGE, PAGE, {"folder": str(folder)})
    assert "are encrypted" in sent.text
    assert len(list_backups(folder, passphrase=lambda new: "quiet belts")) == 2


@pytest.mark.parametrize(
    ("folder", "says"),
    [
        ("", "No folder was named"),
        ("stick", "no whole path"),
        ("{shop}/inside", "within the shop&#39;s own folder"),
        ("{other}", "holds other things"),
        ("{other}/letter/x", "can&#39;t be written to"),
        ("/proc/no-such-place/x", "can&#39;t be written to"),
        ("/" + "x" * 400, "can&#39;t be written to"),
    ],
)
def test_a_folder_that_will_not_do(
    browser: Browser, shop: Shop, tmp_path: Path, folder: str, says: str
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "letter").write_text("mine")
    typed = folder.format(shop=shop.folder, other=other)
    sent = browser.send(PAGE, PAGE, {"folder": typed})
    assert sent.status_code in (422, 503)
    assert says in sent.text
    assert f'value="{typed}"' in sent.text
    assert [one.name for one in other.iterdir()] == ["letter"]
    assert "No backup was made" in browser.get(PAGE)


def test_called_off_in_the_middle(
    browser: Browser, shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "stick"
    made(browser, folder)
    for number in range(3):
        stored = shop.files.put([bytes([number]) * 100], most_bytes=1000)
        shop.record.keep_file(stored, "audio/wav")
    begun, go = threading.Event(), threading.Event()
    into = shop_backup.backup_into

    def slow(shop: Shop, target: Any, *, progress: Any) -> Any:
        def watched(doing: str, share: float) -> None:
            progress(doing, share)
            begun.set()
            go.wait(60)

        return into(shop, target, progress=watched)

    monkeypatch.setattr(shop_backup, "backup_into", slow)
    assert browser.send(PAGE, PAGE, {"folder": str(folder)}).status_code == 303
    assert begun.wait(60)
    page = browser.get(PAGE)
    assert "Being made now" in page
    assert "<noscript>" in page
    told = browser.client.get(f"{PAGE}/progress").json()
    assert (told["done"], told["doing"]) == (False, "Reading the record")
    # One at a time; then off.
    state = browser.client.app.state.backup  # type: ignore[attr-defined]
    with pytest.raises(ValueError, match="being made already"):
        state.begin(shop, str(folder))
    assert browser.send(PAGE, f"{PAGE}/call-off", {}).status_code == 303
    go.set()
    assert state.wait().state == "called off"
    assert "called off" in browser.get(PAGE)
    assert len(list_backups(folder)) == 1
    assert list((folder / "arriving").iterdir()) == []


def test_a_disk_that_fills_up(
    browser: Browser, shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No disk is that small here: its free room is said to be none."""
    folder = tmp_path / "stick"
    made(browser, folder)
    monkeypatch.setattr(
        "beltside.jobs.backup.shutil.disk_usage", lambda _: type("D", (), {"free": 1000})
    )
    page = made(browser, folder)
    assert "MB left; nothing was written" in page
    assert len(list_backups(folder)) == 1


def test_in_german(browser: Browser, tmp_path: Path) -> None:
    browser.send("/settings", "/settings", {"language": "de"})
    sent = browser.send(PAGE, PAGE, {"folder": "stick"})
    assert "stick ist kein ganzer Pfad." in sent.text
    assert "Zurückgelesen und heil" in made(browser, tmp_path / "stick")


# Forgetting ---------------------------------------------------------------------------------------


def test_forgetting_says_asks_and_does_it(browser: Browser, shop: Shop) -> None:
    job = full_job(shop)
    number = shop.record.job(job).number
    page, owner = f"/job/{number}/forget", shop.record.job(job).card.owner
    assert f'href="{page}"' in browser.get(f"/job/{number}/complaint")
    said = browser.get(page)
    assert "What goes, in every earlier version too" in said
    assert "What stays" in said
    # Without the tick nothing happens.
    sent = browser.send(page, page, {})
    assert sent.status_code == 422
    assert "Nothing was changed" in sent.text
    assert shop.record.job(job).card.owner == owner != ""
    sent = browser.send(page, page, {"sure": "yes"})
    assert sent.status_code == 200
    assert "The owner&#39;s data are out of job" in sent.text
    assert 'href="/backup"' in sent.text
    assert is_forgotten(shop, job)
    assert shop.record.job(job).card.owner == ""
    assert owner not in browser.get(f"/job/{number}/history")
    assert "was forgotten already" in browser.get(page)


def test_other_jobs_of_the_same_owner(browser: Browser, shop: Shop) -> None:
    for name in ("j1", "j2"):
        owner = ("owner", {"name": "Åsa Lind", "phone": "070 123 45 67"})
        shop.record.new_job([owner], by="Ida", job_id=name)
    page = "/job/1/forget"
    assert "stands on job 2" in browser.get(page)
    browser.send(page, page, {"sure": "yes"})
    assert [shop.record.job(name).card.owner for name in ("j1", "j2")] == ["", "Åsa Lind"]
    browser.send("/job/2/forget", "/job/2/forget", {"sure": "yes", "also": ["everywhere"]})
    assert shop.record.job("j2").card.owner == ""


def test_a_helper_does_neither(doors: Doors, shop: Shop) -> None:
    shop.record.new_job([("owner", {"name": "Berg"})], by="Ida", job_id="j1")
    helper = doors.paired("helper")
    for address in (PAGE, "/job/1/forget"):
        assert helper.client.get(address).status_code == 403
    assert "forget" not in helper.get("/job/1/complaint")
    assert doors.paired("technician", "Per").client.get(PAGE).status_code == 200
