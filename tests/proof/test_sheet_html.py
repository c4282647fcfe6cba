"""The proof sheet as one HTML file: self-contained, words as typed, small."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from sheets import MARKUP, RIGHT_TO_LEFT, full_job

from beltside.casework.proof_clips import Clips
from beltside.casework.shop import Shop, open_shop
from beltside.casework.shop_proof import proof_of
from beltside.proof.sheet_check import html_lines
from beltside.proof.sheet_html import proof_html


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with open_shop(tmp_path_factory.mktemp("html") / "shop") as shop:
        yield shop


class Addresses(HTMLParser):
    """Everything a browser would fetch or go to."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.tags: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.found += [
            value or ""
            for name, value in attrs
            if name in ("src", "href", "action", "data", "srcset")
        ]


def test_nothing_is_fetched_from_anywhere(shop: Shop) -> None:
    text = proof_html(proof_of(shop, full_job(shop)), Clips(b"a" * 9, b"b" * 9))
    reader = Addresses()
    reader.feed(text)
    assert len(reader.found) == 2
    assert all(one.startswith("data:audio/mp4;base64,") for one in reader.found)
    assert set(re.findall(r"https?://[^\"' ]+", text)) <= {"http://www.w3.org/2000/svg"}
    assert "url(" not in text
    assert "default-src 'none'" in text


def test_a_pair_of_ten_seconds_stays_under_three_megabytes(shop: Shop) -> None:
    """10 s of AAC at 96 kbit/s are 120 kB; twice as much is allowed for."""
    text = proof_html(proof_of(shop, full_job(shop)), Clips(b"a" * 240_000, b"b" * 240_000))
    assert len(text.encode()) < 3_000_000


def test_words_stand_as_typed(shop: Shop) -> None:
    name = f"{MARKUP} {RIGHT_TO_LEFT}"
    text = proof_html(proof_of(shop, full_job(shop, owner=name, words=name, car=name)))
    lines = html_lines(text)
    said = " ".join(lines)
    assert said.count(" ".join(name.split())) == 3
    reader = Addresses()
    reader.feed(text)
    assert reader.tags.count("script") == 2
    assert "b" in reader.tags


def test_no_player_without_clips_and_no_pictures_without_comparison(shop: Shop) -> None:
    text = proof_html(proof_of(shop, shop.record.new_job(by="x").job.id))
    assert "<audio" not in text
    assert text.count("<svg") == 1
    assert "This job is not finished." in text


def test_us_units(shop: Shop) -> None:
    said = " ".join(html_lines(proof_html(proof_of(shop, full_job(shop)), us=True)))
    assert "16.2 lb·ft" in said
    assert "15.5 psi" in said
    assert "kPa" not in said
