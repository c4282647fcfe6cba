"""Use cases around the work itself: fill and bleed, belt-off clock, draining."""

from __future__ import annotations

from collections.abc import Sequence

from beltside.base.provenance import Provenance
from beltside.casework.coolant_answer import (
    CoolantAnswer,
    CoursePicture,
    Curve,
    Row,
    StackPicture,
    Words,
    minutes_text,
)
from beltside.coolant import cautions, clock, drain, fill


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
    whole, off_text = words.litres(volume_l, 1), minutes_text(off.time_s)
    one = 0.946352946 if us else 1.0
    least_s, most_s = 0.7 * off.time_s, 1.5 * off.time_s
    return CoolantAnswer(
        "drain",
        f"{whole} takes about {off_text} with the cap off; with it on it stops."
        if on.stops
        else f"{whole} takes about {off_text} with the cap off.",
        (
            Row(
                "Cap off",
                f"{minutes_text(least_s)} to {minutes_text(most_s)}",
                f"nine tenths are out after {minutes_text(nine_tenths_s)}; range: own estimate",
            ),
            Row("Cap on", stuck, "until air is gulped in by the nipple or the cap's vacuum valve"),
            Row(
                "At first", f"{words.litres(off.first_l_min, 1)} a minute", "have a can that holds"
            ),
        ),
        {
            "cap_off_s": off.time_s,
            "cap_off_low_s": least_s,
            "cap_off_high_s": most_s,
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
