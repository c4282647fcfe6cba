"""Use case: how far to pump under a cap, and where its mixture boils then."""

from __future__ import annotations

from typing import Final

from beltside.base.errors import OutOfRangeError
from beltside.base.provenance import Provenance
from beltside.casework.coolant_answer import (
    CoolantAnswer,
    Row,
    ScalePicture,
    Words,
)
from beltside.coolant import cautions
from beltside.coolant.glycol import Glycol, boiling_c, mass_from_volume
from beltside.coolant.pressure import ambient_kpa, cap_target, from_kpa, read_cap_mark

_UNIT_DIGITS: Final = {"kPa": 0, "bar": 2, "atm": 2, "kgf/cm2": 2, "psi": 1}


def cap_answer(
    mark: str,
    *,
    altitude_m: float = 0.0,
    kind: Glycol = "ethylene",
    volume_percent: float = 50.0,
    pressure_kpa: float | None = None,
    us: bool = False,
) -> CoolantAnswer:
    """To what a system with this cap is pumped, in every unit, and where its mixture boils then.

    `pressure_kpa` is a pressure somebody means to pump to, or reads [kPa gauge].

    Raises
    ------
    InputError
        When the mark is no pressure a cap has, or a figure is outside its range.
    OutOfRangeError
        When `pressure_kpa` is above the cap's mark.
    """
    words = Words(us)
    target = cap_target(read_cap_mark(mark), ambient_kpa(altitude_m))
    most = from_kpa(target.target_kpa)
    least = from_kpa(target.lowest_kpa)
    if pressure_kpa is not None and pressure_kpa > 1.005 * target.target_kpa:
        raise OutOfRangeError(
            f"{words.pressure(pressure_kpa)} is above the cap's mark of "
            f"{words.pressure(target.target_kpa)}",
            allowed=f"{words.pressure(target.lowest_kpa)} to {words.pressure(target.target_kpa)}",
            instead="letting pressure off at once: above the mark hoses, heater core or radiator "
            "may burst",
        )
    mass = mass_from_volume(kind, volume_percent / 100.0)
    boils = boiling_c(kind, mass, target.absolute_kpa)
    boils_open = boiling_c(kind, mass, target.ambient_kpa)
    rows = [
        Row(
            unit.replace("cm2", "cm²"),
            f"{least[unit]:.{_UNIT_DIGITS[unit]}f} to {most[unit]:.{_UNIT_DIGITS[unit]}f}",
            "gauge: stop in between",
        )
        for unit in most
    ]
    rows += [
        Row(
            "Absolute",
            words.pressure(target.absolute_kpa),
            f"with {words.pressure(target.ambient_kpa)} of air at {altitude_m:.0f} m",
        ),
        Row(
            "Boils",
            words.temperature(boils),
            f"{volume_percent:.0f} % {kind} glycol by volume; {words.temperature(boils_open)} with "
            "the cap off",
        ),
        Row(
            "A sound cap opens",
            f"{words.pressure(target.opens_low_kpa)} to {words.pressure(target.opens_high_kpa)}",
            "its mark within 10 % (common practice)",
        ),
    ]
    warnings = [target.mark.assumed] if target.mark.assumed else []
    return CoolantAnswer(
        "cap",
        f"Pump to {words.pressure(target.target_kpa)}, never above.",
        tuple(rows),
        {
            "mark": mark,
            "unit": target.mark.unit,
            "assumed": target.mark.assumed or None,
            "others_kpa": dict(target.mark.others_kpa),
            "target_kpa": target.target_kpa,
            "lowest_kpa": target.lowest_kpa,
            "target": most,
            "lowest": least,
            "opens_low_kpa": target.opens_low_kpa,
            "opens_high_kpa": target.opens_high_kpa,
            "ambient_kpa": target.ambient_kpa,
            "absolute_kpa": target.absolute_kpa,
            "boiling_c": boils,
            "boiling_open_c": boils_open,
        },
        Provenance(
            "cap pressure",
            1,
            {
                "mark": mark,
                "altitude_m": altitude_m,
                "glycol": kind,
                "volume_percent": volume_percent,
            },
            "caps of 27 to 180 kPa, -450 to 5,500 m",
            "NIST SP 811; ISO 2533; a glycol maker's data sheet 2008; IAPWS-IF97",
        ),
        steps=(
            "Engine cold. Fit the tester where the cap sits, with the right adaptor.",
            f"Pump slowly to {words.pressure(target.target_kpa)} and stop; count the strokes.",
            "Read at once, then every half minute, and judge it by the hold test.",
        ),
        warnings=tuple(warnings),
        cautions=(
            cautions.NEVER_OPEN_HOT,
            cautions.ABOVE_CAP,
            cautions.EYES,
            cautions.SERVICE_DATA,
        ),
        picture=_cap_picture(words, target.lowest_kpa, target.target_kpa, target.opens_high_kpa),
    )


def _cap_picture(words: Words, lowest: float, most: float, opens: float) -> ScalePicture:
    one = 6.894757293 if words.us else 1.0
    unit = "psi" if words.us else "kPa"
    return ScalePicture(
        "How far to pump",
        "gauge pressure",
        unit,
        0.0,
        1.25 * most / one,
        (
            (lowest / one, f"from {words.pressure(lowest)}"),
            (most / one, f"never above {words.pressure(most)}"),
            (opens / one, f"a sound cap has opened by {words.pressure(opens)}"),
        ),
        ((lowest / one, most / one, "stop here"),),
    )
