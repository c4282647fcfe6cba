"""Use cases around the work itself: cap, fill and bleed, belt-off clock, draining."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from beltside.base.errors import OutOfRangeError
from beltside.base.provenance import Provenance
from beltside.casework.coolant_answer import (
    CoolantAnswer,
    CoursePicture,
    Curve,
    Row,
    ScalePicture,
    StackPicture,
    Words,
    minutes_text,
)
from beltside.coolant import cautions, clock, drain, fill
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
            "Read at once, then every half minute: see `beltside coolant hold`.",
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


def fill_answer(
    *,
    drained_l: Sequence[float],
    poured_l: Sequence[float],
    spilled_l: float = 0.0,
    lost_before_l: float = 0.0,
    capacity_l: float | None = None,
    dry: bool = False,
    us: bool = False,
) -> CoolantAnswer:
    """What is still missing, how to bleed, and when to look again.

    Raises
    ------
    InputError
        When an amount is outside its range.
    """
    words = Words(us)
    found = fill.ledger(
        drained_l,
        poured_l,
        spilled_l=spilled_l,
        lost_before_l=lost_before_l,
        capacity_l=capacity_l,
        dry=dry,
    )
    low = words.litres(max(found.missing_low_l, 0.0))
    high = words.litres(max(found.missing_high_l, 0.0))
    if found.settled:
        headline = f"As much went in as came out, within measuring: at most {high} of air is left."
    elif found.missing_l > 0.0:
        headline = f"{words.litres(found.missing_l)} is still missing ({low} to {high}): air."
    else:
        headline = f"{words.litres(-found.missing_l)} more went in than came out."
    one = 0.946352946 if us else 1.0
    return CoolantAnswer(
        "fill",
        headline,
        (
            Row("Came out", words.litres(found.out_l), "drained, spilled, lost before"),
            Row("Went in", words.litres(found.in_l)),
            Row(
                "Air still inside",
                f"{words.litres(max(found.missing_l, 0.0))} ({low} to {high})",
                "90 % range of measuring errors",
            ),
            Row(
                "Level may sink by",
                words.litres(found.recheck_l),
                "after the first heat cycle: have that much ready",
            ),
        ),
        {
            "out_l": found.out_l,
            "in_l": found.in_l,
            "missing_l": {
                "value": found.missing_l,
                "low": found.missing_low_l,
                "high": found.missing_high_l,
            },
            "settled": found.settled,
            "recheck_l": found.recheck_l,
        },
        Provenance(
            "fill ledger",
            1,
            {"out_l": found.out_l, "in_l": found.in_l, "capacity_l": capacity_l, "dry": dry},
            "amounts to 60 L",
            "own method; bleeding steps are common practice, no source",
        ),
        steps=fill.BLEED_STEPS,
        warnings=found.warnings,
        cautions=(
            cautions.NEVER_OPEN_HOT,
            "Engine running: hands, hair and sleeves away from belt and fan.",
            cautions.CATCH,
            cautions.POISON,
            cautions.SERVICE_DATA,
        ),
        picture=StackPicture(
            "What came out, what went in",
            "what is missing is air",
            "qt" if us else "L",
            (
                ("came out", (("came out", found.out_l / one, "soft"),)),
                (
                    "went in",
                    (
                        ("went in", found.in_l / one, "ink"),
                        *(
                            (("air", found.missing_l / one, "accent"),)
                            if found.missing_l > 0.02
                            else ()
                        ),
                    ),
                ),
            ),
        ),
    )


def clock_answer(
    displacement_l: float,
    *,
    coolant_l: float,
    start_c: float,
    idle_rpm: float = 800.0,
    air_c: float = 20.0,
    readings: Sequence[tuple[float, float]] = (),
    us: bool = False,
) -> CoolantAnswer:
    """How long the engine may idle with the belt off, and when to stop.

    `readings` are (moment [s], temperature [°C]).

    Raises
    ------
    InputError
        When a figure is outside its range or readings go back in time.
    """
    words = Words(us)
    found = clock.belt_off_clock(
        displacement_l,
        coolant_l=coolant_l,
        start_c=start_c,
        idle_rpm=idle_rpm,
        air_c=air_c,
        readings=readings,
    )
    if found.stop_now:
        headline = f"Stop now, or don't start: {found.because}."
    else:
        headline = f"At most {minutes_text(found.limit_s)} with the belt off, then stop."
    rows = (
        Row("Stop by", minutes_text(found.limit_s), found.because),
        Row(
            "Likely figures would give",
            minutes_text(found.likely_s),
            "not a time to use: the short end counts",
        ),
        Row(
            "Stop at once above",
            words.temperature(clock.COOLANT_LIMIT_C - 5.0),
            "on any gauge; standing coolant shows late and low",
        ),
    )
    return CoolantAnswer(
        "clock",
        headline,
        rows,
        {
            "limit_s": found.limit_s,
            "likely_s": found.likely_s,
            "stop_now": found.stop_now,
            "stop_reason": found.because,
        },
        Provenance(
            "belt-off clock",
            1,
            {
                "displacement_l": displacement_l,
                "coolant_l": coolant_l,
                "start_c": start_c,
                "idle_rpm": idle_rpm,
                "air_c": air_c,
            },
            "0.4 to 9 L, idle 400 to 1,500 rpm, no load",
            "own method: two heat stores; 3 to 8 minutes from cold is common practice, no source",
        ),
        steps=(
            "Record first with the belt on, then take it off and start.",
            "Idle only, nothing switched on, one eye on the temperature.",
            "Stop at the time above or at the first sign: rising gauge, smell, steam, ticking.",
            "Let it cool down fully before the next run: the time starts from what it has then.",
        ),
        warnings=found.warnings,
        cautions=(
            cautions.BELT_OFF,
            "Engine running: hands, hair and sleeves away from belt and fan.",
            cautions.NEVER_OPEN_HOT,
            cautions.SERVICE_DATA,
        ),
        picture=None if not found.course else _clock_picture(words, found, readings),
    )


def _clock_picture(
    words: Words, found: clock.Clock, readings: Sequence[tuple[float, float]]
) -> CoursePicture:
    until_s = min(max(found.limit_s * 1.3, 120.0), found.course[-1][0])
    course = [row for row in found.course[::5] if row[0] <= until_s]
    return CoursePicture(
        "Belt off: how it heats up",
        "the quick case, which is the one that counts",
        "minutes",
        words.degree,
        (
            Curve("metal of the head", tuple((t / 60.0, words.degrees(m)) for t, m, _ in course)),
            Curve(
                "standing coolant",
                tuple((t / 60.0, words.degrees(c)) for t, _, c in course),
                "soft",
                dashed=True,
            ),
        ),
        read=tuple((t / 60.0, words.degrees(c)) for t, c in readings),
        levels=(
            (
                words.degrees(clock.METAL_LIMIT_C),
                f"metal limit {words.temperature(clock.METAL_LIMIT_C)}",
            ),
            (
                words.degrees(clock.COOLANT_LIMIT_C),
                f"coolant limit {words.temperature(clock.COOLANT_LIMIT_C)}",
            ),
        ),
        moments=((found.limit_s / 60.0, f"stop by {minutes_text(found.limit_s)}"),),
    )


def drain_answer(
    volume_l: float,
    height_m: float,
    bore_mm: float,
    *,
    hose_m: float = 0.0,
    hose_drop_m: float = 0.0,
    air_l: float = 0.3,
    us: bool = False,
) -> CoolantAnswer:
    """How long draining takes with the cap on and off.

    Raises
    ------
    InputError
        When a figure is outside its range.
    """
    words = Words(us)
    off, on = (
        drain.drain(
            volume_l,
            height_m,
            bore_mm,
            hose_m=hose_m,
            hose_drop_m=hose_drop_m,
            cap_off=cap_off,
            air_l=air_l,
        )
        for cap_off in (True, False)
    )
    nine_tenths_s = next(t for t, left in off.course if left <= 0.1 * volume_l + 1e-9)
    stuck = (
        f"about {words.litres(on.drained_l)} comes, then a vacuum holds the rest"
        if on.stops
        else minutes_text(on.time_s)
    )
    one = 0.946352946 if us else 1.0
    return CoolantAnswer(
        "drain",
        f"{words.litres(volume_l, 1)} takes about {minutes_text(off.time_s)} with the cap off"
        f"{'; with it on it stops' if on.stops else ''}.",
        (
            Row(
                "Cap off",
                f"{minutes_text(0.7 * off.time_s)} to {minutes_text(1.5 * off.time_s)}",
                f"nine tenths are out after {minutes_text(nine_tenths_s)}; range: own estimate",
            ),
            Row("Cap on", stuck, "until air is gulped in by the nipple or the cap's vacuum valve"),
            Row(
                "At first", f"{words.litres(off.first_l_min, 1)} a minute", "have a can that holds"
            ),
        ),
        {
            "cap_off_s": off.time_s,
            "cap_off_nine_tenths_s": nine_tenths_s,
            "cap_on_s": None if on.stops else on.time_s,
            "cap_on_drained_l": on.drained_l,
            "cap_on_stops": on.stops,
            "first_l_min": off.first_l_min,
        },
        Provenance(
            "draining",
            1,
            {
                "volume_l": volume_l,
                "height_m": height_m,
                "bore_mm": bore_mm,
                "hose_m": hose_m,
                "hose_drop_m": hose_drop_m,
                "air_l": air_l,
            },
            "0.1 to 60 L, bore 1 to 60 mm, cold coolant half and half",
            "Torricelli 1644 with losses; Blasius 1913",
        ),
        steps=(
            "Engine cold, cap off or bottle open before the nipple: it runs quicker and evenly.",
            "A hose on the nipple that reaches down into the can spills nothing and pulls.",
            "Measure what came out: it is what must go in again.",
        ),
        cautions=(cautions.NEVER_OPEN_HOT, cautions.CATCH, cautions.POISON, cautions.SERVICE_DATA),
        picture=CoursePicture(
            "Draining",
            "what is still above the nipple",
            "minutes",
            "qt" if us else "L",
            (
                Curve("cap off", tuple((t / 60.0, left / one) for t, left in off.course)),
                *(
                    ()
                    if on.stops
                    else (
                        Curve(
                            "cap on",
                            tuple((t / 60.0, left / one) for t, left in on.course),
                            "soft",
                            dashed=True,
                        ),
                    )
                ),
            ),
            levels=(((on.course[-1][1] / one, "cap on: it stops here"),) if on.stops else ()),
        ),
    )
