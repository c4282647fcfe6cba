"""Reads the catalogue from plain values, and lays a technician's own over the shipped one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from beltside.base.words import FAULTS, PARTS, PULLEY_PARTS
from beltside.suspects.catalogue import (
    ANY,
    BELT_DRIVEN,
    BELT_OFF,
    HEALTHY,
    OTHER,
    OTHERWISE,
    Access,
    Alike,
    Catalogue,
    Check,
    Condition,
    Mishap,
    Outcome,
    Suspect,
)
from beltside.suspects.complaints import Complaints

LEAST_LIKELY: Final = 0.005
"""No outcome is rarer than this under any suspect: hands and ears err."""

LEAVE_OUT: Final = "leave_out"

_SUM_TOLERANCE: Final = 1e-6
_ENTRIES: Final = ("suspect", "pair", "access", "condition", "alike", "check")
_CAN_GO: Final = ("pair", "alike", "check")
_RESERVED: Final = ("not-sure", "not-done")


def merged(shipped: Mapping[str, object], own: Mapping[str, object]) -> dict[str, Any]:
    """A technician's own entries laid over the shipped ones, both as read from TOML.

    An entry of the same name keeps the keys that the own one does not give; its rows and outcomes
    are laid over one by one. A check, pair or group with `leave_out = true` is taken away.
    """
    table: dict[str, Any] = {key: _copied(value) for key, value in shipped.items()}
    for key, value in own.items():
        _lay_over(table, (key,), value)
    for group in _CAN_GO:
        entries = table.get(group)
        if isinstance(entries, dict):
            table[group] = {name: entry for name, entry in entries.items() if not _goes(entry)}
    _forget_in_groups(table, {str(name) for name, entry in _entries(own) if _goes(entry)})
    return table


def _copied(value: object) -> object:
    """A copy of plain values, groups and lists and all."""
    if isinstance(value, Mapping):
        return {key: _copied(inner) for key, inner in value.items()}
    return [_copied(inner) for inner in value] if isinstance(value, list) else value


def _goes(entry: object) -> bool:
    return isinstance(entry, Mapping) and entry.get(LEAVE_OUT) is True


def _entries(own: Mapping[str, object]) -> list[tuple[object, object]]:
    """A technician's own checks."""
    checks = own.get("check")
    return list(checks.items()) if isinstance(checks, Mapping) else []


def _forget_in_groups(table: Mapping[str, Any], gone: set[str]) -> None:
    """Take checks that are left out from the groups of like checks as well."""
    groups = table.get("alike")
    for group in groups.values() if isinstance(groups, dict) else ():
        if isinstance(group, dict) and isinstance(group.get("checks"), list):
            group["checks"] = [word for word in group["checks"] if word not in gone]


def _lay_over(table: dict[str, Any], path: tuple[str, ...], value: object) -> None:
    """Put `value` at the end of `path` in `table`, which holds the last step."""
    key = path[-1]
    there = table.get(key)
    # A row of likelihoods is one thing: half of it from elsewhere would not add to 1.
    is_row = len(path) == 4 and path[0] == "check" and path[2] == "likely"
    if isinstance(there, dict) and isinstance(value, Mapping) and not is_row:
        for inner, deeper in value.items():
            _lay_over(there, (*path, str(inner)), deeper)
    else:
        table[key] = _copied(value)


def parse_catalogue(table: Mapping[str, object]) -> Catalogue:
    """Check a catalogue as read from TOML and make it.

    Raises
    ------
    InputError
        Naming everything that is wrong: unknown or missing keys and words with the nearest, rows
        that do not name every outcome, probabilities under 0.005 or not adding to 1.
    """
    said = Complaints()
    top = said.group(
        table,
        "catalogue",
        ("version", "suspect", "check"),
        ("pair", "access", "condition", "alike", "repeat_share"),
    )
    suspects = tuple(
        _suspect(key, value, said) for key, value in said.groups(top, "suspect").items()
    )
    for word in (HEALTHY, OTHER):
        if word not in {suspect.id for suspect in suspects}:
            said.add(f"suspect.{word} is missing")
    pairs = tuple(
        pair
        for key, value in said.groups(top, "pair").items()
        if (pair := _pair(key, value, suspects, said)) is not None
    )
    accesses = tuple(_access(key, value, said) for key, value in said.groups(top, "access").items())
    conditions = tuple(
        _condition(key, value, said) for key, value in said.groups(top, "condition").items()
    )
    checks = tuple(
        _check(key, value, (*suspects, *pairs), accesses, conditions, said)
        for key, value in said.groups(top, "check").items()
    )
    alike = tuple(
        _alike(key, value, checks, said) for key, value in said.groups(top, "alike").items()
    )
    grouped = [word for one in alike for word in one.checks]
    for word in sorted({word for word in grouped if grouped.count(word) > 1}):
        said.add(f'alike: "{word}" stands in two groups')
    version = int(said.number(top, "catalogue", "version", least=1))
    repeat_share = (
        said.number(top, "catalogue", "repeat_share", least=0.0, most=0.95)
        if "repeat_share" in top
        else 0.0
    )
    said.raise_if_any()
    return Catalogue(version, suspects, checks, pairs, accesses, conditions, alike, repeat_share)


def _suspect(key: str, value: object, said: Complaints) -> Suspect:
    where = f"suspect.{key}"
    keys = ("name", "needs", "weight", "belt_driven", "sounds", "replace")
    group = said.group(value, where, keys)
    part, _, fault = key.partition(".")
    if key not in (HEALTHY, OTHER):
        said.word(part, f"{where}: the part", [word for word in PARTS if word != HEALTHY])
        said.word(fault, f"{where}: the fault", FAULTS)
    needs = said.text(group, where, "needs")
    said.word(needs, f"{where}.needs", (*PULLEY_PARTS, "belt", "engine"))
    if part in PULLEY_PARTS and needs != part:
        said.add(f'{where}.needs is "{needs}" and must be "{part}"')
    return Suspect(
        id=key,
        part=part,
        fault=fault,
        name=said.text(group, where, "name"),
        needs=needs,
        weight=said.number(group, where, "weight"),
        belt_driven=said.yes(group, where, "belt_driven"),
        sounds=said.text(group, where, "sounds"),
        replace=said.text(group, where, "replace"),
    )


def _pair(key: str, value: object, suspects: Sequence[Suspect], said: Complaints) -> Suspect | None:
    where = f"pair.{key}"
    group = said.group(value, where, ("name", "weight", "sounds", "replace"))
    by_id = {suspect.id: suspect for suspect in suspects if suspect.fault}
    words = key.split("+")
    for word in words:
        said.word(word, where, by_id)
    if len(words) != 2 or len(set(words)) != 2:
        said.add(f'{where} must be two suspects: "part.fault+part.fault"')
    members = tuple(by_id[word] for word in words if word in by_id)
    if len(members) != 2:
        return None
    first, second = members
    return Suspect(
        id=key,
        part=first.part,
        fault=f"{first.fault}+{second.fault}",
        name=said.text(group, where, "name"),
        needs=first.needs,
        weight=said.number(group, where, "weight"),
        belt_driven=first.belt_driven and second.belt_driven,
        sounds=said.text(group, where, "sounds"),
        replace=said.text(group, where, "replace"),
        members=members,
    )


def _access(key: str, value: object, said: Complaints) -> Access:
    where = f"access.{key}"
    group = said.group(value, where, ("says", "open_minutes", "close_minutes"))
    return Access(
        key,
        said.text(group, where, "says"),
        said.number(group, where, "open_minutes", least=0.0),
        said.number(group, where, "close_minutes", least=0.0),
    )


def _condition(key: str, value: object, said: Complaints) -> Condition:
    where = f"condition.{key}"
    group = said.group(value, where, ("says", "assumed", "ends_with_running"))
    return Condition(
        key,
        said.text(group, where, "says"),
        said.yes(group, where, "assumed"),
        said.yes(group, where, "ends_with_running"),
    )


def _alike(key: str, value: object, checks: Sequence[Check], said: Complaints) -> Alike:
    where = f"alike.{key}"
    group = said.group(value, where, ("checks", "share"))
    words = said.texts(group, where, "checks")
    for word in words:
        said.word(word, f"{where}.checks", [check.id for check in checks])
    return Alike(key, words, said.number(group, where, "share", least=0.0, most=0.95))


def _check(
    key: str,
    value: object,
    suspects: Sequence[Suspect],
    accesses: Sequence[Access],
    conditions: Sequence[Condition],
    said: Complaints,
) -> Check:
    where = f"check.{key}"
    required = ("name", "how", "minutes", "engine", "belt", "hazard", "outcomes", "likely")
    group = said.group(value, where, required, ("parts", "cautions", "access", "needs", "mishap"))
    parts = said.texts(group, where, "parts")
    for part in parts:
        said.word(part, f"{where}.parts", PULLEY_PARTS)
    engine, belt = said.text(group, where, "engine"), said.text(group, where, "belt")
    said.word(engine, f"{where}.engine", ("off", "running"))
    said.word(belt, f"{where}.belt", ("on", "off", "either"))
    access, needs = said.texts(group, where, "access"), said.texts(group, where, "needs")
    open_words = [one.id for one in accesses]
    for word in access:
        said.word(word, f"{where}.access", [each for each in open_words if each != BELT_OFF])
    if belt == "off" and BELT_OFF not in open_words:
        said.add(f'{where}.belt is "off" and there is no access.{BELT_OFF}')
    for word in needs:
        said.word(word, f"{where}.needs", [one.id for one in conditions])
    outcomes = []
    for word, row in said.groups(group, "outcomes", where).items():
        place = f"{where}.outcomes.{word}"
        own = said.group(row, place, ("says",), ("also",))
        outcomes.append(
            Outcome(word, said.text(own, place, "says"), said.texts(own, place, "also"))
        )
    spoken = [word for outcome in outcomes for word in (outcome.word, *outcome.also)]
    for word in sorted({word for word in spoken if spoken.count(word) > 1}):
        said.add(f'{where}.outcomes: "{word}" stands for two outcomes')
    for word in sorted({word for word in spoken if word in _RESERVED}):
        said.add(f'{where}.outcomes: every check has "{word}" already')
    if len(outcomes) < 2:
        said.add(f"{where}.outcomes must be two or more: one outcome tells nothing")
    return Check(
        id=key,
        name=said.text(group, where, "name"),
        how=said.text(group, where, "how"),
        parts=parts,
        minutes=said.number(group, where, "minutes"),
        engine=engine,
        belt=belt,
        outcomes=tuple(outcomes),
        likely=_likely(group, where, [outcome.word for outcome in outcomes], suspects, said),
        hazard=said.text(group, where, "hazard"),
        cautions=said.texts(group, where, "cautions"),
        access=access,
        needs=needs,
        mishap=_mishap(group["mishap"], where, said) if "mishap" in group else None,
    )


def _mishap(value: object, where: str, said: Complaints) -> Mishap:
    where = f"{where}.mishap"
    group = said.group(value, where, ("chance", "money", "what"))
    return Mishap(
        said.number(group, where, "chance", least=0.0, most=1.0),
        said.number(group, where, "money", least=0.0),
        said.text(group, where, "what"),
    )


def _likely(
    group: Mapping[str, object],
    where: str,
    outcomes: Sequence[str],
    suspects: Sequence[Suspect],
    said: Complaints,
) -> Mapping[str, Mapping[str, float]]:
    rows: dict[str, Mapping[str, float]] = {}
    named = [suspect.id for suspect in suspects]
    allowed = (
        *named,
        *(f"{ANY}{suspect.fault}" for suspect in suspects if suspect.fault and not suspect.members),
        *(() if group.get("parts") else (BELT_DRIVEN,)),
        OTHERWISE,
    )
    for key, value in said.groups(group, "likely", where).items():
        place = f"{where}.likely.{key}"
        said.word(key, place, allowed)
        row = said.group(value, place, outcomes)
        rows[key] = {word: said.number(row, place, word, least=LEAST_LIKELY) for word in outcomes}
        total = sum(rows[key].values())
        if set(row) == set(outcomes) and abs(total - 1.0) > _SUM_TOLERANCE:
            said.add(f"{place} adds up to {total:g} and must add up to 1")
    if OTHERWISE not in rows:
        said.add(f"{where}.likely.{OTHERWISE} is missing")
    return rows
