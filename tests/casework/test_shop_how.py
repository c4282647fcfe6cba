"""How a job was done: in order, with what it took, and nothing of the owner's."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from proof_jobs import full_job

from beltside.casework.shop import MissingError, Shop, keep, open_shop, sheet_of, write
from beltside.casework.shop_how import how_of, photos_of


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop") as shop:
        yield shop


def test_steps_in_order_with_minutes_notes_and_photos(shop: Shop) -> None:
    how = how_of(shop, full_job(shop))
    assert [one.title for one in how.steps] == [
        "Drain the coolant",
        "Take the coolant pump off",
        "Fit the belt",
    ]
    assert [one.minutes for one in how.steps] == [18, 41, 9]
    assert how.minutes == 68
    assert how.steps[1].note.startswith("The lowest bolt was stuck")
    assert [one.caption for one in how.steps[1].photos] == ["The old pump's shaft"]
    assert how.photos == ()
    assert how.what == "Coolant pump bearing"


def test_torque_parts_and_clips(shop: Shop) -> None:
    how = how_of(shop, full_job(shop))
    assert [one.name for one in how.torque] == ["pump bolt, 5 of them"]
    assert how.parts == ("Coolant pump with gasket (no. CP-1104)", "4.5 l Coolant")
    assert [one.name for one in how.clips] == ["before.m4a", "after.m4a"]
    assert how.clips[1].words == "after the repair, belt on, front of engine"


def test_nothing_of_the_owner_unless_asked(shop: Shop) -> None:
    job = full_job(shop)
    write(shop, job, "car", {"vin": "TARN00000000001"})
    plain = json.dumps(how_of(shop, job).to_json())
    for words in ("Anneke", "Vos", "TX 41 KL", "TARN0000", "0123 456", "Dam 3", "whines"):
        assert words not in plain
    told = how_of(shop, job, with_owner=True)
    assert told.owner == "Anneke Vos"
    assert "TX 41 KL" in told.car


def test_pictures_are_decoded_and_bad_ones_left_out(shop: Shop) -> None:
    job = full_job(shop)
    bad = keep(shop, [b"no picture"], media_type="image/jpeg").sha256
    write(shop, job, "photo", {"file": bad, "caption": "broken"})
    how = how_of(shop, job)
    photos = photos_of(shop, how)
    assert bad in how.all_photos()
    assert bad not in photos
    assert [one.shape for one in photos.values()] == [(72, 96, 3)]


def test_an_empty_job_says_what_was_not_written_down(shop: Shop) -> None:
    how = how_of(shop, shop.record.new_job(by="x").job.id)
    assert how.steps == ()
    assert "No step was ticked, so the order of work is not known." in how.missing
    assert "There are no photos." in how.missing


def test_a_missing_recording_is_said(shop: Shop) -> None:
    job = full_job(shop)
    shop.files.remove(sheet_of(shop, job).of_kind("take")[1].body["file"])
    how = how_of(shop, job)
    assert "The recording after.m4a is missing from the record." in how.missing
    assert how.clips[1].words.endswith("the recording is missing")


def test_a_step_that_went_wrong_says_so(shop: Shop) -> None:
    job = full_job(shop)
    write(shop, job, "step-tick", {"step": "hose", "state": "went wrong", "says": "clamp rusted"})
    last = how_of(shop, job).steps[-1]
    assert (last.state, last.note) == ("went wrong", "Went wrong: clamp rusted.")


def test_no_such_job(shop: Shop) -> None:
    with pytest.raises(MissingError):
        how_of(shop, "7")
