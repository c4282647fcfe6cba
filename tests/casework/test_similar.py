"""Takes with known causes in folders, strange files among them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from beltside.base.errors import InputError
from beltside.casework.similar import (
    KnownTake,
    cause_of,
    chance_right,
    is_cause,
    known_files,
    likeness_state,
    similar,
    similar_among,
)
from beltside.sound.fingerprint import (
    ZONES_HZ,
    AtSpeed,
    Fingerprint,
    rhythm_orders,
    ringing_hz,
    tone_orders,
)

SHEET = '[engine]\ncylinders = 4\n[[pulley]]\npart = "crank"\ndiameter_mm = 138\n'


def made(order: float, seed: int = 1) -> Fingerprint:
    """A fingerprint that beats at one order and rings at a frequency of its own."""
    rng = np.random.default_rng(seed)
    rhythm = 0.05 * rng.random((len(ZONES_HZ), rhythm_orders().size))
    rhythm[:, np.argmin(np.abs(rhythm_orders() - order))] += 2.0
    rings = 0.05 * rng.normal(size=ringing_hz().size)
    rings[round(10 * order)] += 1.0
    return Fingerprint((AtSpeed(1.0, rhythm, 0.05 * rng.random(tone_orders().size)),), rings)


KNOWN = [
    KnownTake("a.m4a", "idler.bearing", made(5.0, 2)),
    KnownTake("b.m4a", "belt.damage", made(0.5, 3)),
    KnownTake("c.m4a", "none", made(2.0, 4)),
]


def test_the_same_rhythm_is_nearest_and_near() -> None:
    result = similar_among("new.m4a", made(5.0), KNOWN)
    assert result.nearest[0].cause == "idler.bearing"
    assert result.state == "near"
    distances = [one.distance for one in result.nearest]
    assert distances == sorted(distances)
    assert result.to_json()["compared"] == 3


def test_a_stranger_is_called_one() -> None:
    result = similar_among("new.m4a", made(9.5), KNOWN)
    assert result.state == "nothing like it"


def test_without_a_crank_speed_little_is_said() -> None:
    deaf = Fingerprint((), np.ones(ringing_hz().size))
    result = similar_among("new.m4a", deaf, KNOWN)
    assert result.state == "nothing like it"
    assert any("crank speed of this take" in text for text in result.warnings)
    half = similar_among("new.m4a", made(5.0), [*KNOWN, KnownTake("d.m4a", "none", deaf)])
    assert any("1 of the 4 known takes" in text for text in half.warnings)


@pytest.mark.parametrize(
    ("path", "cause"),
    [
        ("idler-2.bearing/take.m4a", "idler-2.bearing"),
        ("none/garage/take.m4a", "none"),
        ("Coolant-Pump.Bearing/2.wav", "coolant-pump.bearing"),
        ("belt.slip.wav", "belt.slip"),
        ("belt.slip_cold morning.wav", "belt.slip"),
        ("jobs/take.m4a", None),
        ("idler.noise/take.m4a", None),
    ],
)
def test_causes_are_read_from_names(path: str, cause: str | None) -> None:
    assert cause_of(Path(path)) == cause


def test_only_suspects_are_causes() -> None:
    assert is_cause("other")
    assert not is_cause("bearing")
    assert not is_cause("pump.bearing")


def test_strange_files_are_named_or_passed_over(tmp_path: Path) -> None:
    for name in (
        "idler.bearing/good.m4a",
        "idler.bearing/drive.toml",
        "idler.bearing/photo.jpg",
        "idler.bearing/.hidden.m4a",
        "idler.bearing/archive.zip",
        "unsorted/take.wav",
        "asked.m4a",
    ):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(b"x")
    (tmp_path / "none").mkdir()
    (tmp_path / "none" / "link.wav").symlink_to(tmp_path / "asked.m4a")
    found, left_out = known_files(tmp_path, tmp_path / "asked.m4a")
    assert [(path.name, cause) for path, cause in found] == [("good.m4a", "idler.bearing")]
    assert dict(left_out) == {
        "asked.m4a": "this is the take in question",
        "idler.bearing/archive.zip": "not a recording by its name",
        "unsorted/take.wav": "no cause in the name of its folder or its own",
    }


def test_no_folder_and_no_sheet_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no folder"):
        known_files(tmp_path / "missing")
    with pytest.raises(InputError, match="no drive sheet given"):
        similar(tmp_path / "a.m4a", tmp_path, drive=None)
    sheet = tmp_path / "drive.toml"
    sheet.write_text(SHEET, encoding="utf-8")
    with pytest.raises(InputError, match="0 nearest takes"):
        similar(tmp_path / "a.m4a", tmp_path, drive=sheet, most=0)


def test_the_chance_falls_with_distance_and_grows_with_the_lead() -> None:
    """Shares right among 228 simulated cars (docs/methods/fingerprint.md): near 0.5 all, at 0.7
    six in ten, at 0.8 one in four."""
    assert chance_right(0.5, None) > 0.9
    assert chance_right(0.7, None) == pytest.approx(0.6, abs=0.06)
    assert chance_right(0.8, None) == pytest.approx(0.27, abs=0.06)
    for lead in (0.0, 0.02, 0.1):
        far = [chance_right(distance, lead) for distance in (0.4, 0.6, 0.8)]
        assert far == sorted(far, reverse=True)
    ahead = [chance_right(0.6, lead) for lead in (0.0, 0.02, 0.1, 0.3)]
    assert ahead == sorted(ahead)


@pytest.mark.parametrize(
    ("closest", "lead", "state"),
    [
        (0.5, 0.15, "near"),
        (0.7, 0.03, "nothing like it"),
        (0.65, 0.1, "some likeness"),
        (0.55, None, "near"),
        (0.9, None, "nothing like it"),
    ],
)
def test_what_a_distance_says(closest: float, lead: float | None, state: str) -> None:
    assert likeness_state(closest, lead) == state
