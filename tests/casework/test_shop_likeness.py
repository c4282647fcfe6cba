"""Likeness to the shop's own closed jobs: who is compared with whom, and what it is worth."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest
from proof_jobs import DRIVE

from beltside.base.errors import InputError
from beltside.casework.find import board_and_planner
from beltside.casework.shop import Shop, keep, sheet_of, write
from beltside.casework.shop_case import case_of
from beltside.casework.shop_find import find_now
from beltside.casework.shop_jobs import close_job
from beltside.casework.shop_learning import DEMO_PREFIX
from beltside.casework.shop_likeness import likeness_now, similar_on_job, track_record
from beltside.casework.sound_vector import VECTOR_VERSION
from beltside.jobs.sounds import Sounds
from beltside.suspects.posterior import normalised

PUMP, ALTERNATOR, SLIP = "coolant-pump.bearing", "alternator.bearing", "belt.slip"
SIZE = 40


def sound(cluster: int, seed: int, spread: float = 0.4) -> np.ndarray:
    """A vector beside one of some noises, each along an axis of its own."""
    vector = np.zeros(SIZE)
    vector[cluster] = 1.0
    vector[8:] = spread * np.random.default_rng(seed).normal(size=SIZE - 8) / math.sqrt(SIZE - 8)
    return vector / np.linalg.norm(vector)


def made(shop: Shop, vector: np.ndarray | None, name: str = "", **take: Any) -> str:
    """An open job with one take whose sound is kept; gives its name."""
    job = shop.record.new_job(by="Ida", job_id=name or None).job.id
    write(shop, job, "drive-sheet", {"toml": DRIVE})
    stored = keep(shop, [job.encode()], media_type="audio/mp4").sha256
    body = {"file": stored, "name": "idle.m4a", "belt": "on", **take}
    entry = write(shop, job, "take", body, files=[stored])
    if vector is not None:
        shop.record.sounds.add(entry.id, VECTOR_VERSION, vector)
    return job


def closed(shop: Shop, cluster: int, seed: int, cause: str, name: str = "") -> str:
    job = made(shop, sound(cluster, seed), name)
    close_job(shop, job, {"cause": cause, "replaced": [cause], "cured": True})
    return job


@pytest.fixture
def shop(any_shop: Shop) -> Shop:
    """Three noises of the pump, one of them another's cause; two of an alternator; one slip.

    So of six closed jobs 1, 2 and 3 are like each other, 4 and 5, and 6 is like none.
    """
    for seed, (cluster, cause) in enumerate(
        [(0, PUMP), (0, PUMP), (0, ALTERNATOR), (1, ALTERNATOR), (1, ALTERNATOR), (2, SLIP)]
    ):
        closed(any_shop, cluster, seed, cause)
    return any_shop


def test_the_nearest_job_and_its_record(shop: Shop) -> None:
    job = made(shop, sound(1, 40))
    found = likeness_now(shop, sheet_of(shop, job))
    assert found.state == "near"
    assert found.cause == ALTERNATOR
    assert {one.number for one in found.nearest[:2]} == {4, 5}
    assert found.compared == 6
    # By hand: 4 and 5 name each other rightly; 3 names a pump, wrongly; of 1 and 2 each is nearest
    # to the other or to 3. One of these three is about as near to both: that is no likeness. 6 is
    # like nothing. Neither is counted.
    plain = np.array([sound(0, seed) for seed in range(3)])
    alike = plain @ plain.T
    leads = [alike[0, 1] - alike[0, 2], alike[1, 0] - alike[1, 2]]
    assert [lead > 0.0 for lead in leads] == [False, False]
    assert sorted(abs(lead) for lead in leads)[0] < 0.02
    assert (found.right, found.judged) == (2, 4)
    assert json.loads(json.dumps(found.to_json()))["nearest"][0]["cause"] == ALTERNATOR


def test_a_job_never_supports_itself(shop: Shop) -> None:
    """Closed or open: neither is its own take its likeness, nor does it judge the likeness."""
    own = likeness_now(shop, sheet_of(shop, "5"))
    assert own.nearest[0].number == 4
    assert 5 not in {one.number for one in own.nearest}
    # Without 5, job 4 is like nothing any more: two jobs less of four are judged.
    assert own.judged == 2
    with_all = track_record(shop, "an open job")
    assert with_all[1] == 4


def test_it_moves_the_odds_by_what_it_is_worth(shop: Shop) -> None:
    """The odds of the cause by Bayes' rule, from the bits told and the prior of this car."""
    job = made(shop, sound(1, 41))
    found = find_now(shop, sheet_of(shop, job))
    by_id = {one.id: one for one in found.result.suspects}
    (reason,) = [one for one in by_id[ALTERNATOR].because if "sounds most like" in one.says]
    number = found.likeness.nearest[0].number
    assert reason.says == (
        f"sounds most like job {number}, where it was the alternator bearing; in your shop such a "
        f"likeness was right {found.likeness.right} of 4 times"
    )
    assert reason.from_ == "idle.m4a"
    read = case_of(shop, sheet_of(shop, job))
    board, _ = board_and_planner(read.tables, tuple(one.part for one in read.sheet.pulleys))
    at = [one.id for one in board.suspects].index(ALTERNATOR)
    prior = float(normalised(board.log_prior)[at])
    rate = (2 * 0.86 + found.likeness.right) / 6
    wanted = (4 / 14) * math.log2(rate / (1 - rate) / (prior / (1 - prior)))
    assert reason.bits == pytest.approx(min(wanted, 3.0), abs=1e-6)
    assert reason.bits > 0.0
    odds = 2.0**reason.bits * prior / (1 - prior)
    assert by_id[ALTERNATOR].probability == pytest.approx(odds / (1 + odds), rel=1e-3)
    # No other suspect is told a reason, and `find` tells the likeness.
    others = [one for one in found.result.suspects if one.id != ALTERNATOR]
    assert not any("sounds most like" in why.says for one in others for why in one.because)
    assert found.to_json()["likeness"]["state"] == "near"


def test_first_closed_job_is_told_and_weighs_nothing(any_shop: Shop) -> None:
    closed(any_shop, 0, 1, PUMP)
    job = made(any_shop, sound(0, 2))
    found = find_now(any_shop, sheet_of(any_shop, job))
    assert found.likeness.cause == PUMP
    (reason,) = [
        why
        for one in found.result.suspects
        for why in one.because
        if "sounds most like" in why.says
    ]
    assert reason.bits == 0.0
    assert reason.says.endswith("no such likeness could be judged in your shop yet")


def test_a_cause_this_car_cannot_have_says_nothing(any_shop: Shop) -> None:
    for seed in range(4):
        closed(any_shop, 0, seed, PUMP)
    job = made(any_shop, sound(0, 9))
    without_pump = DRIVE[: DRIVE.index('[[pulley]]\npart = "coolant-pump"')]
    write(any_shop, job, "drive-sheet", {"toml": without_pump})
    found = find_now(any_shop, sheet_of(any_shop, job))
    assert found.likeness.cause == PUMP
    assert not any(
        "sounds most like" in why.says for one in found.result.suspects for why in one.because
    )
    assert sum(one.probability for one in found.result.suspects) == pytest.approx(1.0)


def test_what_the_cause_no_longer_is_counts_no_more(shop: Shop) -> None:
    """The car of job 4 came back: its cause is in doubt, and the likeness is to job 5."""
    job = made(shop, sound(1, 40))
    outcome = sheet_of(shop, "4").newest("outcome")
    assert outcome is not None
    shop.record.change(outcome.id, {**outcome.body, "came_back": True}, by="Ida")
    found = likeness_now(shop, sheet_of(shop, job))
    assert found.nearest[0].number == 5
    assert 4 not in {one.number for one in found.nearest}


def test_takes_after_the_repair_are_not_compared(shop: Shop) -> None:
    job = made(shop, sound(1, 40), stage="after")
    found = likeness_now(shop, sheet_of(shop, job))
    assert found.nearest == ()
    assert found.why_not == "There is no recording with the noise in it"
    job = made(shop, None)
    found = likeness_now(shop, sheet_of(shop, job))
    assert found.why_not == "No take was listened to whose crank speed can be told"


def test_the_demo_shop_keeps_to_itself(shop: Shop) -> None:
    """Its jobs are no evidence for real ones, nor the other way round."""
    for seed in range(3):
        closed(shop, 3, 20 + seed, SLIP, f"{DEMO_PREFIX}{seed}")
    real = likeness_now(shop, sheet_of(shop, made(shop, sound(3, 30))))
    assert real.state == "nothing like it"
    assert real.compared == 6
    demo = likeness_now(shop, sheet_of(shop, made(shop, sound(3, 31), f"{DEMO_PREFIX}9")))
    assert (demo.cause, demo.compared, demo.right, demo.judged) == (SLIP, 3, 3, 3)


def test_nothing_to_compare_with(any_shop: Shop) -> None:
    job = made(any_shop, sound(0, 1))
    found = likeness_now(any_shop, sheet_of(any_shop, job))
    assert found.why_not == "No closed job has a take with a known cause yet"
    assert find_now(any_shop, sheet_of(any_shop, job)).likeness == found


def test_bad_input(shop: Shop) -> None:
    job = made(shop, sound(1, 40))
    with pytest.raises(InputError, match="1 to 50"):
        similar_on_job(shop, job, most=0)
    with pytest.raises(InputError, match=r'no take "9".*idle\.m4a'):
        similar_on_job(shop, job, "9")


def test_other_programs_see_it_too(shop: Shop) -> None:
    """The sounds in memory are followed: closed elsewhere, known here."""
    job = made(shop, sound(4, 50))
    assert likeness_now(shop, sheet_of(shop, job)).state == "nothing like it"
    other = made(shop, None)
    take = sheet_of(shop, other).of_kind("take")[0]
    Sounds(shop.record.database).add(take.id, VECTOR_VERSION, sound(4, 51))
    close_job(shop, other, {"cause": SLIP, "cured": True})
    assert likeness_now(shop, sheet_of(shop, job)).cause == SLIP
