"""Identify the car: the vehicle identification number, the emissions label, or both together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from beltside.base.errors import InputError
from beltside.base.provenance import Provenance
from beltside.casework.drive_results import provenance_json, rounded
from beltside.vehicle.kind import VIN, kind_of
from beltside.vehicle.label import SECTORS, Displacement, EngineFamily, read_family
from beltside.vehicle.typos import Typo, Typos
from beltside.vehicle.vin import Vin, read_vin
from beltside.vehicle.year import ModelYear

METHOD: Final = "beltside.vehicle"
VERSION: Final = 1


@dataclass(frozen=True)
class VehicleResult:
    """What the number, the label or both say.

    Attributes
    ----------
    vin, family
        The number and the engine family as read; None for what was not given.
    model_year
        Model year, None when neither can tell.
    certainty
        "sure", "likely", "can't tell" or "doubtful".
    year_says
        The model year in words.
    agree
        Whether number and label allow the same model year; None unless both were given and tell.
    warnings
        What to know before trusting it.
    provenance
        Method, version, inputs and sources.
    """

    vin: Vin | None
    family: EngineFamily | None
    model_year: int | None
    certainty: str
    year_says: str
    agree: bool | None
    warnings: tuple[str, ...]
    provenance: Provenance

    def to_json(self) -> dict[str, Any]:
        """Plain dict with the keys of docs/usage/vehicle.md."""
        found = None if self.family is None else self.family.displacement
        return {
            "model_year": self.model_year,
            "certainty": self.certainty,
            "year_says": self.year_says,
            "displacement_l": None if found is None else rounded(found.litres),
            "agree": self.agree,
            "vin": None if self.vin is None else _vin_json(self.vin),
            "engine_family": None if self.family is None else _family_json(self.family),
            "warnings": list(self.warnings),
            "provenance": provenance_json(self.provenance),
        }


def vehicle(
    text: str,
    other: str | None = None,
    *,
    today_year: int,
    north_american: bool | None = None,
) -> VehicleResult:
    """Read a vehicle identification number, an engine family of the emissions label, or both.

    Parameters
    ----------
    text, other
        The number or the label's engine family; which is which is told by their form.
    today_year
        This year, 1980 to 2039.
    north_american
        Whether the vehicle was made for North America; None: by the number's first characters.

    Raises
    ------
    InputError
        When one can't be read, or both are of the same kind.
    """
    kinds = [kind_of(one) for one in (text, other) if one is not None]
    if len(kinds) == 2 and kinds[0] == kinds[1]:
        what = "numbers" if kinds[0] == VIN else "engine families"
        raise InputError(
            f"two {what} were given",
            allowed="one vehicle identification number and one engine family of the same car",
            instead="one after the other",
        )
    vin = family = None
    for kind, one in zip(kinds, (text, other or ""), strict=False):
        if kind == VIN:
            vin = read_vin(one, today_year=today_year, north_american=north_american)
        else:
            family = read_family(one, today_year=today_year)
    year, certainty, says, agree = _model_year(vin, family)
    warnings = [*(vin.warnings if vin else ()), *(family.warnings if family else ())]
    if agree is False:
        warnings.append(
            "number and label disagree: one was misread, or the label or the engine is from "
            "another car. Go by the engine that is there when ordering parts"
        )
    return VehicleResult(
        vin=vin,
        family=family,
        model_year=year,
        certainty=certainty,
        year_says=says,
        agree=agree,
        warnings=tuple(warnings),
        provenance=Provenance(
            METHOD,
            VERSION,
            inputs={
                "vin": vin.vin if vin else None,
                "engine_family": family.family if family else None,
                "today_year": today_year,
                "north_american": north_american,
            },
            valid_range="model years 1980 to 2039; engine families of 1994 and later",
            source="ISO 3779, 49 CFR 565, EPA family naming; docs/methods/vehicle.md",
        ),
    )


def _model_year(
    vin: Vin | None, family: EngineFamily | None
) -> tuple[int | None, str, str, bool | None]:
    """Year, certainty, words, and whether number and label agree."""
    if vin is None:
        assert family is not None
        certain = "can't tell" if family.model_year is None else "sure"
        return family.model_year, certain, family.year_says, None
    by_number = vin.model_year
    if family is None:
        return by_number.year, by_number.certainty, by_number.says, None
    by_label = family.model_year
    allowed = [choice.year for choice in by_number.choices if choice.possible]
    if by_label is None:
        return by_number.year, by_number.certainty, f"{by_number.says}; the label can't tell", None
    if by_number.certainty == "doubtful":
        return by_label, "likely", f"{by_label} by the label; the number was misread", None
    by_rule = by_number.year in (None, by_label)
    if by_label in allowed and (by_rule or family.sector not in SECTORS):
        certain = "sure" if by_number.year == by_label else "likely"
        says = f"{by_label}: the label says so, and position 10 of the number allows it"
        if not by_rule:
            says = f"{says}, though not for a car or light truck (that would be {by_number.year})"
        return by_label, certain, says, True
    if not vin.check.mandatory:
        # Position 10 need not be the year there, so it can't contradict the label.
        says = (
            f"{by_label} by the label; position 10 of the number is not that year and need not be"
        )
        return by_label, "likely", says, None
    says = f"can't tell: {by_label} by the label; by the number {by_number.says}"
    return None, "can't tell", says, False


def _vin_json(vin: Vin) -> dict[str, Any]:
    return {
        "vin": vin.vin,
        "region": vin.region,
        "country": vin.country,
        "maker_code": vin.maker_code,
        "small_maker": vin.small_maker,
        "attributes": vin.attributes,
        "check_digit": {
            "given": vin.check.given,
            "expected": vin.check.expected,
            "sum": vin.check.value_sum,
            "fits": vin.check.fits,
            "mandatory": vin.check.mandatory,
            "says": vin.check.says,
        },
        "model_year": _year_json(vin.model_year),
        "plant": vin.plant,
        "serial": vin.serial,
        "indicator": vin.indicator,
        "typos": None if vin.typos is None else _typos_json(vin.typos),
        "warnings": list(vin.warnings),
    }


def _year_json(year: ModelYear) -> dict[str, Any]:
    return {
        "code": year.code,
        "year": year.year,
        "certainty": year.certainty,
        "choices": [
            {"year": one.year, "possible": one.possible, "says": one.says} for one in year.choices
        ],
        "says": year.says,
    }


def _typos_json(typos: Typos) -> dict[str, Any]:
    return {
        "total": typos.total,
        "of_kind": dict(typos.of_kind),
        "shown": [_typo_json(one) for one in typos.shown],
    }


def _typo_json(typo: Typo) -> dict[str, Any]:
    return {
        "vin": typo.vin,
        "kind": typo.kind,
        "positions": list(typo.positions),
        "says": typo.says,
        "model_year": typo.model_year.year,
        "points": typo.points,
    }


def _family_json(family: EngineFamily) -> dict[str, Any]:
    found = family.displacement
    return {
        "family": family.family,
        "layout": family.layout,
        "model_year": family.model_year,
        "year_choices": list(family.year_choices),
        "year_says": family.year_says,
        "maker_code": family.maker_code,
        "sector": family.sector,
        "sector_says": family.sector_says,
        "displacement": None if found is None else _displacement_json(found),
        "displacement_choices": [_displacement_json(one) for one in family.displacement_choices],
        "displacement_says": family.displacement_says,
        "own_code": family.own_code,
        "warnings": list(family.warnings),
    }


def _displacement_json(one: Displacement) -> dict[str, Any]:
    return {
        "litres": rounded(one.litres),
        "low_l": rounded(one.low_l),
        "high_l": rounded(one.high_l),
        "written": one.written,
        "certainty": one.certainty,
        "says": one.says,
    }
