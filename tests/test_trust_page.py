"""The page on trust: each requirement once, and each test it names exists."""

from __future__ import annotations

import ast
import re
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "trust.md").read_text(encoding="utf-8")
# Requirements of level 1 in each chapter of OWASP ASVS 5.0.0 (2025), counted in its English CSV.
LEVEL_1 = {1: 8, 2: 4, 3: 8, 4: 2, 5: 4, 6: 13, 7: 6, 8: 4, 9: 4, 10: 5, 11: 3, 12: 3}
LEVEL_1 |= {13: 1, 14: 2, 15: 3}
BETWEEN = {("9.1.1", "9.2.1"): ["9.1.1", "9.1.2", "9.1.3", "9.2.1"]}


def numbers() -> list[str]:
    """The requirements of the table, ranges written out."""
    found = []
    for cell in re.findall(r"^\| ([\d., to]+) \|", PAGE, re.MULTILINE):
        for part in cell.split(", "):
            first, _, last = part.partition(" to ")
            if (first, last) in BETWEEN:
                found += BETWEEN[first, last]
            elif last:
                stem, start = first.rsplit(".", 1)
                assert last.rsplit(".", 1)[0] == stem
                found += [f"{stem}.{n}" for n in range(int(start), int(last.rsplit(".")[-1]) + 1)]
            else:
                found.append(first)
    return found


def test_every_requirement_of_level_1_stands_there_once() -> None:
    assert Counter(numbers()).most_common(1)[0][1] == 1
    assert Counter(int(one.partition(".")[0]) for one in numbers()) == LEVEL_1
    assert sum(LEVEL_1.values()) == 70


def test_every_test_named_there_exists() -> None:
    named = re.findall(r"`([\w/]+\.py)::(\w+)`", PAGE)
    assert len(named) > 50
    missing = []
    for file, name in named:
        path = ROOT / "tests" / file
        tree = ast.parse(path.read_text(encoding="utf-8")) if path.is_file() else ast.Module([], [])
        if name not in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}:
            missing.append(f"{file}::{name}")
    assert missing == []


def test_limits_are_those_of_the_code() -> None:
    from beltside.jobs.access import MOST_OPEN
    from beltside.web.limits import MOST_KEYS, PhoneLimits
    from beltside.web.settings import WebSettings

    limits = PhoneLimits()
    for limit in (limits.by_address, limits.by_session, limits.unpaired, limits.changes):
        assert f"{limit.rate.at_once} at once, {limit.rate.a_minute:,.0f} a minute" in PAGE
    one, all_together = limits.pairing.rate.a_minute, limits.pairing_in_all.rate.a_minute
    assert f"{one:.0f} a minute from one address, {all_together:.0f} a minute in all" in PAGE
    assert "| {code}, {phone}, {link} |".format(**MOST_OPEN) in PAGE
    assert f"{MOST_KEYS:,} addresses" in PAGE
    assert WebSettings().most_upload_bytes == 1_000_000_000
