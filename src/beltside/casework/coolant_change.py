"""Use cases: how to change the strength, and whether to keep what came out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from beltside.base.provenance import Provenance
from beltside.casework.coolant_answer import CoolantAnswer, Row, Shade, StackPicture, Words
from beltside.coolant import adjust as adjusting
from beltside.coolant import cautions, reuse
from beltside.coolant.glycol import Glycol, mass_from_volume

CONCENTRATE_PERCENT: Final = 99.5
"""What is poured is called concentrate from here on [% by volume]."""


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
    product = (
        "concentrate"
        if product_percent >= CONCENTRATE_PERCENT
        else f"{product_percent:.0f} % premix"
    )
    rows: list[Row] = []
    steps: list[str] = []
    for plan in plans:
        rows.append(
            Row(
                plan.name.capitalize(),
                f"drain {words.litres(plan.drain_l)}, pour {_poured(words, plan, product_percent)}",
                f"shrinks by {words.litres(plan.shrinkage_l)} when mixed",
            )
        )
        if plan.bought is not None:
            rows.append(Row("", _bought(words, plan.bought, currency), ""))
        if water_shelf and plan.water_l > 0.01:
            water = adjusting.buy(
                plan.water_l, tuple(adjusting.Container(*row) for row in water_shelf)
            )
            rows.append(Row("", _bought(words, water, currency), f"water, for {plan.name}"))
    if plans:
        best = plans[0]
        poured = _poured(words, best, product_percent)
        steps = [
            f"Engine cold. Drain {words.litres(best.drain_l)} into a measuring can."
            if best.drain_l > 0.01
            else "Nothing needs to come out.",
            f"Pour in {poured}, mixed in a can first.",
            "Run until the thermostat opens with the heater on hot, let it cool, and read the "
            "strength again: old coolant in block and heater mixes in only then.",
        ]
        headline = (
            f"Drain {words.litres(best.drain_l)}, pour {poured}: {target_percent:.0f} % by volume."
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


def _poured(words: Words, plan: adjusting.Plan, product_percent: float) -> str:
    """What is poured, without what rounds to nothing."""
    litres, water = words.litres(plan.product_l), words.litres(plan.water_l)
    of_product = (
        f"{litres} of concentrate"
        if product_percent >= CONCENTRATE_PERCENT
        else f"{litres} of {product_percent:.0f} % premix"
    )
    if plan.water_l < 0.005:
        return of_product if plan.product_l >= 0.005 else "nothing"
    if plan.product_l < 0.005:
        return f"{water} of distilled water"
    return f"{of_product} and {water} of distilled water"


def _bought(words: Words, bought: adjusting.Bought, currency: str) -> str:
    parts = ", ".join(f"{n} × {words.litres(size, 1)}" for size, n in bought.containers)
    left = words.litres(max(bought.left_over_l, 0.0))
    if bought.cost is None or bought.cost_used is None:
        return f"open {parts}; {left} left over"
    opened, used = (f"{one:.2f} {currency}".rstrip() for one in (bought.cost, bought.cost_used))
    return f"open {parts}; {left} left over; {opened} for the containers, {used} for what goes in"


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
