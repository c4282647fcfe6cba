"""Use case: what is in the system, and what follows from it for frost and heat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError
from beltside.base.provenance import Provenance
from beltside.casework.coolant_answer import (
    CoolantAnswer,
    Row,
    ScalePicture,
    Words,
)
from beltside.coolant import cautions, mix
from beltside.coolant.glycol import Glycol as Glycol
from beltside.coolant.pressure import ambient_kpa, read_cap_mark

OTHER: Final[dict[Glycol, Glycol]] = {"ethylene": "propylene", "propylene": "ethylene"}


@dataclass(frozen=True)
class MixReading:
    """What the strength is read from: exactly one of the first six.

    Attributes
    ----------
    specific_gravity, at_c
        Hydrometer, and the liquid's temperature there [°C].
    refractive_index
        Refractometer that shows the index itself, at 20 °C.
    freezing_c, scale
        Refractometer's freezing scale [°C], and the glycol that scale is for.
    concentrate_l, water_l
        What was poured together [L].
    volume_percent, mass_percent
        As stated on a label.
    resolution
        Half the range of the tool, in its own unit; None for that of a common tool.
    """

    specific_gravity: float | None = None
    at_c: float | None = None
    refractive_index: float | None = None
    freezing_c: float | None = None
    scale: Glycol | None = None
    concentrate_l: float | None = None
    water_l: float | None = None
    volume_percent: float | None = None
    mass_percent: float | None = None
    resolution: float | None = None
    reference_c: float = mix.HYDROMETER_REFERENCE_C


def strength_of(kind: Glycol, reading: MixReading) -> mix.Strength:
    """The strength behind a reading.

    Raises
    ------
    InputError
        When none or several kinds of reading were given, or a hydrometer without its temperature.
    """
    given = [
        name
        for name, value in (
            ("specific gravity", reading.specific_gravity),
            ("refractive index", reading.refractive_index),
            ("freezing scale", reading.freezing_c),
            ("amounts", reading.concentrate_l if reading.water_l is None else reading.water_l),
            ("volume per cent", reading.volume_percent),
            ("mass per cent", reading.mass_percent),
        )
        if value is not None
    ]
    if len(given) != 1:
        raise InputError(
            f"{' and '.join(given) or 'no reading'} given",
            allowed="exactly one: specific gravity, refractive index, freezing scale, the amounts "
            "poured, or a share by volume or mass",
            instead="one call for each tool, to compare them",
        )
    r = reading
    if r.specific_gravity is not None:
        if r.at_c is None:
            raise InputError(
                "a specific gravity without the liquid's temperature",
                allowed="both: warm coolant floats a hydrometer lower",
                instead="reading a thermometer beside it",
            )
        resolution = mix.SG_RESOLUTION if r.resolution is None else r.resolution
        return mix.from_hydrometer(
            kind, r.specific_gravity, r.at_c, resolution=resolution, reference_c=r.reference_c
        )
    if r.refractive_index is not None:
        resolution = mix.INDEX_RESOLUTION if r.resolution is None else r.resolution
        return mix.from_refractive_index(kind, r.refractive_index, resolution=resolution)
    if r.freezing_c is not None:
        resolution = mix.FREEZE_RESOLUTION_K if r.resolution is None else r.resolution
        return mix.from_freezing(kind, r.freezing_c, scale=r.scale, resolution_k=resolution)
    if r.volume_percent is not None:
        half = 0.01 if r.resolution is None else r.resolution / 100.0
        return mix.from_fraction(kind, r.volume_percent / 100.0, by="volume", half_range=half)
    if r.mass_percent is not None:
        half = 0.01 if r.resolution is None else r.resolution / 100.0
        return mix.from_fraction(kind, r.mass_percent / 100.0, by="mass", half_range=half)
    if r.concentrate_l is None or r.water_l is None:
        raise InputError(
            "only one of the two amounts poured", allowed="litres of concentrate and of water"
        )
    resolution = mix.AMOUNT_RESOLUTION_L if r.resolution is None else r.resolution
    return mix.from_amounts(kind, r.concentrate_l, r.water_l, resolution_l=resolution)


def _with_range(words: Words, value_c: float, low_c: float, high_c: float) -> str:
    """A temperature with its range, which is left out where it is the same degree."""
    text = words.temperature(value_c)
    if words.temperature(low_c) == words.temperature(high_c):
        return text
    return f"{text} ({words.temperatures(low_c, high_c)})"


def mix_answer(
    kind: Glycol,
    reading: MixReading,
    *,
    cap: str | None = None,
    altitude_m: float = 0.0,
    thermostat_c: float | None = None,
    capacity_l: float | None = None,
    cold_c: float = 20.0,
    hot_c: float = 95.0,
    hardness_ppm: float | None = None,
    us: bool = False,
) -> CoolantAnswer:
    """Strength, freezing, boiling, density and expansion from one reading.

    Raises
    ------
    InputError
        When a value is not of the allowed form or outside its range.
    """
    words = Words(us)
    strength = strength_of(kind, reading)
    mark = None if cap is None else read_cap_mark(cap)
    found = mix.mixture(
        strength,
        ambient_kpa=ambient_kpa(altitude_m),
        cap_kpa=0.0 if mark is None else mark.gauge_kpa,
        capacity_l=capacity_l,
        cold_c=cold_c,
        hot_c=hot_c,
        hardness_ppm=hardness_ppm,
    )
    volume, volume_low, volume_high = strength.volume()
    rows = [
        Row(
            "Glycol",
            f"{100 * volume:.0f} % by volume ({100 * volume_low:.0f} to {100 * volume_high:.0f})",
            strength.how,
        ),
        Row(
            "By mass",
            f"{100 * strength.mass:.0f} % ({100 * strength.mass_low:.0f} to "
            f"{100 * strength.mass_high:.0f})",
        ),
    ]
    warnings = list(found.warnings)
    if mark is not None and mark.assumed:
        warnings.append(mark.assumed)
    rows += _frost_rows(words, kind, found, volume)
    margin_k = None
    if found.boiling_c is not None and found.boiling_open_c is not None:
        under = "under the cap" if mark is not None else "with the cap off"
        low = found.boiling_low_c if found.boiling_low_c is not None else found.boiling_c
        high = found.boiling_high_c if found.boiling_high_c is not None else found.boiling_c
        rows.append(
            Row(
                "Boils",
                _with_range(words, found.boiling_c, low, high),
                f"{under}, {words.pressure(found.absolute_kpa)} absolute",
            )
        )
        if mark is not None:
            rows.append(Row("Boils, cap off", words.temperature(found.boiling_open_c)))
        if thermostat_c is not None:
            margin_k = found.boiling_c - thermostat_c
            rows.append(
                Row(
                    "Margin",
                    words.kelvins(margin_k),
                    f"boiling above the thermostat's {words.temperature(thermostat_c)}",
                )
            )
            if margin_k < 15.0:
                warnings.append(
                    f"boiling is only {words.kelvins(margin_k)} above the thermostat: cap, "
                    "altitude or mixture does not fit"
                )
    elif found.boiling_c is None:
        rows.append(Row("Boils", "not given", "richer than the boiling curve was measured"))
    if found.density_cold is not None and found.density_hot is not None:
        rows.append(
            Row(
                "Density",
                f"{words.density(found.density_cold)} at {words.temperature(cold_c)}, "
                f"{words.density(found.density_hot)} at {words.temperature(hot_c)}",
            )
        )
    if found.expansion_share is not None:
        share = f"{100 * found.expansion_share:.1f} %"
        between = f"from {words.temperature(cold_c)} to {words.temperature(hot_c)}"
        if found.expansion_l is None:
            rows.append(Row("Grows when hot", share, between))
        else:
            litres = words.litres(found.expansion_l)
            rows.append(Row("Must fit in the bottle", litres, f"{share} growth {between}"))
    other = None
    if reading.freezing_c is not None and reading.scale is None:
        other = mix.other_scale_c(kind, reading.freezing_c)
        if other is not None:
            warnings.append(
                f"should it be {OTHER[kind]} glycol after all, it freezes at "
                f"{words.temperature(other)}, not {words.temperature(reading.freezing_c)}: the "
                f"scale must be for the glycol that is in"
            )
    return CoolantAnswer(
        "mix",
        _mix_headline(words, found, volume),
        tuple(rows),
        {
            "glycol": kind,
            "mass_fraction": {
                "value": strength.mass,
                "low": strength.mass_low,
                "high": strength.mass_high,
            },
            "volume_fraction": {"value": volume, "low": volume_low, "high": volume_high},
            "freezing_c": {
                "value": found.freezing_c,
                "low": found.freezing_low_c,
                "high": found.freezing_high_c,
            },
            "boiling_c": {
                "value": found.boiling_c,
                "low": found.boiling_low_c,
                "high": found.boiling_high_c,
            },
            "boiling_open_c": found.boiling_open_c,
            "margin_k": margin_k,
            "cap_kpa": None if mark is None else mark.gauge_kpa,
            "ambient_kpa": found.ambient_kpa,
            "absolute_kpa": found.absolute_kpa,
            "density_cold_kg_m3": found.density_cold,
            "density_hot_kg_m3": found.density_hot,
            "expansion_share": found.expansion_share,
            "expansion_l": found.expansion_l,
            "other_glycol_freezing_c": other,
        },
        Provenance(
            "coolant mixture",
            1,
            {"glycol": kind, "read_with": strength.how, "altitude_m": altitude_m, "cap": cap},
            "0 to 60 % by mass (boiling of ethylene glycol to 70 %), to 100 °C",
            "Melinder 2010; CRC Handbook 2021; a glycol maker's data sheet 2008; IAPWS-IF97",
        ),
        warnings=tuple(warnings),
        cautions=(cautions.NEVER_OPEN_HOT, cautions.POISON, cautions.SERVICE_DATA),
        picture=_mix_picture(words, found, thermostat_c),
    )


def _frost_rows(words: Words, kind: Glycol, found: mix.Mixture, volume: float) -> list[Row]:
    if found.freezing_c is None or found.freezing_low_c is None or found.freezing_high_c is None:
        return [Row("Freezes", "not given", "richer than was measured")]
    enough = mix.FREE_OF_BURST[kind]
    burst = (
        f"holds below that too: from about {100 * enough:.0f} % by volume ice stays a slush "
        "that finds room (common practice); don't start or pump it then"
        if volume >= enough
        else "may burst block or radiator not far below that: too weak to stay a slush"
    )
    return [
        Row(
            "Freezes",
            f"{words.temperature(found.freezing_c)} "
            f"({words.temperatures(found.freezing_low_c, found.freezing_high_c)})",
            "first ice; from here on slush that no longer flows well",
        ),
        Row("Burst protection", burst),
    ]


def _mix_headline(words: Words, found: mix.Mixture, volume: float) -> str:
    percent = f"{100 * volume:.0f} % {found.strength.glycol} glycol by volume"
    if found.freezing_c is None:
        return f"{percent}: over-rich, no freezing point is given. Thin it."
    ice = words.temperature(found.freezing_c)
    if found.boiling_c is None:
        return f"{percent}: freezes at {ice}."
    return f"{percent}: freezes at {ice}, boils at {words.temperature(found.boiling_c)}."


def _mix_picture(
    words: Words, found: mix.Mixture, thermostat_c: float | None
) -> ScalePicture | None:
    if found.freezing_c is None or found.boiling_c is None or found.boiling_open_c is None:
        return None
    marks = [
        (words.degrees(found.freezing_c), f"first ice {words.temperature(found.freezing_c)}"),
        (words.degrees(found.boiling_c), f"boils {words.temperature(found.boiling_c)}"),
    ]
    if found.boiling_c - found.boiling_open_c > 3.0:
        marks.append(
            (
                words.degrees(found.boiling_open_c),
                f"boils, cap off {words.temperature(found.boiling_open_c)}",
            )
        )
    if thermostat_c is not None:
        marks.append((words.degrees(thermostat_c), f"thermostat {words.temperature(thermostat_c)}"))
    return ScalePicture(
        "Between ice and steam",
        f"{100 * found.strength.volume()[0]:.0f} % {found.strength.glycol} glycol by volume",
        words.degree,
        words.degrees(min(found.freezing_c - 10.0, -50.0)),
        words.degrees(max(found.boiling_c + 10.0, 140.0)),
        tuple(marks),
        ((words.degrees(found.freezing_c), words.degrees(found.boiling_c), "liquid"),),
    )
