"""The plan on a job: clock, ticks, and the rest planned anew where it fights back.

Minutes are the clock's own arithmetic; that a way round is taken, and what it costs, is held
against plans of the same job worked out by hand.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from beltside.base.errors import InputError
from beltside.casework.shop import Shop, open_shop, sheet_of
from beltside.casework.shop_jobs import new_job
from beltside.casework.shop_steps import open_step, tick_step, untick_step
from beltside.casework.shop_teardown import make_plan, plan_on_job, ticks_of

NINE = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
PLAN = """
title = "a small job"
[[repair]]
name = "pump"
targets = ["pump"]
[[thing]]
name = "belt"
title = "belt off"
off = 10
refit = 10
[[thing]]
name = "alternator"
title = "alternator out"
off = 20
refit = 20
reach = ["belt"]
[[thing]]
name = "work-round"
title = "work round the alternator"
kind = "way"
off = 30
[[thing.trouble]]
what = "no room for the spanner"
chance = 0.1
minutes = [25, 25, 25]
[[thing]]
name = "pump"
title = "pump out"
off = 15
refit = 15
reach = ["belt", "alternator or work-round"]
"""
# By hand: belt 20, round 30 + 0.1 x 25 = 32.5, pump 30: 82.5 min. By the alternator: 20 + 40 + 30.


def after(minutes: float) -> datetime:
    return NINE + timedelta(minutes=minutes)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop", by="Per") as shop:
        yield shop


@pytest.fixture
def job(shop: Shop) -> str:
    sheet, _ = new_job(shop, {"words": "it howls"})
    make_plan(shop, sheet.job.id, {"toml": PLAN, "template": ""})
    return sheet.job.id


def states(shop: Shop, job: str) -> list[tuple[str, str]]:
    return [(one.step.id, one.state) for one in plan_on_job(shop, job).steps]


def test_the_clock_keeps_when_it_ran(shop: Shop, job: str) -> None:
    tick_step(shop, job, "belt", state="started", at=after(0))
    tick_step(shop, job, "belt", state="stopped", at=after(4))
    tick_step(shop, job, "belt", state="started", at=after(30))
    running = plan_on_job(shop, job).steps[0]
    assert (running.state, running.minutes) == ("started", 4.0)
    assert running.running_since == after(30).isoformat(timespec="seconds")
    tick_step(shop, job, "belt", at=after(33.5))
    body = ticks_of(sheet_of(shop, job))["apart:belt"].body
    assert body["minutes"] == pytest.approx(7.5)
    assert body["started"] == [after(0).isoformat(), after(30).isoformat()]
    assert body["stopped"] == [after(4).isoformat(), after(33.5).isoformat()]


def test_one_pair_of_hands_runs_one_clock(shop: Shop, job: str) -> None:
    tick_step(shop, job, "belt", state="started", at=after(0))
    tick_step(shop, job, "work-round", state="started", at=after(5))
    assert dict(states(shop, job))["apart:belt"] == "stopped"
    assert ticks_of(sheet_of(shop, job))["apart:belt"].body["stopped"] == [after(5).isoformat()]


def test_typed_minutes_stand_above_the_clock(shop: Shop, job: str) -> None:
    tick_step(shop, job, "belt", state="started", at=after(0))
    tick_step(shop, job, "belt", minutes=3, at=after(60))
    assert plan_on_job(shop, job).steps[0].minutes == 3


def test_a_known_trouble_changes_the_way(shop: Shop, job: str) -> None:
    assert plan_on_job(shop, job).minutes_left == pytest.approx(82.5)
    tick_step(shop, job, "belt", minutes=10)
    tick_step(shop, job, "work-round", state="went wrong", says="no room for the spanner")
    now = plan_on_job(shop, job)
    # Belt on 10, pump 30; round it now 55, by the alternator 40: the alternator comes out.
    assert now.minutes_left == pytest.approx(80.0)
    assert now.minutes_in_all == pytest.approx(90.0)
    assert "\u201calternator out\u201d" in now.detour
    assert "no longer \u201cwork round the alternator\u201d" in now.detour


def test_a_trouble_of_ones_own_counts_its_minutes(shop: Shop, job: str) -> None:
    tick_step(
        shop, job, "belt", state="went wrong", says="tensioner is jammed", extra_min=(6, 6, 6)
    )
    now = plan_on_job(shop, job)
    assert now.minutes_left == pytest.approx(88.5)
    assert any("tensioner is jammed" in one for one in now.steps[0].step.troubles)
    # The clock may go on; the trouble stays until the step is done, and then on its note.
    tick_step(shop, job, "belt", state="started", at=after(0))
    assert plan_on_job(shop, job).minutes_left == pytest.approx(88.5)
    tick_step(shop, job, "belt", note="freed with oil", at=after(14))
    assert plan_on_job(shop, job).steps[0].note == "tensioner is jammed\nfreed with oil"


def test_trouble_on_refitting_counts_its_minutes(shop: Shop, job: str) -> None:
    tick_step(shop, job, "refit:belt", state="went wrong", says="rib off", extra_min=(3, 3, 3))
    assert plan_on_job(shop, job).minutes_left == pytest.approx(85.5)


def test_what_cannot_come_off_is_gone_round(shop: Shop, job: str) -> None:
    tick_step(shop, job, "work-round", state="stuck")
    now = plan_on_job(shop, job)
    assert now.minutes_left == pytest.approx(90.0)
    assert [one.step.id for one in now.stuck] == ["apart:work-round"]
    untick_step(shop, job, "apart:work-round")
    assert plan_on_job(shop, job).minutes_left == pytest.approx(82.5)


def test_no_way_round_is_said_and_nothing_kept(shop: Shop, job: str) -> None:
    with pytest.raises(InputError, match="no way round"):
        tick_step(shop, job, "belt", state="stuck")
    with pytest.raises(InputError, match="step of refitting"):
        tick_step(shop, job, "refit:pump", state="stuck")
    with pytest.raises(InputError, match="low, likely and high"):
        tick_step(shop, job, "belt", state="went wrong", says="x", extra_min=(9, 2, 1))
    assert ticks_of(sheet_of(shop, job)) == {}


def test_a_step_ticked_by_mistake_opens_with_its_clock(shop: Shop, job: str) -> None:
    tick_step(shop, job, "belt", state="started", at=after(0))
    tick_step(shop, job, "belt", at=after(2))
    open_step(shop, job, "apart:belt")
    first = plan_on_job(shop, job).steps[0]
    assert (first.step.id, first.state, first.minutes) == ("apart:belt", "stopped", 2.0)


def test_a_plan_bent_later_forgets_no_tick(shop: Shop, job: str) -> None:
    tick_step(shop, job, "belt", minutes=10)
    other = PLAN.replace('"belt"', '"drive-belt"')
    make_plan(shop, job, {"toml": other, "template": ""})
    assert plan_on_job(shop, job).steps[0].step.id == "apart:drive-belt"
    make_plan(shop, job, {"toml": PLAN, "template": ""})
    assert states(shop, job)[0] == ("apart:belt", "done")
