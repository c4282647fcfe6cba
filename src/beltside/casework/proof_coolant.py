"""The cooling system on the proof sheet: freeze, boil, and whether it holds pressure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from beltside.casework.proof_sheet import Figure, Line, Said, Section
from beltside.jobs.entries import Entry, JobSheet

TITLE: Final = "Cooling system"
NO_TEST: Final = "The cooling system was not tested for leaks."
NO_MIX: Final = "The coolant's frost protection was not measured."


def coolant_section(job: JobSheet) -> tuple[Section, list[str]]:
    """What is known of the coolant, and what was not tested."""
    gaps: list[str] = []
    lines = [*_mix(job, gaps), *_hold(job, gaps)]
    missing = "" if lines else "Nothing was measured on the cooling system."
    return Section("coolant", TITLE, tuple(lines), missing), gaps


def _mix(job: JobSheet, gaps: list[str]) -> list[Line]:
    found = [entry for entry in job.of_kind("coolant") if entry.body["about"] == "mix"]
    caps = [entry for entry in job.of_kind("coolant") if entry.body["about"] == "cap"]
    fills = [entry for entry in job.of_kind("coolant") if entry.body["about"] == "fill"]
    lines: list[Line] = []
    if not found:
        gaps.append(NO_MIX)
    else:
        result = found[-1].body["result"]
        source = _source(result)
        for name, key in (("Frost protection to", "freezing_c"), ("Boils at", "boiling_c")):
            figure = _ranged(name, result.get(key), "degC", source)
            if figure is not None:
                lines.append(figure)
        if not lines:
            gaps.append(NO_MIX)
        glycol = result.get("glycol")
        if isinstance(glycol, str):
            lines.append(Said("Kind", f"{glycol} glycol and water"))
        under = result.get("cap_kpa")
        if isinstance(under, int | float):
            lines.append(
                Figure("Boiling point under", float(under), "kPa", source="the cap's pressure")
            )
    if caps:
        target = caps[-1].body["result"].get("target_kpa")
        if isinstance(target, int | float) and not isinstance(target, bool):
            lines.append(Figure("Cap made for", float(target), "kPa", source="mark on the cap"))
    if fills:
        put_in = fills[-1].body["result"].get("in_l")
        if isinstance(put_in, int | float) and not isinstance(put_in, bool):
            lines.append(Figure("Filled in", float(put_in), "L", source="as measured", digits=2))
    return lines


def _hold(job: JobSheet, gaps: list[str]) -> list[Line]:
    tests = [entry for entry in job.of_kind("hold-test") if entry.body.get("stage") != "before"]
    if not tests:
        gaps.append(
            "The cooling system was tested for leaks before the repair only."
            if job.of_kind("hold-test")
            else NO_TEST
        )
        return []
    test = tests[-1]
    result = test.body.get("result") or {}
    readings = [one for one in job.of_kind("hold-reading") if one.body["test"] == test.id]
    lines: list[Line] = []
    verdict = str(result.get("verdict") or "")
    if verdict:
        lines.append(Said("Leak test", _verdict_words(verdict)))
    if readings:
        lines += _held(readings)
    elif isinstance(result.get("minutes"), int | float):
        lines.append(Figure("Watched for", float(result["minutes"]), "min", source="hold test"))
    probability = result.get("probability_leaking")
    if isinstance(probability, int | float):
        lines.append(
            Figure(
                "Odds of a leak", round(100.0 * float(probability), 1), "in 100",
                source=_source(result),
            )
        )  # fmt: skip
    if verdict in ("", "not yet known"):
        gaps.append(
            "The leak test did not settle whether the cooling system is tight."
            if verdict
            else "The leak test was read and not judged yet."
            if readings
            else NO_TEST
        )
    return lines


def _held(readings: Sequence[Entry]) -> list[Line]:
    """Pressure at the start and the end, and the time between."""
    ordered = sorted(readings, key=lambda one: float(one.body["minutes"]))
    first, last = ordered[0].body, ordered[-1].body
    start = float(first["pressure_kpa"])
    minutes = float(last["minutes"]) - float(first["minutes"])
    lines: list[Line] = [Figure("Pumped up to", start, "kPa", source="gauge, above the air")]
    if len(ordered) > 1:
        lines.append(
            Figure("At the end", float(last["pressure_kpa"]), "kPa", source="gauge, above the air")
        )
        lines.append(Figure("Held for", minutes, "min", source=f"{len(ordered)} readings"))
    return lines


def _verdict_words(verdict: str) -> str:
    return {
        "tight": "the system holds its pressure",
        "leaking": "the system loses pressure: there is a leak",
        "not yet known": "not settled",
    }.get(verdict, verdict)


def _ranged(name: str, plain: Any, unit: str, source: str) -> Figure | None:
    if not isinstance(plain, Mapping) or not isinstance(plain.get("value"), int | float):
        return None
    low, high = (
        float(one) if isinstance(one, int | float) else None
        for one in (plain.get("low"), plain.get("high"))
    )
    return Figure(name, float(plain["value"]), unit, low, high, source)


def _source(result: Mapping[str, Any]) -> str:
    """The method a result came from, with its inputs' way of reading where told."""
    provenance = result.get("provenance")
    if not isinstance(provenance, Mapping):
        return ""
    said = str(provenance.get("method") or "")
    inputs = provenance.get("inputs")
    read_with = inputs.get("read_with") if isinstance(inputs, Mapping) else None
    return f"{said}, read with {read_with}" if read_with else said
