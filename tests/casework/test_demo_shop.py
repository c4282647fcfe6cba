"""The demo shop: made of invented jobs, removable without a trace, and no lesson for real jobs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from beltside.casework import demo_shop
from beltside.casework.demo_shop import make_demo_shop, remove_demo_shop
from beltside.casework.shop import Shop, open_shop, sheet_of
from beltside.casework.shop_find import find_on_job
from beltside.casework.shop_jobs import new_job
from beltside.jobs.check import verify
from beltside.jobs.schema import TERM


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop", by="Ida") as shop:
        yield shop


def words_kept(shop: Shop) -> dict[str, int]:
    with shop.record.database.reading() as connection:
        return {row.word: row.jobs for row in connection.execute(sa.select(TERM))}


def test_a_van_that_sounds_like_the_others_of_its_fleet(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three vans of one make closed with one cause, drawn by the rig as the same engine; the fourth
    is open. By hand: each of the three is nearest to another of them, so 3 of 3 are right."""
    new_job(shop, {"words": "a real job growls", "owner": "Renz", "plate": "HL 371"})
    before = words_kept(shop)
    few = tuple(one for one in demo_shop.DEMO_JOBS if one.name in ("02", "13", "14", "15"))
    monkeypatch.setattr(demo_shop, "DEMO_JOBS", few)
    made = make_demo_shop(shop)
    assert made.numbers == (2, 3, 4, 5)
    found = find_on_job(shop, "2")
    by_id = {one.id: one for one in found.suspects}
    (reason,) = [why for why in by_id["idler.bearing"].because if "sounds most like" in why.says]
    assert "in your shop such a likeness was right 3 of 3 times" in reason.says
    assert 0.0 < reason.bits <= 3.0
    # Made again nothing is made twice.
    assert make_demo_shop(shop) == made
    assert len(shop.record.jobs()) == 5
    # Gone without a trace: search words, files, sounds; the real job stays as it was.
    assert remove_demo_shop(shop) == 4
    assert words_kept(shop) == before
    assert list(shop.files.names()) == []
    assert verify(shop.record.database, shop.files).problems == ()
    assert [one.number for one in shop.record.jobs()] == [1]
    assert sheet_of(shop, "1").job.number == 1


def test_every_stage_is_there_once_at_least() -> None:
    stages = [one.stage for one in demo_shop.DEMO_JOBS]
    assert set(demo_shop._STAGES) <= set(stages)
    assert len({one.name for one in demo_shop.DEMO_JOBS}) == len(stages)
