"""Use cases: what is in the system, how to change it, and whether to keep it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from beltside.base.errors import InputError
from beltside.base.provenance import Provenance
from beltside.casework.coolant_answer import (
    CoolantAnswer,
    Row,
    ScalePicture,
    Shade,
    StackPicture,
    Words,
)
from beltside.coolant import adjust as adjusting
from beltside.coolant import cautions, mix, reuse
from beltside.coolant.glycol import Glycol as Glycol
from beltside.coolant.glycol import mass_from_volume
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
                f"{words.temperature(found.boiling_c)} ({words.temperatures(low, high)})",
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
        text = share if found.expansion_l is None else words.litres(found.expansion_l)
        rows.append(
            Row(
                "Must fit in the bottle",
                text,
                f"{share} growth from {words.temperature(cold_c)} to {words.temperature(hot_c)}",
            )
        )
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
    text = f"{percent}: freezes at {words.temperature(found.freezing_c)}"
    if found.boiling_c is None:
        return f"{text}."
    return f"{text}, boils at {words.temperature(found.boiling_c)}."


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


def adjust_answer(
    kind: Glycol,
    *,
    capacity_l: float,
    stays_l: float,
    now_percent: float,
    target_percent: float,
    product_percent: float = 100.0,
    shelf: Sequence[tuple[float, float | None]] = (),
    water_shelf: Sequence[tuple[float, float | None]] = (),
    currency: str = "",
    us: bool = False,
) -> CoolantAnswer:
    """What to drain and pour to bring the system to a strength; all per cent by volume.

    Raises
    ------
    InputError
        When a value is outside its range, or the target is out of reach in one go.
    """
    words = Words(us)
    plans = adjusting.adjust(
        kind,
        capacity_l=capacity_l,
        stays_l=stays_l,
        now_volume=now_percent / 100.0,
        target_volume=target_percent / 100.0,
        product_volume=product_percent / 100.0,
        shelf=tuple(adjusting.Container(*row) for row in shelf),
    )
    product = "concentrate" if product_percent >= 99.5 else f"{product_percent:.0f} % premix"
    rows: list[Row] = []
    steps: list[str] = []
    for plan in plans:
        rows.append(
            Row(
                plan.name.capitalize(),
                f"drain {words.litres(plan.drain_l)}, pour {words.litres(plan.product_l)} of "
                f"{product} and {words.litres(plan.water_l)} of distilled water",
                f"shrinks by {words.litres(plan.shrinkage_l)} when mixed",
            )
        )
        if plan.bought is not None:
            rows.append(Row("", _bought(words, plan.bought, currency), f"for {plan.name}"))
        if water_shelf and plan.water_l > 0.01:
            water = adjusting.buy(
                plan.water_l, tuple(adjusting.Container(*row) for row in water_shelf)
            )
            rows.append(Row("", _bought(words, water, currency), f"water, for {plan.name}"))
    if plans:
        best = plans[0]
        steps = [
            f"Engine cold. Drain {words.litres(best.drain_l)} into a measuring can."
            if best.drain_l > 0.01
            else "Nothing needs to come out.",
            f"Pour in {words.litres(best.product_l)} of {product} and "
            f"{words.litres(best.water_l)} of distilled water, mixed in a can first.",
            "Run until the thermostat opens with the heater on hot, let it cool, and read the "
            "strength again: old coolant in block and heater mixes in only then.",
        ]
        headline = (
            f"Drain {words.litres(best.drain_l)}, pour {words.litres(best.product_l)} of {product}"
            f" and {words.litres(best.water_l)} of distilled water: {target_percent:.0f} % by "
            "volume."
        )
    else:
        headline = f"It is at {target_percent:.0f} % already: nothing to do."
    warnings = []
    if target_percent > 60.0:
        warnings.append("above 60 % by volume protection turns back")
    return CoolantAnswer(
        "adjust",
        headline,
        tuple(rows),
        {
            "plans": [
                {
                    "name": plan.name,
                    "drain_l": plan.drain_l,
                    "product_l": plan.product_l,
                    "water_l": plan.water_l,
                    "shrinkage_l": plan.shrinkage_l,
                    "containers": None
                    if plan.bought is None
                    else [{"size_l": size, "count": n} for size, n in plan.bought.containers],
                    "cost": None if plan.bought is None else plan.bought.cost,
                    "cost_used": None if plan.bought is None else plan.bought.cost_used,
                }
                for plan in plans
            ],
            "target_mass_fraction": mass_from_volume(kind, target_percent / 100.0),
        },
        Provenance(
            "coolant adjustment",
            1,
            {
                "glycol": kind,
                "capacity_l": capacity_l,
                "stays_l": stays_l,
                "now_percent": now_percent,
                "target_percent": target_percent,
                "product_percent": product_percent,
            },
            "targets to 60 % by volume; amounts at 20 °C",
            "own method, balance of masses with measured densities (Melinder 2010)",
        ),
        steps=tuple(steps),
        warnings=tuple(warnings),
        cautions=(cautions.NEVER_OPEN_HOT, cautions.CATCH, cautions.POISON, cautions.SERVICE_DATA),
        picture=_adjust_picture(plans, product, capacity_l, words) if plans else None,
    )


def _bought(words: Words, bought: adjusting.Bought, currency: str) -> str:
    parts = " and ".join(f"{n} of {words.litres(size, 1)}" for size, n in bought.containers)
    text = f"open {parts}; {words.litres(max(bought.left_over_l, 0.0))} left over"
    if bought.cost is not None and bought.cost_used is not None:
        text += (
            f"; {bought.cost:.2f} {currency}".rstrip()
            + f" for the containers, {bought.cost_used:.2f} {currency}".rstrip()
            + " for what goes in"
        )
    return text


def _adjust_picture(
    plans: Sequence[adjusting.Plan], product: str, capacity_l: float, words: Words
) -> StackPicture:
    one = 0.946352946 if words.us else 1.0
    columns = []
    for plan in plans:
        parts: list[tuple[str, float, Shade]] = [
            ("stays in", (capacity_l - plan.drain_l) / one, "soft"),
            (product, plan.product_l / one, "accent"),
            ("distilled water", plan.water_l / one, "ink"),
        ]
        columns.append((plan.name, tuple(part for part in parts if part[1] > 0.01)))
    return StackPicture(
        "What to pour",
        "amounts before mixing",
        "qt" if words.us else "L",
        tuple(columns),
    )


def reuse_answer(
    *,
    family: str | None = None,
    top_up_family: str | None = None,
    age_years: float | None = None,
    distance_km: float | None = None,
    ph: float | None = None,
    reserve: str | None = None,
    looks: Sequence[str] = (),
    volume_percent: float | None = None,
) -> CoolantAnswer:
    """Reuse filtered, top up or renew, with the reasons.

    Raises
    ------
    InputError
        When a word is not known or a figure outside its range.
    """
    found = reuse.reuse_or_renew(
        family=None if family is None else reuse.read_family(family),
        top_up_family=None if top_up_family is None else reuse.read_family(top_up_family),
        age_years=age_years,
        distance_km=distance_km,
        ph=ph,
        reserve=reserve,
        looks=tuple(looks),
        volume_fraction=None if volume_percent is None else volume_percent / 100.0,
    )
    fine, coarse = found.filter_um
    steps = [f"First find out {one}." for one in found.find_first]
    if found.advice == "renew":
        steps += ["Catch the old coolant in a closed, marked can and hand it in."]
    else:
        steps += [
            "Keep it in a clean, covered can, marked with the car.",
            f"Pour it back through a filter of {fine:.0f} to {coarse:.0f} micrometres "
            f"(mesh {found.filter_mesh[0]} to {found.filter_mesh[1]}); leave the last finger's "
            "width in the can.",
        ]
    steps.append(f"To pour in: {found.pour}.")
    said = {
        "reuse filtered": "Reuse it, filtered.",
        "top up": "Reuse it filtered for now, with what is said below.",
        "renew": "Renew it.",
    }[found.advice]
    return CoolantAnswer(
        "reuse",
        said,
        (Row("Filter", f"{fine:.0f} to {coarse:.0f} micrometres", "mesh 200 to 100, ASTM E11"),),
        {
            "advice": found.advice,
            "find_first": list(found.find_first),
            "pour": found.pour,
            "filter_um": list(found.filter_um),
            "filter_mesh": list(found.filter_mesh),
        },
        Provenance(
            "coolant reuse",
            1,
            {
                "family": family,
                "age_years": age_years,
                "distance_km": distance_km,
                "ph": ph,
                "reserve": reserve,
                "looks": ", ".join(looks),
            },
            "",
            "common practice, no source; sieve openings ASTM E11 (from memory)",
        ),
        steps=tuple(steps),
        because=found.reasons,
        warnings=found.warnings,
        cautions=(cautions.NEVER_OPEN_HOT, cautions.CATCH, cautions.POISON, cautions.SERVICE_DATA),
    )
