"""Takes of a job are listened to once, again when the method changed, and their sounds kept."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from engines import engine
from proof_jobs import DRIVE

from beltside.casework import shop_find, shop_listen
from beltside.casework.shop import Shop, open_shop, sheet_of, write
from beltside.casework.shop_case import case_of, setup_from_json, setup_to_json
from beltside.casework.shop_find import find_now, find_on_job
from beltside.casework.shop_jobs import close_job
from beltside.casework.shop_likeness import likeness_now, similar_on_job
from beltside.casework.shop_listen import change_take, take_heard
from beltside.casework.shop_sounds import catch_up
from beltside.casework.shop_takes import add_take
from beltside.casework.sound_vector import VECTOR_VERSION
from beltside.jobs.queue import Queue
from beltside.media import write_recording

PUMP = "coolant-pump.bearing"


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """An engine at 760 turns a minute for 6 s, as a phone's file."""
    take = engine(3, 760.0, seconds=6.0)
    path = tmp_path_factory.mktemp("takes") / "idle.m4a"
    write_recording(path, np.asarray(take.samples)[None, :], take.rate_hz)
    return path.read_bytes()


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop", by="Ida") as shop:
        yield shop


def job_with(shop: Shop, recording: bytes, **take: Any) -> str:
    job = shop.record.new_job(by="Ida").job.id
    write(shop, job, "drive-sheet", {"toml": DRIVE})
    added = add_take(shop, job, [recording], {"name": "idle.m4a", "belt": "on", **take})
    assert added.problems == {}
    return job


def work_done(shop: Shop, method: str) -> list[int]:
    """The versions of a method by which something was worked out."""
    with shop.record.database.reading() as connection:
        rows = connection.exec_driver_sql(
            f"SELECT version FROM analysis WHERE method = '{method}' AND state = 'done'"
        )
        return sorted(row[0] for row in rows)


def test_closing_keeps_the_sound_with_its_cause(shop: Shop, recording: bytes) -> None:
    """The very same recording on another car: distance 0, and the first job's cause."""
    first = job_with(shop, recording)
    heard = take_heard(shop, first, "1", wait=True)
    assert heard.listen is not None
    assert heard.listen.crank is not None
    assert heard.listen.crank.rpm_median == pytest.approx(760.0, rel=0.01)
    closed = close_job(shop, first, {"cause": PUMP, "replaced": [PUMP], "cured": True})
    assert closed.sounds == 1
    second = job_with(shop, recording)
    found = find_on_job(shop, second)
    likeness = likeness_now(shop, sheet_of(shop, second))
    assert likeness.cause == PUMP
    assert likeness.nearest[0].distance == pytest.approx(0.0, abs=2e-3)
    assert any(
        "sounds most like job 1" in why.says for one in found.suspects for why in one.because
    )


def test_listened_to_only_after_closing(shop: Shop, recording: bytes) -> None:
    job = job_with(shop, recording)
    closed = close_job(shop, job, {"cause": PUMP, "cured": True})
    assert closed.sounds == 0
    take_heard(shop, job, "1", wait=True)
    assert shop.record.sounds.count(VECTOR_VERSION) == 1


def test_loads_of_a_take_count_by_the_word_they_mean(shop: Shop, recording: bytes) -> None:
    job = job_with(shop, recording, load=["rear window", "air conditioning", "radio"])
    read = case_of(shop, sheet_of(shop, job))
    assert read.takes[0].load == ("lights", "ac", "radio")
    assert any('idle.m4a: load "radio" counts for no part' in one for one in read.missing)
    (entry,) = sheet_of(shop, job).of_kind("take")
    assert entry.body["load"] == ["rear window", "air conditioning", "radio"], "stays as typed"


def test_a_take_of_a_job_that_cannot_be_used_is_left_out(shop: Shop, recording: bytes) -> None:
    job = job_with(shop, recording)
    alone = find_on_job(shop, job)
    cut = recording[: len(recording) // 3]
    assert add_take(shop, job, [cut], {"name": "cut.m4a"}).problems == {}
    found = find_on_job(shop, job)
    assert list(found.listens) == ["idle.m4a"]
    assert found.suspects == alone.suspects
    (told,) = (one for one in found.warnings if "left out" in one)
    assert told.startswith("cut.m4a is left out: this file ")


def test_what_an_older_method_heard_does_not_count(
    shop: Shop, recording: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Version 1 is what was heard before the crank speed changed."""
    job = job_with(shop, recording)
    with monkeypatch.context() as before:
        before.setattr(shop_listen, "LISTEN_VERSION", 1)
        before.setattr(shop_find, "CASE_SOUND_VERSION", 1)
        take_heard(shop, job, "1", wait=True)
        find_on_job(shop, job)
    assert (work_done(shop, "listen"), work_done(shop, "case-sound")) == ([1], [1])
    assert take_heard(shop, job, "1").listen is None, "asked for anew"
    assert find_now(shop, sheet_of(shop, job)).listening
    take_heard(shop, job, "1", wait=True)
    find_on_job(shop, job)
    # The old results stay beside the new ones.
    assert work_done(shop, "listen") == [1, shop_listen.LISTEN_VERSION]
    assert work_done(shop, "case-sound") == [1, shop_find.CASE_SOUND_VERSION]
    assert not find_now(shop, sheet_of(shop, job)).listening


def test_catching_up(shop: Shop, recording: bytes) -> None:
    """A closed job without a kept sound, as after an import."""
    job = job_with(shop, recording)
    add_take(shop, job, [recording[:-1] + b"\0"], {"belt": "off"})
    close_job(shop, job, {"cause": PUMP, "cured": True})
    Queue(shop.record.database)
    with shop.record.database.writing() as connection:
        connection.exec_driver_sql("DELETE FROM analysis")
    found = catch_up(shop)
    assert (found.jobs, found.takes, found.kept, found.asked) == (1, 1, 0, 0)
    assert catch_up(shop, ask=True).asked == 1
    take_heard(shop, job, "1", wait=True)
    found = catch_up(shop, ask=True)
    assert (found.kept, found.asked) == (1, 0)


def test_the_same_recording_on_two_jobs_is_heard_once(shop: Shop, recording: bytes) -> None:
    first, second = job_with(shop, recording), job_with(shop, recording)
    take_heard(shop, first, "1", wait=True)
    take_heard(shop, second, "1", wait=True)
    assert len(work_done(shop, "listen")) == 1
    takes = [sheet_of(shop, job).of_kind("take")[0].id for job in (first, second)]
    assert set(shop.record.sounds.vectors(VECTOR_VERSION, takes)) == set(takes)
    assert similar_on_job(shop, second).why_not.startswith("No closed job")


# How the phone was held for a stereo take ---------------------------------------------------------


def test_a_stereo_take_is_passed_on_as_it_was_made(
    shop: Shop, recording: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[Any] = []

    def hear_usable(*given: Any, **named: Any) -> Any:
        seen.append(named["setups"])
        return shop_find.SoundSaid(), {}

    monkeypatch.setattr(shop_find, "hear_usable", hear_usable)
    stereo = {"mic_spacing_mm": 140, "stand_off_mm": 400, "phone_at": ["alternator", "-20"]}
    job = job_with(shop, recording, **stereo)
    find_on_job(shop, job)
    (setups,) = seen
    assert setups[0].mic_spacing_mm == 140.0
    assert setups[0].stand_off_mm == 400.0
    assert setups[0].at == ("alternator:-20",)
    (take,) = case_of(shop, sheet_of(shop, job)).takes
    assert setup_from_json(setup_to_json(setups[0])) == take.setup
    # Said otherwise, it is listened to anew; what was heard before is kept.
    change_take(shop, job, "1", {"held": "upright"})
    find_on_job(shop, job)
    assert seen[1][0].held == "upright"
    change_take(shop, job, "1", {"mic_spacing_mm": None, "stand_off_mm": None, "phone_at": []})
    find_on_job(shop, job)
    assert seen[2] == [None]


@pytest.mark.parametrize(
    ("stereo", "says"),
    [
        ({"mic_spacing_mm": 140}, "distance of the phone from the pulleys is not given"),
        ({"stand_off_mm": 400}, "distance of the microphones is not given"),
        (
            {"mic_spacing_mm": 140, "stand_off_mm": 400, "phone_at": ["fan"]},
            'the phone at "fan"',
        ),
    ],
)
def test_half_said_is_told_and_not_counted(
    shop: Shop, recording: bytes, stereo: dict[str, Any], says: str
) -> None:
    job = job_with(shop, recording, **stereo)
    read = case_of(shop, sheet_of(shop, job))
    assert read.takes[0].setup is None
    assert any(says in one for one in read.missing)


def test_a_spacing_out_of_range_is_told_and_the_take_kept(shop: Shop, recording: bytes) -> None:
    job = shop.record.new_job(by="Ida").job.id
    added = add_take(shop, job, [recording], {"mic_spacing_mm": 3, "stand_off_mm": 400})
    assert set(added.problems) == {"mic_spacing_mm"}
    assert "5" in added.problems["mic_spacing_mm"]
    assert added.entry.body["stand_off_mm"] == 400
