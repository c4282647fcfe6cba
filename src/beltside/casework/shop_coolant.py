"""Coolant on a job: answers of the bench kept, and the hold test as it goes."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import Any, Final

from beltside.base.errors import InputError, nearest
from beltside.casework.coolant_answer import CoolantAnswer
from beltside.casework.coolant_cap import cap_answer
from beltside.casework.coolant_change import adjust_answer, reuse_answer
from beltside.casework.coolant_hold import SEEN, hold_answer, hold_setup
from beltside.casework.coolant_mix import MixReading, mix_answer
from beltside.casework.coolant_readings import load_hold_readings
from beltside.casework.coolant_values import (
    read_gauge_kpa,
    read_litres,
    read_metres,
    read_minutes,
    read_temperature_c,
)
from beltside.casework.coolant_work import clock_answer, drain_answer, fill_answer
from beltside.casework.settings import setting
from beltside.casework.shop import FieldProblemsError, Shop, rewrite, sheet_of, write
from beltside.casework.shop_measure import text_as_file
from beltside.coolant.hold_readings import Reading
from beltside.coolant.hold_system import require_setup
from beltside.jobs.entries import Entry, JobSheet

_QUESTIONS: Final[Mapping[str, Callable[..., CoolantAnswer]]] = {
    "mix": mix_answer,
    "adjust": adjust_answer,
    "reuse": reuse_answer,
    "cap": cap_answer,
    "fill": fill_answer,
    "drain": drain_answer,
    "clock": clock_answer,
}
_MIX_READING: Final = tuple(one.name for one in fields(MixReading))
_WORDS: Final = frozenset(
    {"kind", "cap", "mark", "scale", "currency", "family", "top_up_family", "reserve"}
)
_LISTS: Final = frozenset({"drained_l", "poured_l", "looks", "shelf", "water_shelf", "readings"})


def coolant_fields(about: str) -> tuple[str, ...]:
    """The fields of a question of the bench.

    Raises
    ------
    InputError
        When there is no such question.
    """
    question = _question(about)
    names = [name for name in inspect.signature(question).parameters if name != "us"]
    if about == "mix":
        names = [*_MIX_READING, *(name for name in names if name != "reading")]
    return tuple(names)


def ask_coolant(about: str, given: Mapping[str, Any], *, us: bool = False) -> CoolantAnswer:
    """Answer a question of the coolant bench.

    Parameters
    ----------
    about
        "mix", "adjust", "reuse", "cap", "fill", "drain" or "clock".
    given
        Fields of `coolant_fields`: numbers in SI as their names say, or text with a unit
        ("6.5 l", "-34C"); lists for `drained_l`, `poured_l`, `looks`, `shelf` ("5=24.50") and
        `readings` ("1:30=60C").
    us
        Whether bare figures in text are US units, and the answer's text too.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each field.
    InputError
        When figures together make no sense.
    """
    question = _question(about)
    known = coolant_fields(about)
    read: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for name, value in given.items():
        if name not in known:
            close = nearest(name, known)
            wrong[name] = "there is no such field" + (f"; the nearest is {close}" if close else "")
        elif value not in ("", None, []):
            try:
                read[name] = _value(name, value, us)
            except InputError as error:
                wrong[name] = str(error)
    if about == "mix":
        read.setdefault("kind", "ethylene")
    parameters = inspect.signature(question).parameters
    for name, parameter in parameters.items():
        if parameter.default is inspect.Parameter.empty and name not in (*read, *wrong, "reading"):
            wrong[name] = "is missing"
    if wrong:
        raise FieldProblemsError("coolant", given, wrong)
    if about == "mix":
        reading = {name: read.pop(name) for name in _MIX_READING if name in read}
        read["reading"] = MixReading(**reading)
    if "us" in parameters:
        read["us"] = us
    return question(**read)


def _question(about: str) -> Callable[..., CoolantAnswer]:
    if about not in _QUESTIONS:
        raise InputError(
            f'the coolant bench knows nothing of "{about}"',
            allowed=", ".join(_QUESTIONS),
            instead=nearest(about, _QUESTIONS) or "",
        )
    return _QUESTIONS[about]


def _value(name: str, value: Any, us: bool) -> Any:
    if name in _LISTS:
        rows = value if isinstance(value, list | tuple) else [value]
        return [_row(name, one, us) for one in rows if one != ""]
    if name == "dry":
        return value in (True, "on", "yes", "true", "1")
    if name in _WORDS:
        return str(value).strip()
    if isinstance(value, bool):
        raise InputError(f"{name} is {value}", allowed="a number")
    if isinstance(value, int | float):
        return float(value)
    return _figure(name, str(value), us)


def _figure(name: str, text: str, us: bool) -> float:
    for ending, reader in (("_c", read_temperature_c), ("_l", read_litres), ("_m", read_metres)):
        if name.endswith(ending):
            return reader(text, us=us)
    if name.endswith("_kpa"):
        return read_gauge_kpa(text, us=us)
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise InputError(f'"{text}"', allowed="a number") from None


def _row(name: str, row: Any, us: bool) -> Any:
    if name in ("drained_l", "poured_l"):
        return float(row) if isinstance(row, int | float) else read_litres(str(row), us=us)
    if name == "looks":
        return str(row)
    if isinstance(row, list | tuple):
        return tuple(row)
    first, _, second = str(row).partition("=")
    if name == "readings":
        return read_minutes(first) * 60.0, read_temperature_c(second, us=us)
    price = _figure("price", second, us) if second else None
    return read_litres(first, us=us), price


@dataclass(frozen=True)
class CoolantKept:
    """An answer of the bench as kept on a job."""

    entry: Entry
    answer: CoolantAnswer

    def to_json(self) -> dict[str, Any]:
        """The answer's JSON with its entry."""
        return {**self.answer.to_json(), "entry": self.entry.id}


def coolant_on_job(
    shop: Shop,
    job_id: str,
    about: str,
    given: Mapping[str, Any],
    *,
    us: bool | None = None,
    entry_id: str | None = None,
) -> CoolantKept:
    """Answer a question of the bench and keep it on the job; as `ask_coolant`."""
    job = sheet_of(shop, job_id)
    us = setting(shop, "units") == "us" if us is None else us
    answer = ask_coolant(about, given, us=us)
    typed = {
        "about": about,
        "given": dict(given),
        "says": answer.headline,
        "result": answer.to_json(),
    }
    return CoolantKept(write(shop, job.job.id, "coolant", typed, entry_id=entry_id), answer)


# Hold test ---------------------------------------------------------------------------------------

HOLD_FIELDS: Final = tuple(inspect.signature(hold_setup).parameters)
_HOLD_TEXT: Final = {"altitude_m": read_metres, "capacity_l": read_litres, "air_l": read_litres}


def begin_hold(
    shop: Shop,
    job_id: str,
    given: Mapping[str, Any] | None = None,
    *,
    stage: str = "after",
    unit: str = "",
    now: datetime | None = None,
    entry_id: str | None = None,
) -> Entry:
    """Begin a hold test: how the system was pumped up.

    Parameters
    ----------
    given
        Fields of `HOLD_FIELDS` (cap, altitude_m, gauge_step_kpa, strokes, ...); any may be left
        out.
    stage
        "before" or "after" the repair.
    unit
        Unit on the gauge's face: "kPa", "bar", "psi", or "" for that of the shop.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each field.
    InputError
        When fields together make no sense: strokes without their volume.
    """
    us = setting(shop, "units") == "us"
    read: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for name, value in (given or {}).items():
        if name not in HOLD_FIELDS:
            wrong[name] = f"there is no such field; there are {', '.join(HOLD_FIELDS)}"
        elif value not in ("", None):
            try:
                if name == "cap":
                    read[name] = str(value)
                elif isinstance(value, int | float):
                    read[name] = float(value)
                elif name in _HOLD_TEXT:
                    read[name] = _HOLD_TEXT[name](str(value), us=us)
                else:
                    read[name] = _figure(name, str(value), us)
                hold_setup(**{name: read[name]})
            except InputError as error:
                wrong[name] = str(error)
    if wrong:
        raise FieldProblemsError("hold-test", given or {}, wrong)
    require_setup(hold_setup(**read))
    now = now or datetime.now(UTC)
    started = now.isoformat(timespec="seconds")
    typed = {"given": read, "stage": stage, "started_at": started, "unit": unit}
    return write(shop, sheet_of(shop, job_id).job.id, "hold-test", typed, entry_id=entry_id)


@dataclass(frozen=True)
class HoldNow:
    """A hold test as it stands: the test, its readings, and the verdict so far.

    `answer` is None while nothing was read.
    """

    test: Entry
    readings: tuple[Entry, ...]
    answer: CoolantAnswer | None

    def to_json(self) -> dict[str, Any]:
        """The verdict's JSON with the readings."""
        return {
            **(self.answer.to_json() if self.answer is not None else {}),
            "test": self.test.id,
            "started_at": self.test.body["started_at"],
            "read": [
                {"entry": one.id, **{name: one.body.get(name) for name in _READ}}
                for one in self.readings
            ],
        }


_READ: Final = ("minutes", "pressure_kpa", "engine_c", "air_c")


def hold_now(
    shop: Shop, job_id: str, test: str = "", *, seen: Sequence[str] = (), us: bool | None = None
) -> HoldNow:
    """The verdict so far of a hold test; of the newest one without its name.

    `seen` is what was seen on the car; what was kept by `hold_seen` when left out.

    Raises
    ------
    InputError
        When there is no such test, or its readings together make no sense.
    """
    job = sheet_of(shop, job_id)
    begun = _test(job, test)
    us = setting(shop, "units") == "us" if us is None else us
    entries = _readings(job, begun)
    answer = None
    if entries:
        readings = [_reading(one.body) for one in entries]
        seen = seen or begun.body.get("seen", ())
        answer = hold_answer(readings, hold_setup(**begun.body["given"]), seen=seen, us=us)
    return HoldNow(begun, tuple(entries), answer)


def hold_seen(shop: Shop, job_id: str, seen: Sequence[str], test: str = "") -> Entry:
    """Keep what was seen on the car while the test runs: words of `coolant_hold.SEEN`.

    Raises
    ------
    InputError
        When a word is not known, or there is no such test.
    """
    for word in seen:
        if word not in SEEN:
            raise InputError(
                f'"{word}" is nothing known to be seen',
                allowed=", ".join(SEEN),
                instead=nearest(word, SEEN) or "",
            )
    begun = _test(sheet_of(shop, job_id), test)
    return rewrite(shop, begun.id, {"seen": list(dict.fromkeys(seen))}).entry


def hold_reading(
    shop: Shop,
    job_id: str,
    minutes: Any,
    pressure_kpa: Any,
    *,
    engine_c: Any = None,
    air_c: Any = None,
    test: str = "",
    at: datetime | None = None,
    entry_id: str | None = None,
) -> HoldNow:
    """Enter one look at the gauge and give the verdict so far.

    Parameters
    ----------
    minutes
        Since pumping ended: a number [min], or text such as "1:30" or "90s"; None to take it
        from `at`. The first reading of a test is then its start.
    at
        When the gauge was read, for `minutes` None.
    pressure_kpa
        A number [kPa], or text with its unit; bare text is psi in a shop with US units.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each field; the reading is not kept then.
    InputError
        When the reading can't belong to those before it.
    """
    us = setting(shop, "units") == "us"
    job = sheet_of(shop, job_id)
    begun = _test(job, test)
    before = [one for one in _readings(job, begun) if one.id != entry_id]
    if minutes is None and at is not None:
        minutes = minutes_at(begun, at) if before else 0.0
    typed = {
        "minutes": minutes,
        "pressure_kpa": pressure_kpa,
        "engine_c": engine_c,
        "air_c": air_c,
    }
    read: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for name, value in typed.items():
        if value in (None, ""):
            if name in ("minutes", "pressure_kpa"):
                wrong[name] = "is missing"
            continue
        try:
            if isinstance(value, int | float):
                read[name] = float(value)
            elif name == "minutes":
                read[name] = read_minutes(str(value))
            else:
                read[name] = _figure(name, str(value), us)
        except InputError as error:
            wrong[name] = str(error)
    if wrong:
        raise FieldProblemsError("hold-reading", typed, wrong)
    there = [_reading(one.body) for one in before]
    together = sorted((*there, _reading(read)), key=lambda one: one.minutes)
    setup, seen = hold_setup(**begun.body["given"]), begun.body.get("seen", ())
    answer = hold_answer(together, setup, seen=seen, us=us)
    body = {**read, "test": begun.id}
    entry = write(shop, job.job.id, "hold-reading", body, entry_id=entry_id)
    if at is not None and not before:
        begun = rewrite(shop, begun.id, {"started_at": at.isoformat(timespec="milliseconds")}).entry
    readings = sorted((*before, entry), key=lambda one: float(one.body["minutes"]))
    return HoldNow(begun, tuple(readings), answer)


def hold_readings_of_file(shop: Shop, job_id: str, text: str, *, test: str = "") -> HoldNow:
    """Enter all readings of a CSV file at once; see docs/formats.md.

    Raises
    ------
    InputError
        When a line can't be read, or the readings can't belong to those before; none is kept then.
    LimitError
        When it has more than 5,000 readings.
    """
    us = setting(shop, "units") == "us"
    job = sheet_of(shop, job_id)
    begun = _test(job, test)
    with text_as_file(text, "readings.csv") as path:
        found = load_hold_readings(path)
    before = [_reading(one.body) for one in _readings(job, begun)]
    together = sorted((*before, *found), key=lambda one: one.minutes)
    hold_answer(together, hold_setup(**begun.body["given"]), us=us)
    for one in found:
        body = {
            "minutes": one.minutes,
            "pressure_kpa": one.gauge_kpa,
            "engine_c": one.engine_c,
            "air_c": one.air_c,
            "test": begun.id,
        }
        write(shop, job.job.id, "hold-reading", body)
    return hold_now(shop, job.job.id, begun.id)


def minutes_at(test: Entry, at: datetime) -> float:
    """Minutes from the start of a hold test to a moment, to a thousandth [min]."""
    said = str(test.body["started_at"])
    # Written by hand it may say no time, or one without its zone.
    started = datetime.fromisoformat(said) if said else test.created_at
    if started.tzinfo is None:
        started = started.replace(tzinfo=at.tzinfo)
    return round((at - started).total_seconds() / 60.0, 3)


def end_hold(shop: Shop, job_id: str, test: str = "", *, seen: Sequence[str] = ()) -> HoldNow:
    """Write the verdict of a hold test on the job; reading on and ending again renews it.

    Raises
    ------
    InputError
        When nothing was read yet.
    """
    found = hold_now(shop, job_id, test, seen=seen)
    if found.answer is None:
        raise InputError("nothing was read on this test", instead="entering what the gauge shows")
    typed = {"says": found.answer.headline, "result": found.answer.to_json()}
    entry = rewrite(shop, found.test.id, typed).entry
    return HoldNow(entry, found.readings, found.answer)


def _test(job: JobSheet, test: str) -> Entry:
    tests = job.of_kind("hold-test")
    if not tests:
        raise InputError("there is no hold test on this job", instead="beginning one")
    if not test:
        return tests[-1]
    for number, one in enumerate(tests, start=1):
        if test in (one.id, str(number)):
            return one
    raise InputError(f'there is no hold test "{test}"', allowed=f"1 to {len(tests)}")


def _readings(job: JobSheet, test: Entry) -> list[Entry]:
    mine = [one for one in job.of_kind("hold-reading") if one.body["test"] == test.id]
    return sorted(mine, key=lambda one: float(one.body["minutes"]))


def _reading(body: Mapping[str, Any]) -> Reading:
    return Reading(
        float(body["minutes"]),
        float(body["pressure_kpa"]),
        body.get("engine_c"),
        body.get("air_c"),
    )
