"""Coolant bench, hold test, tightening order and part match in other languages: nothing English.

The answers are made from many inputs, so that each reason, step and warning comes up. English is
told by its small words, none of which is one of German (own list, no source).
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from beltside.casework import bolts_order, coolant_hold
from beltside.casework.coolant_answer import CoolantAnswer
from beltside.casework.coolant_cap import cap_answer
from beltside.casework.coolant_change import adjust_answer, reuse_answer
from beltside.casework.coolant_hold import hold_answer, hold_setup
from beltside.casework.coolant_mix import MixReading, mix_answer
from beltside.casework.coolant_work import clock_answer, drain_answer, fill_answer
from beltside.casework.match_parts import MatchResult, match_parts
from beltside.casework.shop_bolting import _match_words
from beltside.coolant import fill, reuse
from beltside.coolant.hold_readings import Reading
from beltside.web.routes.match import VERDICT_WORDS
from beltside.web.texts import LANGUAGES, said, said_or_none

OTHERS = [name for name in LANGUAGES if name != "en"]
ENGLISH = re.compile(
    r"\b(the|of|is|are|and|to|with|at|by|not|for|from|it|that|than|more|or|its|has|no|when|after"
    r"|between|about|all|above|below|boils|volume|given|cap|coolant|air|out|off|on|stage|round)\b"
)
FILE = re.compile(r"docs/\S+")


def left_english(text: str, language: str) -> str:
    """What a page of a language shows of a text, when it still reads English; else ""."""
    words = said(text, language)
    return words if ENGLISH.search(FILE.sub("", words)) else ""


def shown(answer: CoolantAnswer) -> Iterator[str]:
    """Every text of an answer that a page shows, those of its picture too."""
    yield answer.headline
    yield from (*answer.because, *answer.steps, *answer.warnings, *answer.cautions)
    for row in answer.rows:
        yield from (row.name, row.value, row.note)
    yield answer.provenance.source
    yield answer.provenance.valid_range
    if answer.picture is not None:
        texts: list[str] = []
        answer.picture.worded(lambda text: texts.append(text) or text)
        yield from texts


def mixes(us: bool) -> Iterator[CoolantAnswer]:
    readings = [
        MixReading(freezing_c=-34.0),
        MixReading(freezing_c=-20.0, scale="propylene"),
        MixReading(specific_gravity=1.03, at_c=20.0),
        MixReading(refractive_index=1.37),
        MixReading(concentrate_l=4.0, water_l=4.0),
        MixReading(mass_percent=50.0),
        *(MixReading(volume_percent=share) for share in (0.0, 3.0, 20.0, 45.0, 62.0, 70.0, 95.0)),
    ]
    for kind, reading in itertools.product(("ethylene", "propylene"), readings):
        yield mix_answer(
            kind,  # type: ignore[arg-type]
            reading,
            cap="1.1",
            altitude_m=500.0,
            thermostat_c=115.0,
            capacity_l=8.0,
            hardness_ppm=300.0,
            us=us,
        )
        yield mix_answer(kind, reading, us=us)  # type: ignore[arg-type]


def changes(us: bool) -> Iterator[CoolantAnswer]:
    shelves: list[list[tuple[float, float | None]]] = [[], [(5.0, 24.5), (1.0, 7.0)], [(1.5, None)]]
    for target, product, shelf in itertools.product(
        (25.0, 35.0, 50.0, 52.0, 60.0), (100.0, 60.0), shelves
    ):
        if product == 60.0 and target > 50.0:
            continue
        yield adjust_answer(
            "ethylene",
            capacity_l=8.0,
            stays_l=1.5,
            now_percent=35.0,
            target_percent=target,
            product_percent=product,
            shelf=shelf,
            water_shelf=[(5.0, 2.0)] if shelf else (),
            currency="EUR",
            us=us,
        )


def reuses() -> Iterator[CoolantAnswer]:
    yield reuse_answer()
    for look in reuse.LOOKS:
        yield reuse_answer(looks=[look], age_years=2.0)
    for family, ph, reserve, age in itertools.product(
        (None, "OAT", "P-HOAT", "IAT", "HOAT", "Si-OAT"),
        (6.0, 7.2, 8.2, 12.5),
        reuse.RESERVE,
        (1.0, 12.0),
    ):
        yield reuse_answer(
            family=family,
            top_up_family="OAT",
            age_years=age,
            distance_km=300_000.0,
            ph=ph,
            reserve=reserve,
            volume_percent=20.0 if age == 1.0 else 65.0,
        )


def works(us: bool) -> Iterator[CoolantAnswer]:
    for mark in ("16", "1.1", "108 kPa", "1"):
        yield cap_answer(mark, us=us)
    yield from (
        fill_answer(drained_l=[5.5], poured_l=[poured], capacity_l=6.0, us=us)
        for poured in (4.5, 5.3, 5.5, 6.5)
    )
    yield fill_answer(drained_l=[9.5], poured_l=[9.5], capacity_l=8.0, us=us)
    for start, readings in (
        (20.0, ()),
        (20.0, ((60.0, 70.0),)),
        (20.0, ((60.0, 118.0),)),
        (80.0, ((30.0, 95.0),)),
        (98.0, ()),
        (108.0, ()),
        (125.0, ()),
    ):
        yield clock_answer(1.6, coolant_l=6.0, start_c=start, readings=readings, us=us)
    yield clock_answer(0.5, coolant_l=20.0, start_c=-20.0, idle_rpm=500.0, us=us)
    yield clock_answer(6.0, coolant_l=1.0, start_c=20.0, us=us)
    yield drain_answer(5.0, 0.4, 8.0, us=us)
    yield drain_answer(0.5, 2.0, 20.0, us=us)
    yield drain_answer(1.0, 0.3, 8.0, air_l=20.0, us=us)


def holds(us: bool) -> Iterator[CoolantAnswer]:
    def course(fall: float, step: float, count: int, start: float = 107.0) -> list[Reading]:
        return [
            Reading(0.5 * i, max(round((start - fall * 0.5 * i) / step) * step, 0.0))
            for i in range(count)
        ]

    falls = [
        *itertools.product((0.0, 0.3, 1.0, 6.0), (0.5, 2.0), (1, 3, 6, 21)),
    ]
    for fall, step, count in falls:
        for setup in (
            hold_setup(cap="1.1"),
            hold_setup(
                gauge_step_kpa=step,
                capacity_l=8.0,
                air_l=0.3,
                strokes=6.0,
                stroke_ml=60.0,
                matters_ml_min=1.0,
            ),
            hold_setup(cap="1.1", gauge_step_kpa=step, tester_kpa_min=2.0, matters_ml_min=100.0),
        ):
            yield hold_answer(course(fall, step, count), setup, us=us)
    yield hold_answer(course(0.0, 0.1, 30), hold_setup(gauge_step_kpa=0.1), us=us)
    yield hold_answer(course(6.0, 1.0, 9), seen=list(coolant_hold.SEEN), us=us)
    for top in (10.0, 40.0, 130.0):
        yield hold_answer(course(1.0, 1.0, 5, top), hold_setup(cap="1.1"), us=us)
    warm = [Reading(i, 100.0 - i, engine_c=70.0, air_c=20.0) for i in range(5)]
    yield hold_answer([*warm, *(Reading(6.0 + i, 104.0 - i) for i in range(4))], us=us)


@pytest.mark.parametrize("us", [False, True])
@pytest.mark.parametrize("language", OTHERS)
def test_answers_about_the_coolant(language: str, us: bool) -> None:
    answers = itertools.chain(mixes(us), changes(us), reuses(), works(us))
    texts = {text for answer in answers for text in shown(answer)}
    assert len(texts) > 300
    assert [text for text in sorted(texts) if left_english(text, language)] == []


@pytest.mark.parametrize("us", [False, True])
@pytest.mark.parametrize("language", OTHERS)
def test_answers_of_the_hold_test(language: str, us: bool) -> None:
    texts = {text for answer in holds(us) for text in shown(answer)}
    verdicts = {text.partition(":")[0] for text in texts}
    assert {"Tight", "Leaking", "Not yet known"} <= verdicts
    assert [text for text in sorted(texts) if left_english(text, language)] == []


def parts(folder: Path, *given: tuple[str, list[list[float]], str]) -> MatchResult:
    """Parts measured by caliper, compared: name, holes (x, y, diameter) [mm], more of the file."""
    paths = []
    for name, holes, more in given:
        path = folder / f"{name}.toml"
        rows = "".join(
            "[[hole]]\n" + "".join(f"{key} = {one}\n" for key, one in zip(KEYS, hole, strict=False))
            for hole in holes
        )
        path.write_text(f"{more}\n{rows}", encoding="utf-8")
        paths.append(path)
    return match_parts(paths[0], paths[1], gasket=paths[2] if len(paths) > 2 else None)


KEYS = ("x_mm", "y_mm", "diameter_mm")
PUMP = [[0.0, 0.0, 6.6], [70.0, 0.0, 6.6], [88.0, 47.0, 6.6], [35.0, 80.0, 6.6], [-12.0, 50.0, 6.6]]


def moved(number: int, x_mm: float, bore_mm: float = 6.6) -> list[list[float]]:
    return [
        [x + (x_mm if k == number else 0.0), y, bore_mm if k == number else bore]
        for k, (x, y, bore) in enumerate(PUMP)
    ]


@pytest.mark.parametrize("language", OTHERS)
def test_reasons_of_a_match(language: str, tmp_path: Path) -> None:
    over = [[-x, y, bore] for x, y, bore in PUMP]
    rough = "error_mm = 0.7"
    results = [
        parts(tmp_path, ("old", PUMP, ""), ("new", new, more), *gasket)
        for new, more, gasket in (
            (PUMP, "", [("gasket", moved(2, 9.0), "")]),
            (moved(1, 2.5), "", []),
            (moved(1, 40.0), "", []),
            (PUMP[:4], "", []),
            ([*PUMP, [20.0, 20.0, 6.6]], "", []),
            (moved(3, 0.0, 5.0), "", []),
            (over, "", []),
            (moved(1, 0.8), rough, []),
        )
    ]
    results.append(
        parts(tmp_path, ("old", PUMP, "height_mm = 60"), ("new", PUMP, "height_mm = 63"))
    )
    texts = {text for one in results for pair in one.pairs for text in pair.reasons}
    texts |= {_match_words(pair) for one in results for pair in one.pairs}
    texts |= {text for one in results for text in one.warnings}
    assert {pair.verdict for one in results for pair in one.pairs} == set(VERDICT_WORDS)
    assert [text for text in sorted(texts) if left_english(text, language)] == []


@pytest.mark.parametrize("language", OTHERS)
def test_words_of_a_tightening_order(language: str, tmp_path: Path) -> None:
    texts: set[str] = set()
    for cover, gasket, turns, thread in (
        ("aluminium", "paper", False, ""),
        ("plastic", "rubber", True, 'thread = "M8"'),
        ("cast-iron", "metal", True, ""),
        ("steel", "sealant", False, ""),
    ):
        path = tmp_path / f"{cover}.toml"
        rows = "".join(
            f'[[hole]]\nname = "{k}"\nx_mm = {x}\ny_mm = {y}\n' + f"turn = {k}\n" * turns
            for k, (x, y, _) in enumerate(PUMP, start=1)
        )
        path.write_text(
            f'[flange]\ncover = "{cover}"\ngasket = "{gasket}"\n[bolts]\n{thread}\n{rows}', "utf-8"
        )
        answer = bolts_order.order(path)
        texts |= {answer.answer, *answer.warnings}
        texts |= {answer.provenance.source, answer.provenance.valid_range}
        for group in answer.groups[1:]:
            texts |= {group.heading, *(text for row in group.rows for text in row)}
    assert [text for text in sorted(texts) if left_english(text, language)] == []


@pytest.mark.parametrize("language", OTHERS)
def test_every_fixed_text(language: str) -> None:
    fixed = [
        *coolant_hold.SEEN.values(),
        *fill.BLEED_STEPS,
        *reuse.FAMILY_WORDS.values(),
        *bolts_order._HOW.values(),
    ]
    assert [text for text in fixed if said_or_none(text, language) is None] == []
