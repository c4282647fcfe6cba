"""Reuse, top up or renew. Limits are common practice, no source."""

from __future__ import annotations

import pytest

from beltside.base.errors import InputError
from beltside.coolant.reuse import mesh_for, read_family, reuse_or_renew


def test_young_and_clear_is_reused_through_a_filter() -> None:
    found = reuse_or_renew(
        family="OAT", age_years=1.0, distance_km=20000.0, ph=8.4, reserve="high", looks=("clear",)
    )
    assert found.advice == "reuse filtered"
    assert found.filter_um[0] < found.filter_um[1]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"looks": ("oil-film",)}, "oil"),
        ({"looks": ("rust",)}, "rust"),
        ({"looks": ("cloudy",)}, "cloudy"),
        ({"looks": ("sludge",)}, "sludge"),
        ({"ph": 6.2}, "acid"),
        ({"ph": 12.0}, "aluminium"),
        ({"reserve": "low"}, "reserve"),
        ({"family": "IAT", "age_years": 3.0}, "years"),
        ({"family": "OAT", "distance_km": 400000.0}, "km"),
    ],
)
def test_each_of_these_alone_renews(given: dict[str, object], words: str) -> None:
    found = reuse_or_renew(**given)  # type: ignore[arg-type]
    assert found.advice == "renew"
    assert words in " ".join(found.reasons)


def test_oil_asks_where_it_comes_from_first() -> None:
    assert "gasket" in reuse_or_renew(looks=("oil-film",)).find_first[0]


def test_nothing_known_is_not_vouched_for() -> None:
    assert reuse_or_renew().advice == "top up"


def test_a_worn_strip_or_weak_mix_is_topped_up() -> None:
    base = {"family": "OAT", "age_years": 1.0}
    assert reuse_or_renew(**base, ph=7.2).advice == "top up"  # type: ignore[arg-type]
    assert reuse_or_renew(**base, volume_fraction=0.25).advice == "top up"  # type: ignore[arg-type]


def test_families_do_not_mix_and_colour_proves_nothing() -> None:
    assert "shorter" in reuse_or_renew(family="OAT", top_up_family="IAT").warnings[0]
    with pytest.raises(InputError, match="colour proves nothing"):
        read_family("pink")
    with pytest.raises(InputError, match="HOAT"):
        read_family("hoatt")
    assert read_family("p-hoat") == "P-HOAT"


@pytest.mark.parametrize(("opening", "number"), [(75.0, 200), (150.0, 100), (250.0, 60)])
def test_sieves_of_astm_e11(opening: float, number: int) -> None:
    """ASTM E11: No. 200 is 75, No. 100 is 150, No. 60 is 250 micrometres (from memory)."""
    assert mesh_for(opening) == number


@pytest.mark.parametrize(
    "bad",
    [{"ph": 15.0}, {"age_years": -1.0}, {"looks": ("pretty",)}, {"reserve": "some"}],
)
def test_nonsense_is_refused(bad: dict[str, object]) -> None:
    with pytest.raises(InputError):
        reuse_or_renew(**bad)  # type: ignore[arg-type]
