"""Use case: the hold test, from a file, typed, or live."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from beltside.base.errors import InputError, nearest
from beltside.base.provenance import Provenance
from beltside.casework.coolant_answer import CoolantAnswer, CoursePicture, Curve, Row, Words
from beltside.coolant import cautions
from beltside.coolant.hold import LEAK_BEFORE, STUCK_FROM, SURE_TIGHT, Hold, hold_test
from beltside.coolant.hold_plan import minutes_more, smallest_leak_ml_min, what_would_help
from beltside.coolant.hold_readings import Reading
from beltside.coolant.hold_slope import row_at
from beltside.coolant.hold_system import MATTERS_ML_MIN
from beltside.coolant.hold_system import HoldSetup as HoldSetup
from beltside.coolant.pressure import KPA_PER, ambient_kpa, read_cap_mark

SEEN: Final = {
    "drip": "it drips where it was seen: an external leak, there",
    "wet-hose": "a hose end is wet: an external leak, there",
    "weep-hole": "coolant at the pump's weep hole: the pump's seal, external",
    "wet-carpet": "coolant inside the car: the heater core or its hoses",
    "bubbles": "bubbles in the filler with the engine running: gas from a cylinder, an internal "
    "leak; have a combustion-gas test decide",
    "milky-oil": "milky oil: coolant in the oil, an internal leak. Don't run it",
    "white-smoke": "sweet white smoke that stays: coolant in a cylinder, an internal leak",
    "adaptor-hiss": "hiss at the adaptor: the tester's own fit, not the car",
    "nothing": "nothing was seen: outside or inside is open; look under carpet and splash shield, "
    "at the weep hole and the oil, before blaming the head gasket",
}
"""What tells an external drip from an internal loss: only what was seen (common practice)."""

_TESTER_MATTERS: Final = 0.3


def hold_setup(
    *,
    cap: str | None = None,
    altitude_m: float = 0.0,
    gauge_step_kpa: float | None = None,
    reading_error_kpa: float | None = None,
    capacity_l: float | None = None,
    air_l: float | None = None,
    strokes: float | None = None,
    stroke_ml: float | None = None,
    start_kpa: float = 0.0,
    tester_kpa_min: float | None = None,
    matters_ml_min: float | None = None,
) -> HoldSetup:
    """How a test was set up, the cap by its mark and the air by the altitude.

    Raises
    ------
    InputError
        When the mark is no pressure a cap has, or the altitude is outside its range.
    """
    return HoldSetup(
        cap_kpa=None if cap is None else read_cap_mark(cap).gauge_kpa,
        ambient_kpa=ambient_kpa(altitude_m),
        gauge_step_kpa=gauge_step_kpa,
        reading_error_kpa=reading_error_kpa,
        capacity_l=capacity_l,
        air_l=air_l,
        strokes=strokes,
        stroke_ml=stroke_ml,
        start_kpa=start_kpa,
        tester_kpa_min=tester_kpa_min,
        matters_ml_min=MATTERS_ML_MIN if matters_ml_min is None else matters_ml_min,
    )


def begun_at(
    readings: Sequence[Reading], engine_c: float | None, air_c: float | None
) -> list[Reading]:
    """The readings, the first of them with the temperatures [°C] stated for the start."""
    found = list(readings)
    if found:
        first = found[0]
        found[0] = replace(
            first,
            engine_c=first.engine_c if engine_c is None else engine_c,
            air_c=first.air_c if air_c is None else air_c,
        )
    return found


def hold_answer(
    readings: Sequence[Reading],
    setup: HoldSetup | None = None,
    *,
    seen: Sequence[str] = (),
    us: bool = False,
) -> CoolantAnswer:
    """Whether it leaks, how fast, how sure that is, and what to do next.

    Raises
    ------
    InputError
        When a reading, the setup or a word of `seen` is not allowed.
    """
    setup = setup or HoldSetup()
    for word in seen:
        if word not in SEEN:
            raise InputError(
                f'"{word}" is nothing known to be seen',
                allowed=", ".join(SEEN),
                instead=nearest(word, SEEN) or "",
            )
    words = Words(us)
    found = hold_test(readings, setup)
    more = minutes_more(found, setup.reading_error_kpa)
    smallest = smallest_leak_ml_min(found)
    temperatures = found.cooling.known
    helps = (
        what_would_help(found, strokes_counted=setup.strokes is not None, temperatures=temperatures)
        if found.verdict == "not yet known"
        else ()
    )
    warnings = _warnings(words, found, readings, setup)
    most = max(one.gauge_kpa for one in readings)
    odds = found.odds
    # A tester that is heard to leak can't convict the car.
    by_tester = found.verdict == "leaking" and "adaptor-hiss" in seen
    verdict = "not yet known" if by_tester else found.verdict
    return CoolantAnswer(
        "hold",
        f"Let pressure off at once: {words.pressure(most)} is above the cap's mark."
        if _above_cap(most, found, setup)
        else _headline(words, found, verdict, more),
        tuple(_rows(words, found, setup, verdict, smallest, more)),
        {
            "verdict": verdict,
            "probability_leaking": odds.probability,
            "matters_ml_min": found.matters_ml_min,
            "probability_matters": odds.matters,
            "leak_ml_min": {
                "value": odds.ml_min,
                "low": odds.ml_min_low,
                "high": odds.ml_min_high,
            },
            "leak_free_air_ml_min": _free_air(odds.ml_min, found, setup),
            "fall_kpa_min": {
                "value": found.fall_kpa_min,
                "low": found.fall_low,
                "high": found.fall_high,
            },
            "cooling_kpa_min": found.cooling_kpa_min,
            "give_ml_kpa": odds.give_ml_kpa,
            "minutes_more": more,
            "smallest_leak_ml_min": smallest,
            "gauge_step_kpa": found.step_kpa,
            "runs": found.runs,
            "repumped": found.runs > 1,
            "stuck_probability": found.stuck,
            "tester_ml_min": found.tester_ml_min,
            "above_cap": _above_cap(most, found, setup),
            "readings": len(readings),
            "minutes": found.minutes,
            "seen": list(seen),
        },
        Provenance(
            "hold test",
            1,
            {
                "readings": len(readings),
                "gauge_step_kpa": found.step_kpa,
                "strokes": setup.strokes,
                "capacity_l": setup.capacity_l,
                "temperatures": temperatures,
            },
            "0 to 250 kPa gauge, up to a day; leaks of about 0.3 to 1,500 mL/min",
            "own method, docs/methods/coolant-hold-test.md",
        ),
        steps=helps,
        because=tuple(SEEN[word] for word in seen),
        warnings=tuple(warnings),
        cautions=(
            cautions.NEVER_OPEN_HOT,
            cautions.ABOVE_CAP,
            cautions.EYES,
            cautions.COLD_TEST,
            cautions.SERVICE_DATA,
        ),
        picture=_picture(words, found, setup),
    )


def _percent(probability: float) -> str:
    """Never rounded to a false certainty."""
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def _free_air(ml_min: float, found: Hold, setup: HoldSetup) -> float:
    return ml_min * (found.test_kpa + setup.ambient_kpa) / setup.ambient_kpa


def _headline(words: Words, found: Hold, verdict: str, more: float | None) -> str:
    odds = found.odds
    percent = f"{100 * min(max(odds.probability, 0.01), 0.99):.0f} in 100"
    if found.fall_kpa_min is None:
        return "Not yet known: one reading says nothing of a leak. Read on."
    if found.stuck > 0.5:
        return "Not yet known: the gauge seems to stick."
    if verdict == "leaking":
        return (
            f"Leaking: {percent} that it is, about {words.flow(odds.ml_min)} "
            f"({words.flows(odds.ml_min_low, odds.ml_min_high)})."
        )
    if found.verdict == "leaking":
        return (
            f"Not yet known: it loses about {words.flow(odds.ml_min)}, but the tester's adaptor "
            "hisses. Mend that and test again."
        )
    if found.verdict == "tight":
        return (
            f"Tight: {_percent(odds.matters)} that a leak of {words.flow(found.matters_ml_min)} or "
            "more is there."
        )
    text = f"Not yet known: {percent} that it leaks"
    if more is not None:
        unit = "minute" if more == 1.0 else "minutes"
        return f"{text}. About {more:.0f} more {unit} should settle it."
    return f"{text}. More minutes alone won't settle it."


def _drops(ml_min: float) -> str:
    """ "a drop a second", for leaks that drip; a drop of water is about 0.05 mL."""
    seconds = 60.0 * 0.05 / ml_min
    if seconds < 0.4:
        return ""
    return "a drop a second" if 0.9 < seconds < 1.1 else f"a drop every {seconds:.1g} s"


def _rows(
    words: Words,
    found: Hold,
    setup: HoldSetup,
    verdict: str,
    smallest: float | None,
    more: float | None,
) -> list[Row]:
    odds = found.odds
    rows = [Row("Verdict", verdict, f"{found.minutes:.1f} min of readings")]
    rows.append(
        Row(
            "Probability of a leak",
            _percent(odds.probability),
            f"of any size; {100 * LEAK_BEFORE:.0f} % before the test",
        )
    )
    matters, drops = words.flow(found.matters_ml_min), _drops(found.matters_ml_min)
    tight = f"{100 * SURE_TIGHT:.0f} %"
    rows.append(
        Row(
            "Of one that matters",
            _percent(odds.matters),
            f"{matters} or more, {drops}; tight up to {tight}"
            if drops
            else f"{matters} or more; tight up to {tight}",
        )
    )
    if (
        found.fall_kpa_min is not None
        and found.fall_low is not None
        and found.fall_high is not None
    ):
        unit = "psi/min" if words.us else "kPa/min"
        one = KPA_PER["psi"] if words.us else 1.0
        rows.append(
            Row(
                "Falls, once settled",
                f"{found.fall_kpa_min / one:.2f} {unit} ({found.fall_low / one:.2f} to "
                f"{found.fall_high / one:.2f})",
                f"of which cooling explains {found.cooling_kpa_min / one:.2f}",
            )
        )
        free = _free_air(odds.ml_min, found, setup)
        rows.append(
            Row(
                "Leak" if found.verdict == "leaking" else "If it leaks",
                f"{words.flow(odds.ml_min)} of liquid "
                f"({words.flows(odds.ml_min_low, odds.ml_min_high)})",
                f"or {words.flow(free)} of free air, should it be gas",
            )
        )
        rows.append(
            Row(
                "System gives",
                f"{odds.give_ml_kpa:.1f} mL/kPa",
                "hoses, bottle and trapped air: what makes a fall small",
            )
        )
    rows.append(
        Row(
            "Smallest leak seen",
            "none yet" if smallest is None else words.flow(smallest),
            "called in 95 of 100 such tests",
        )
    )
    if more is not None:
        rows.append(Row("More minutes", f"about {more:.0f}", "read on as before"))
    return rows


def _above_cap(most_kpa: float, found: Hold, setup: HoldSetup) -> bool:
    """Pumped above the cap's mark by more than reading the gauge leaves open."""
    return setup.cap_kpa is not None and most_kpa > 1.02 * setup.cap_kpa + 0.5 * found.step_kpa


def _warnings(
    words: Words, found: Hold, readings: Sequence[Reading], setup: HoldSetup
) -> list[str]:
    said = []
    most = max(one.gauge_kpa for one in readings)
    if setup.cap_kpa is not None and _above_cap(most, found, setup):
        said.append(
            f"pumped to {words.pressure(most)}, above the cap's {words.pressure(setup.cap_kpa)}: "
            "let pressure off at once; hoses, heater core or radiator may burst"
        )
    elif setup.cap_kpa is not None and most < 0.6 * setup.cap_kpa:
        said.append(
            f"pumped to only {words.pressure(most)} of {words.pressure(setup.cap_kpa)}: a leak "
            "that opens under pressure stays hidden"
        )
        meant = [
            unit
            for unit, kpa in (("psi", KPA_PER["psi"]), ("bar", KPA_PER["bar"]))
            if 0.6 * setup.cap_kpa <= most * kpa <= 1.1 * setup.cap_kpa
        ]
        if meant:
            said.append(
                f"as {most:g} {meant[0]} it would be near the cap's mark: if the gauge shows "
                f"{meant[0]}, write the unit with each reading, {most:g}{meant[0]}"
            )
    if most < 20.0:
        said.append("hardly any pressure was ever on: this says nothing of a leak at cap pressure")
    if found.stuck > 0.5:
        said.append(
            f"all {len(readings)} readings are equal, which a free needle with such a fine step "
            "hardly does: tap the gauge"
        )
    elif found.stuck > 0.2 and len(readings) >= STUCK_FROM:
        said.append("all readings are equal; tap the gauge to be sure that it does not stick")
    if found.runs > 1:
        said.append(
            f"the pressure rose in between: it was pumped again ({found.runs} runs); the fall is "
            "taken from each run by itself"
        )
    if found.tester_ml_min is not None and found.tester_ml_min > _TESTER_MATTERS:
        said.append(
            f"the tester itself loses about {words.flow(found.tester_ml_min)}; that was taken "
            "off, but mend the tester and test again"
        )
    elif found.tester_ml_min is None and found.verdict == "leaking":
        said.append(
            "the tester was not tried by itself: hold it on a plugged adaptor for a minute, and "
            "soap the adaptor, before blaming the car"
        )
    engine = [one.engine_c for one in readings if one.engine_c is not None]
    if engine and max(engine) > 50.0:
        said.append(
            f"the engine is at {words.temperature(max(engine))}: test cold, the fall by cooling "
            "is large and uncertain"
        )
    if not found.cooling.known:
        said.append(
            "no temperatures were read: an engine that cools by half a kelvin a minute looks like "
            "a small leak"
        )
    if setup.strokes is None and setup.air_l is None:
        said.append("pump strokes were not counted: the rate in mL/min is good to a factor of 3")
    if setup.gauge_step_kpa is None:
        said.append(
            f"the gauge's step was taken as {found.step_kpa:.3g} kPa from the readings: give it, "
            "if it is another"
        )
    return said


def _picture(words: Words, found: Hold, setup: HoldSetup) -> CoursePicture | None:
    points = found.segment.points
    if len(points) < 2:
        return None
    one = KPA_PER["psi"] if words.us else 1.0
    best = found.slopes[0]
    span = max(points[-1].minutes, 0.5)
    moments = [span * i / 60.0 for i in range(61)]
    start, settle, creep, _ = best.mean

    def at(minutes: float, fall: float) -> float:
        row = row_at(minutes, best.settle_min, found.curve_rate)
        value = start + settle * row[1] + creep * row[2] + fall * row[3]
        return max(value, 0.0) / one

    levels: tuple[tuple[float, str], ...] = ()
    if setup.cap_kpa is not None:
        levels = ((setup.cap_kpa / one, f"cap {words.pressure(setup.cap_kpa)}"),)
    return CoursePicture(
        f"Hold test: {found.verdict}",
        f"{_percent(found.odds.probability)} that it leaks",
        "minutes",
        "psi" if words.us else "kPa",
        (
            Curve("as read, smoothed", tuple((t, at(t, best.fall)) for t in moments), "accent"),
            Curve(
                "if tight: settling and cooling only",
                tuple((t, at(t, found.cooling_kpa_min)) for t in moments),
                "soft",
                dashed=True,
            ),
        ),
        read=tuple((point.minutes, point.gauge_kpa / one) for point in points),
        levels=levels,
    )


class LiveHold:
    """A hold test as it goes: add each reading, get the answer so far."""

    def __init__(
        self, setup: HoldSetup | None = None, *, seen: Sequence[str] = (), us: bool = False
    ) -> None:
        self._setup = setup or HoldSetup()
        self._seen = tuple(seen)
        self._us = us
        self._readings: list[Reading] = []

    @property
    def readings(self) -> tuple[Reading, ...]:
        """What was added so far."""
        return tuple(self._readings)

    def add(self, reading: Reading) -> CoolantAnswer:
        """The answer with one more reading; a refused reading is not kept.

        Raises
        ------
        InputError
            When the reading is outside its range or goes back in time.
        """
        answer = hold_answer([*self._readings, reading], self._setup, seen=self._seen, us=self._us)
        self._readings.append(reading)
        return answer
