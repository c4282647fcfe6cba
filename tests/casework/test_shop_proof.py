"""The proof sheet's content: every stage on it, what is missing said, as of a moment."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from proof_jobs import comparison, full_job

from beltside.base.errors import InputError
from beltside.casework.proof_sheet import Figure, Money, Said, differences, sheet_from_json
from beltside.casework.shop import MissingError, Shop, open_shop, rewrite, sheet_of, write
from beltside.casework.shop_coolant import begin_hold, hold_reading
from beltside.casework.shop_proof import hand_out, handed_out, job_as_of, proof_of


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop") as shop:
        yield shop


def test_a_full_job_has_every_section(shop: Shop) -> None:
    sheet = proof_of(shop, full_job(shop))
    assert [one.key for one in sheet.sections if not one.missing] == [
        "complaint",
        "cause",
        "correction",
        "sound",
        "coolant",
        "watch",
        "money",
    ]
    assert sheet.headline == "The noise is gone: the engine is 9 dB quieter than before."
    assert sheet.shop == "Beltside Test Yard"
    assert len(sheet.not_tested) == 1


def test_figures_have_value_unit_range_and_source(shop: Shop) -> None:
    sheet = proof_of(shop, full_job(shop))
    quieter = sheet.section("sound").figure("Quieter by")
    assert quieter is not None
    assert (quieter.value, quieter.low, quieter.high, quieter.unit) == (9.4, 8.1, 10.6, "dB")
    assert quieter.source
    frost = sheet.section("coolant").figure("Frost protection to")
    assert frost is not None
    assert (frost.value, frost.low, frost.high) == (-36.4, -38.1, -34.6)
    held = sheet.section("coolant").figure("Held for")
    assert held is not None
    assert held.value == 15.0


def test_bolts_stand_with_their_last_torque_and_its_source(shop: Shop) -> None:
    sheet = proof_of(shop, full_job(shop))
    bolts = sheet.section("correction").figure("pump bolt, 5 of them")
    assert bolts is not None
    assert (bolts.value, bolts.unit, bolts.source) == (22.0, "N m", "service data, page 12-4")


def test_charged_against_agreed_to_the_cent(shop: Shop) -> None:
    money = [
        one for one in proof_of(shop, full_job(shop)).section("money").lines
        if isinstance(one, Money)
    ]  # fmt: skip
    assert [one.amount for one in money] == ["452.20", "448.10", "4.10"]
    assert money[-1].name == "Difference: less than agreed"


def test_an_empty_job_says_all_that_was_not_done(shop: Shop) -> None:
    sheet = proof_of(shop, shop.record.new_job(by="x").job.id)
    assert all(one.missing for one in sheet.sections)
    said = " ".join(sheet.not_tested)
    for gap in ("cause was not written", "not recorded", "not tested for leaks", "frost"):
        assert gap in said
    assert sheet.headline == "This job is not finished."


def test_a_missing_recording_is_said(shop: Shop) -> None:
    job = full_job(shop)
    take = sheet_of(shop, job).of_kind("take")[0]
    shop.files.remove(take.body["file"])
    sheet = proof_of(shop, job)
    assert "The recording before.m4a is missing from the record." in sheet.not_tested


def test_takes_that_cannot_be_compared_give_no_number(shop: Shop) -> None:
    job = full_job(shop)
    entry = sheet_of(shop, job).newest("comparison")
    assert entry is not None
    rewrite(shop, entry.id, {"result": comparison(comparable=False)})
    sheet = proof_of(shop, job)
    assert sheet.section("sound").figure("Quieter by") is None
    assert sheet.charts.bands == ()
    assert any("could not be told" in gap for gap in sheet.not_tested)
    assert "quieter" not in sheet.headline


def test_not_cured_and_not_closed_are_said(shop: Shop) -> None:
    job = full_job(shop)
    write(shop, job, "outcome", {"cured": False})
    assert proof_of(shop, job).headline == "The noise is still there."


def test_hold_test_that_leaks(shop: Shop) -> None:
    job = full_job(shop)
    test = sheet_of(shop, job).newest("hold-test")
    assert test is not None
    rewrite(shop, test.id, {"result": {"verdict": "leaking", "probability_leaking": 0.97}})
    lines = proof_of(shop, job).section("coolant").lines
    assert Said("Leak test", "the system loses pressure: there is a leak") in lines


def test_a_hold_test_is_judged_by_all_its_readings_when_the_sheet_is_handed_out(
    shop: Shop,
) -> None:
    """Who reads the gauge and never asks for the verdict has it on the sheet; and a test that was
    "tight" before later readings fell is not handed out as tight."""
    job = shop.record.new_job([("complaint", {"words": "howls"})], by="Ida").job.id
    begin_hold(shop, job, {"cap": "16 psi"}, stage="after")
    for minutes, psi in ((0, 15.8), (1, 15.6), (2.5, 15.5), (4, 15.5), (6, 15.5)):
        hold_reading(shop, job, minutes, f"{psi} psi")
    section = proof_of(shop, job).section("coolant")
    assert "The leak test was read and not judged yet." in proof_of(shop, job).not_tested
    assert not [line for line in section.lines if line == Said("Leak test", "not settled")]
    lines = hand_out(shop, job).section("coolant").lines
    assert Said("Leak test", "the system holds its pressure") in lines
    for minutes in range(7, 20):
        hold_reading(shop, job, minutes, f"{15.5 - 0.5 * (minutes - 6)} psi")
    lines = hand_out(shop, job).section("coolant").lines
    assert Said("Leak test", "the system loses pressure: there is a leak") in lines


def test_no_such_job(shop: Shop) -> None:
    with pytest.raises(MissingError):
        proof_of(shop, "99")


def test_the_same_moment_gives_the_same_sheet_whatever_came_later(shop: Shop) -> None:
    job = full_job(shop)
    sheet = proof_of(shop, job)
    write(shop, job, "part-used", {"name": "Clamp"})
    write(shop, job, "outcome", {"charged": "999.00"})
    take = sheet_of(shop, job).of_kind("take")[0]
    shop.record.remove(take.id, by="x")
    again = proof_of(shop, job, at=sheet.time)
    assert again.section("money") == sheet.section("money")
    assert again.section("correction") == sheet.section("correction")
    assert again.digest == sheet.digest
    assert proof_of(shop, job).digest != sheet.digest


def test_job_as_it_stood(shop: Shop) -> None:
    job = shop.record.new_job(by="x").job.id
    first = write(shop, job, "complaint", {"words": "chirps"})
    second = write(shop, job, "complaint", {"words": "squeals"})
    then = job_as_of(shop, job, first.at).newest("complaint")
    now = job_as_of(shop, job, second.at).newest("complaint")
    assert then is not None
    assert now is not None
    assert (then.body["words"], now.body["words"]) == ("chirps", "squeals")


def test_handed_out_twice_is_one_sheet(shop: Shop) -> None:
    job = full_job(shop)
    first = hand_out(shop, job)
    assert hand_out(shop, job) == first
    kept = handed_out(shop, job)
    assert kept is not None
    assert kept[1] == first
    assert kept[0].body["digest"] == first.digest
    write(shop, job, "part-used", {"name": "Clamp"})
    second = hand_out(shop, job)
    assert second.digest != first.digest
    assert len(sheet_of(shop, job).of_kind("proof")) == 2


def test_a_sheet_reads_back_from_its_json(shop: Shop) -> None:
    sheet = proof_of(shop, full_job(shop))
    again = sheet_from_json(json.loads(json.dumps(sheet.to_json())))
    assert again == sheet
    assert again.digest == sheet.to_json()["digest"]


@pytest.mark.parametrize(
    "plain", [{}, {"format": "beltside proof sheet 1"}, {"format": "other"}, {"format": None}]
)
def test_what_is_no_sheet_is_refused(plain: dict[str, object]) -> None:
    with pytest.raises(InputError, match="no proof sheet"):
        sheet_from_json(plain)


def test_differences_name_the_figure(shop: Shop) -> None:
    sheet = proof_of(shop, full_job(shop)).to_json()
    other = json.loads(json.dumps(sheet))
    section = next(one for one in other["sections"] if one["key"] == "coolant")
    section["lines"][0]["value"] = -42.0
    (found,) = differences(other, sheet)
    assert "Frost protection to" in found[0]
    assert "value" in found[0]
    assert found[1:] == (-42.0, -36.4)


def test_half_a_surrogate_pair_does_not_stop_the_sheet(shop: Shop) -> None:
    job = shop.record.new_job(by="x").job.id
    # As older records may hold it: forms refuse it today.
    shop.record.add(job, "complaint", {"words": "whine \ud83d loud"}, by="x")
    sheet = proof_of(shop, job)
    assert sheet.digest
    assert Said("Owner's words", "whine � loud") in sheet.section("complaint").lines


def test_a_unit_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="no unit"):
        Figure("x", 1.0, "furlong")


def test_reasons_name_takes_and_no_options_of_commands(shop: Shop) -> None:
    job = full_job(shop)
    entry = sheet_of(shop, job).newest("comparison")
    file = sheet_of(shop, job).of_kind("take")[0].body["file"]
    assert entry is not None
    why = f"The crank speed of {file} can't be told. Give it with --before-rpm or --after-rpm, or record 15 s."  # noqa: E501
    rewrite(shop, entry.id, {"result": {**comparison(comparable=False), "why_not": [why]}})
    said = [one for one in proof_of(shop, job).section("sound").lines if isinstance(one, Said)]
    assert said[-1].words == "The crank speed of before.m4a can't be told. Record 15 s."
