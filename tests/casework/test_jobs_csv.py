"""The bookkeeper's table, read back by the csv module as RFC 4180 (2005) has it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from proof_jobs import full_job

from beltside.base.errors import InputError
from beltside.casework.jobs_csv import COLUMNS, _safe, jobs_csv
from beltside.casework.shop import Shop, open_shop, write


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop") as shop:
        yield shop


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_a_line_for_each_job_by_number(shop: Shop) -> None:
    full_job(shop)
    shop.record.new_job(by="x")
    text = jobs_csv(shop)
    assert text.endswith("\r\n")
    first, second = rows(text)
    assert list(first) == list(COLUMNS)
    assert (first["job"], first["owner"], first["agreed"], first["charged"]) == (
        "1",
        "Anneke Vos",
        "452.20",
        "448.10",
    )
    assert (first["parts_charged"], first["minutes_worked"], first["cured"]) == (
        "119.00",
        "68",
        "yes",
    )
    assert (second["job"], second["charged"], second["cured"]) == ("2", "", "")


def test_commas_quotes_and_lines_stay_in_their_cell(shop: Shop) -> None:
    words = 'It says "tick, tick",\r\nthen\nstops'
    full_job(shop, words=words)
    assert rows(jobs_csv(shop))[0]["complaint"] == words


@pytest.mark.parametrize("words", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "＝1"])
def test_no_cell_is_a_formula(shop: Shop, words: str) -> None:
    full_job(shop, words=words, owner=words)
    row = rows(jobs_csv(shop))[0]
    assert row["complaint"] == "'" + words
    assert row["owner"] == "'" + words


@settings(max_examples=200)
@given(st.text(max_size=20))
def test_what_starts_like_a_formula_is_a_number_or_marked(text: str) -> None:
    shown = _safe(text)
    if shown[:1] in ("=", "+", "-", "@", "\t", "\r", "\n"):
        float(shown)
    assert shown.removeprefix("'") == text.removeprefix("'") or shown == text


def test_days(shop: Shop) -> None:
    full_job(shop)
    job = shop.record.new_job(by="x").job.id
    write(shop, job, "complaint", {"words": "still open"})
    today = datetime.now(UTC).date()
    assert len(rows(jobs_csv(shop, since=today - timedelta(days=1)))) == 2
    assert len(rows(jobs_csv(shop, closed_only=True))) == 1
    assert rows(jobs_csv(shop, since=today + timedelta(days=2))) == []
    assert rows(jobs_csv(shop, until=date(2020, 1, 1))) == []
    with pytest.raises(InputError):
        jobs_csv(shop, since=date(2026, 2, 1), until=date(2026, 1, 1))
