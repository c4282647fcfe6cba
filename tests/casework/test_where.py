"""The housing map of whole cases: the probe on three housings of a drive with one bad bearing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drives import SHEET, heard

from beltside.base.errors import InputError
from beltside.casework.takes import Conditions, HeardTake
from beltside.casework.where import known_part, outline, probe_takes, where, where_heard
from beltside.casework.where_results import WhereResult, bits_among
from beltside.drive.sheet import Belt, DriveSheet, Engine, Pulley

DRIVE_TOML = """
[engine]
cylinders = 4
[[pulley]]
part = "crank"
diameter_mm = 138
[[pulley]]
part = "alternator"
diameter_mm = 55
"""


def probe(part: str | None, bearing: float, seed: int, gain: float = 1.0) -> HeardTake:
    conditions = Conditions(f"probe-{part}.m4a" if part else "front.m4a", "on", part)
    return heard(seed, bearing=bearing, gain=gain, seconds=8.0, conditions=conditions)


@pytest.fixture(scope="module")
def takes() -> list[HeardTake]:
    """The alternator's bearing, clearest with the probe on the alternator; gains 20 dB apart."""
    return [
        probe("alternator", 2.0, 1, gain=0.3),
        probe("coolant-pump", 0.7, 2, gain=3.0),
        probe("idler", 0.5, 3),
    ]


@pytest.fixture(scope="module")
def result(takes: list[HeardTake]) -> WhereResult:
    return where_heard(takes, SHEET)


def test_the_bad_bearing_is_loudest_at_its_own_housing(result: WhereResult) -> None:
    assert result.part == "alternator"
    assert result.by == "rhythm"
    assert result.places[0].part == "alternator"
    assert result.places[0].loudest > 0.7
    assert sum(place.loudest for place in result.places) == pytest.approx(1.0)
    assert result.places[0].files == ("probe-alternator.m4a",)


def test_loudness_of_the_recording_alone_points_elsewhere(takes: list[HeardTake]) -> None:
    """The take at the coolant pump is the loudest as recorded: the gains are told apart from it."""
    loudest = max(takes, key=lambda take: take.hearing.band_power.sum())
    assert loudest.conditions.part == "coolant-pump"


def test_the_gains_are_recovered_in_their_order(result: WhereResult) -> None:
    gains = {gain.part: gain.gain_db for gain in result.gains}
    assert gains["coolant-pump"] > gains["idler"] > gains["alternator"]


def test_evidence_is_plain_and_favours_the_loudest(result: WhereResult) -> None:
    evidence = {one.part: one.bits for one in result.evidence()}
    assert set(evidence) == {"alternator", "coolant-pump", "idler"}
    assert max(evidence, key=lambda part: evidence[part]) == "alternator"
    assert all(-3.0 <= bits <= 3.0 for bits in evidence.values())
    plain = result.to_json()
    assert plain["state"] in ("clear", "likely")
    assert plain["evidence"][0]["from"] == "housing map"


def test_a_suspect_that_was_not_probed_is_said(takes: list[HeardTake]) -> None:
    without = where_heard(takes[1:], SHEET, part="alternator")
    assert any("not held on the alternator itself" in text for text in without.warnings)


def test_a_band_may_be_given(takes: list[HeardTake]) -> None:
    by_band = where_heard(takes, SHEET, band_hz=(2000.0, 4000.0))
    assert by_band.by == "band"
    assert by_band.orders == ()


def test_without_own_lines_the_band_is_compared_and_said() -> None:
    quiet = [probe("alternator", 0.0, 4), probe("idler", 0.0, 5)]
    answer = where_heard(quiet, SHEET, part="coolant-pump")
    assert answer.by == "band"
    assert any("No line of the coolant-pump's own" in text for text in answer.warnings)


def test_alike_places_are_not_told_apart() -> None:
    """The same sound at two places: half and half."""
    alike = [probe("alternator", 1.0, 6), probe("coolant-pump", 1.0, 6)]
    answer = where_heard(alike, SHEET, part="alternator")
    assert answer.state == "not told apart"
    assert [place.loudest for place in answer.places] == pytest.approx([0.5, 0.5])


def test_a_take_without_a_speed_keeps_its_place_among_the_chances(takes: list[HeardTake]) -> None:
    deaf = replace(takes[2], hearing=replace(takes[2].hearing, orders=None))
    answer = where_heard([*takes[:2], deaf], SHEET, part="alternator")
    assert [place.part for place in answer.places] == ["alternator", "coolant-pump"]
    assert set(answer.unread) == {"idler"}
    assert 0.0 < answer.unread["idler"] < answer.places[0].loudest
    everywhere = sum(place.loudest for place in answer.places) + answer.unread["idler"]
    assert everywhere == pytest.approx(1.0)
    assert any("can't be told in probe-idler.m4a" in text for text in answer.warnings)
    assert answer.to_json()["unread"] == ["idler"]


def test_what_went_with_the_belt_speaks_for_where_it_is_loud(takes: list[HeardTake]) -> None:
    """With the belt off the bearing is silent; its band is loudest at the alternator."""
    front = [
        heard(11, bearing=2.0, seconds=8.0, conditions=Conditions("on", "on")),
        heard(11, bearing=0.0, seconds=8.0, conditions=Conditions("off", "off")),
    ]
    read = probe_takes([*front, *takes], SHEET, "alternator", None, [])
    levels = dict(zip(read.parts, [one.belt_band_db for one in read.signs], strict=True))
    assert all(level is not None for level in levels.values())
    without = probe_takes(takes, SHEET, "alternator", None, [])
    assert all(one.belt_band_db is None for one in without.signs)


def test_odds_count_its_own_level_alone(result: WhereResult) -> None:
    """The other signs are measured for the odds by themselves: they must not count twice."""
    alone = {place.part: place.own_loudest for place in result.places}
    assert sum(alone.values()) == pytest.approx(1.0)
    for one in result.evidence():
        assert one.bits == pytest.approx(bits_among(alone[one.part], 3))


@pytest.mark.parametrize("parts", [[None, None], ["idler", None], ["idler", "idler"], []])
def test_fewer_than_two_places_are_refused(parts: list[str | None]) -> None:
    takes = [probe(part, 0.5, 8) for part in parts]
    with pytest.raises(InputError, match="two housings or more"):
        where_heard(takes, SHEET)


@pytest.mark.parametrize(
    ("takes", "message"),
    [
        ('[[take]]\nfile = "a.m4a"\n', "no take names the part probed"),
        ('[[take]]\nfile = "a.m4a"\nplace = "by the fender"\n', 'place = "by the fender"'),
        ('[[take]]\nfile = "a.m4a"\nplace = "alternator"\n', "only the alternator was probed"),
    ],
)
def test_a_case_without_probe_takes_is_refused_before_decoding(
    tmp_path: Path, takes: str, message: str
) -> None:
    (tmp_path / "drive.toml").write_text(DRIVE_TOML, encoding="utf-8")
    (tmp_path / "a.m4a").write_bytes(b"no sound at all")
    (tmp_path / "case.toml").write_text('drive = "drive.toml"\n' + takes, encoding="utf-8")
    with pytest.raises(InputError, match=message):
        where(tmp_path)


def test_parts_are_known_by_any_spelling_and_suspects_by_their_part() -> None:
    assert known_part("Coolant Pump", SHEET) == "coolant-pump"
    assert known_part("alternator.bearing", SHEET) == "alternator"
    with pytest.raises(InputError, match="Try: coolant-pump"):
        known_part("water-pump", SHEET)


def test_the_outline_has_the_belt_when_places_are_known() -> None:
    assert not outline(SHEET).measured
    assert outline(SHEET).spans == ()
    placed = DriveSheet(
        Engine(4),
        Belt(),
        (
            Pulley("crank", 138.0, x_mm=0.0, y_mm=0.0),
            Pulley("alternator", 55.0, x_mm=175.0, y_mm=205.0),
        ),
    )
    drawn = outline(placed)
    assert drawn.measured
    assert len(drawn.spans) == 2
    # A belt between two pulleys touches each at its radius.
    for start, _ in drawn.spans:
        reach = [np.hypot(start[0] - p.x_mm, start[1] - p.y_mm) for p in drawn.pulleys]
        assert min(abs(reach[0] - 69.0), abs(reach[1] - 27.5)) < 4.0


def test_bits_are_limited() -> None:
    assert bits_among(1.0, 2) == pytest.approx(1.0)
    assert bits_among(1.0, 40) == 3.0
    assert bits_among(1e-9, 4) == -3.0
