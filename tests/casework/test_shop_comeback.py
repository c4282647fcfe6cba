"""A car that is back: the link, what is learned, what is compared, what is to be looked at."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from proof_jobs import comparison, full_job

from beltside.base.errors import InputError
from beltside.casework import shop_comeback
from beltside.casework.formats.learned_file import read_learned
from beltside.casework.own import learned_path
from beltside.casework.shop import Shop, keep, open_shop, sheet_of, write
from beltside.casework.shop_comeback import (
    begin_comeback,
    earlier_of,
    hand_over_take,
    remind_after,
    settle,
    since_hand_over,
)
from beltside.casework.shop_jobs import close_job, reminders


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop") as shop:
        yield shop


def learned(shop: Shop) -> dict[str, bool]:
    return {one.replaced: one.cured for one in read_learned(learned_path(shop.folder)).jobs}


def closed(shop: Shop) -> str:
    job = full_job(shop)
    close_job(shop, job, {"cause": "coolant-pump.bearing", "cured": True})
    return job


def recorded(shop: Shop, job: str, **conditions: Any) -> str:
    sound = keep(shop, [repr(conditions).encode() * 50], media_type="audio/mp4").sha256
    return write(shop, job, "take", {"file": sound, **conditions}, files=[sound]).id


def test_the_new_job_leads_to_the_earlier_one(shop: Shop) -> None:
    job = closed(shop)
    new = begin_comeback(shop, job, "It is back since Friday.")
    earlier = earlier_of(shop, new)
    assert earlier is not None
    assert earlier.job.job.id == job
    assert earlier.why == "It is back since Friday."
    assert earlier.cause == "coolant-pump.bearing"
    outcome = sheet_of(shop, job).newest("outcome")
    assert outcome is not None
    assert (outcome.body["came_back"], outcome.body["cured"]) == (True, True)
    assert earlier_of(shop, sheet_of(shop, job)) is None


def test_it_counts_as_not_cured_until_more_is_known(shop: Shop) -> None:
    job = closed(shop)
    assert learned(shop) == {"coolant-pump.bearing": True}
    begin_comeback(shop, job)
    assert learned(shop) == {"coolant-pump.bearing": False}


def test_the_same_cause_again_sets_the_finding_right(shop: Shop) -> None:
    new = begin_comeback(shop, closed(shop))
    done = close_job(shop, new.job.id, {"cause": "coolant-pump.bearing", "cured": True})
    assert "failed again" in done.settled
    assert settle(shop, sheet_of(shop, new.job.id)) == done.settled
    assert learned(shop) == {"coolant-pump.bearing": True}


def test_another_cause_leaves_it_wrong(shop: Shop) -> None:
    new = begin_comeback(shop, closed(shop))
    done = close_job(shop, new.job.id, {"cause": "alternator.bearing", "cured": True})
    assert "Another cause" in done.settled
    assert learned(shop) == {"coolant-pump.bearing": False, "alternator.bearing": True}


def test_nothing_to_settle(shop: Shop) -> None:
    job = closed(shop)
    assert settle(shop, sheet_of(shop, job)) == ""
    new = begin_comeback(shop, job)
    assert settle(shop, new) == ""


def test_an_open_job_cannot_come_back(shop: Shop) -> None:
    job = shop.record.new_job(by="x").job.id
    with pytest.raises(InputError, match="still open"):
        begin_comeback(shop, job)


def test_hand_over_take_is_the_marked_one(shop: Shop) -> None:
    job = shop.record.new_job(by="x").job.id
    assert hand_over_take(sheet_of(shop, job)) is None
    marked = recorded(shop, job, stage="after", hand_over=True)
    recorded(shop, job, stage="after")
    found = hand_over_take(sheet_of(shop, job))
    assert found is not None
    assert found.id == marked


def test_today_against_the_hand_over(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """9.4 dB quieter from hand-over to today would read as 9.4 dB quieter; turned, louder."""
    seen: list[Any] = []

    def compared(*given: Any) -> dict[str, Any]:
        seen.append(given)
        result = comparison()
        result["quieter_db"] = {"value": -6.2, "low": -7.4, "high": -5.0}
        return {"result": result, "says": ""}

    monkeypatch.setattr(shop_comeback, "analyse_now", compared)
    job = closed(shop)
    new = begin_comeback(shop, job).job.id
    recorded(shop, new, belt="off")
    alike = recorded(shop, new, belt="on")
    found = since_hand_over(shop, new)
    assert found.says == "6.2 dB louder than at the hand-over (5.0 to 7.4)."
    assert (found.louder_db, found.low, found.high) == (6.2, 5.0, 7.4)
    settings = seen[0][4]
    hand_over = hand_over_take(sheet_of(shop, job))
    assert hand_over is not None
    assert settings["before"]["file"] == hand_over.body["file"]
    assert settings["after"]["file"] == shop.record.entry(alike).body["file"]


def test_what_is_missing_is_said(shop: Shop) -> None:
    job = closed(shop)
    with pytest.raises(InputError, match="no earlier one"):
        since_hand_over(shop, job)
    new = begin_comeback(shop, job).job.id
    with pytest.raises(InputError, match="no recording of today"):
        since_hand_over(shop, new)


def test_usual_reminders_once(shop: Shop) -> None:
    job = full_job(shop)
    made = remind_after(shop, job, today=date(2026, 11, 25))
    assert [(one.body["due"], one.body["due_km"]) for one in made] == [
        ("2026-12-02", None),
        ("", 148_700.0),
    ]
    assert remind_after(shop, job, today=date(2026, 11, 25)) == []
    due = [one for one in reminders(shop, today=date(2026, 12, 2)) if one.is_due]
    assert "Check the coolant level, engine cold after a drive" in [one.words for one in due]
    dry = shop.record.new_job(by="x").job.id
    assert remind_after(shop, dry) == []
