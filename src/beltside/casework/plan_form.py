"""A teardown job as the fields of a form, to bend it to the car, and back into its text.

The text is edited, not written anew: comments, hazards, troubles and whatever else the form does
not show stay.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.items import AoT

from beltside.base.errors import InputError
from beltside.casework.formats.problems import FileProblemsError
from beltside.casework.formats.teardown_job import job_from
from beltside.casework.formats.toml_file import parse_toml, require_modest
from beltside.casework.teardown import teardown_of
from beltside.casework.teardown_results import TeardownResult
from beltside.casework.toml_form import MOST_LETTERS, parsed

MOST_ROWS: Final = 40
"""A longer job is bent as text."""

THREE: Final = ("off", "refit")
_GROUPS: Final[Mapping[str, tuple[str, str]]] = {
    "torque_nm": ("fastener", "torque_nm"),
    "torque_source": ("fastener", "torque_source"),
    "litres": ("fluid", "litres"),
    "litres_source": ("fluid", "litres_source"),
}
FIELDS: Final = ("title", *THREE, "tools", *_GROUPS, "caution")
_NUMBER: Final = re.compile(r"[+-]?\d+([.,]\d+)?")
_LINKS: Final = ("after", "while_on", "refit_after", "when")


@dataclass(frozen=True)
class Need:
    """One line of what must be off first: as written, in words, and whether it stands."""

    line: str
    words: str
    kept: bool = True


@dataclass(frozen=True)
class PlanRow:
    """A thing of the job as fields of text.

    Attributes
    ----------
    name
        Of the thing; "" for a new one.
    title
        What is done, in words.
    off, refit
        Minutes at best, usually, at worst; three texts.
    tools
        With commas between.
    torque_nm, torque_source, litres, litres_source
        Shown where it has a fastener or a fluid.
    caution
        Further cautions, one a line.
    stays
        It can't come off on this car.
    needs
        What must be off first.
    also_needs, blocks
        Names of a thing that must be off first, and of one that it must be off for; to be added.
    kind
        Sort of thing.
    has_fastener, has_fluid
        Which groups of fields it has.
    """

    name: str = ""
    title: str = ""
    off: tuple[str, ...] = ("", "", "")
    refit: tuple[str, ...] = ("", "", "")
    tools: str = ""
    torque_nm: str = ""
    torque_source: str = ""
    litres: str = ""
    litres_source: str = ""
    caution: str = ""
    stays: bool = False
    needs: tuple[Need, ...] = ()
    also_needs: str = ""
    blocks: str = ""
    kind: str = "part"
    has_fastener: bool = False
    has_fluid: bool = False


@dataclass(frozen=True)
class PlanForm:
    """The job as a form: its title, and a row for each thing."""

    title: str
    rows: Sequence[PlanRow]


@dataclass(frozen=True)
class PlanTried:
    """What a job gives: its plan, or what is wrong beside each field.

    `by_field` names a field of a row ("2.off", counted from 0) or "title"; `other` is what belongs
    to none.
    """

    result: TeardownResult | None
    by_field: Mapping[str, str] = field(default_factory=dict)
    other: tuple[str, ...] = ()


def plan_form(toml: str) -> PlanForm:
    """The fields of a job.

    Raises
    ------
    InputError
        When the text is no TOML.
    LimitError
        When it is far longer than a plan is.
    """
    require_modest(toml, Path("The plan"), most=MOST_LETTERS)
    try:
        document = tomllib.loads(toml)
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"The plan is no TOML: {error}", instead="the form, or a text as in the docs"
        ) from error
    things = _things(document)
    titles = _titles(document)
    return PlanForm(str(document.get("title", "")), [_row(one, titles) for one in things])


def _row(thing: Mapping[str, Any], titles: Mapping[str, str]) -> PlanRow:
    groups = {key: _group(thing, table).get(name) for key, (table, name) in _GROUPS.items()}
    return PlanRow(
        name=str(thing.get("name", "")),
        title=_title(thing),
        off=_three_of(thing.get("off")),
        refit=_three_of(thing.get("refit")),
        tools=", ".join(_texts(thing.get("tools"))),
        **{key: "" if value is None else f"{value}" for key, value in groups.items()},
        caution="\n".join(_texts(thing.get("cautions"))),
        stays=thing.get("stays") is True,
        needs=tuple(Need(line, _needs_words(line, titles)) for line in _texts(thing.get("reach"))),
        kind=str(thing.get("kind", "part")),
        has_fastener=isinstance(thing.get("fastener"), Mapping)
        and thing.get("kind") != "connection",
        has_fluid=isinstance(thing.get("fluid"), Mapping),
    )


def plan_toml(form: PlanForm, before: str, *, out: Sequence[str] = ()) -> str:
    """The job's text with the fields of a form.

    Parameters
    ----------
    out
        Names of things that are not on this car. Where one was in the way nothing is any more; a
        way of working that is taken out can't be gone.

    Raises
    ------
    InputError
        When `before` is no TOML.
    LimitError
        When it is far longer than a plan is.
    """
    document = parsed(before, "plan")
    if form.title.strip() and form.title != document.get("title"):
        document["title"] = form.title.strip()
    by_name = {str(thing.get("name", "")): thing for thing in _things(document)}
    titles = _titles(document)
    for row in form.rows:
        thing = by_name.get(row.name)
        if thing is not None:
            _write_row(thing, row, titles)
    new: AoT = document["thing"] if "thing" in document else tomlkit.aot()
    for row in form.rows:
        if row.name or not row.title.strip():
            continue
        table = tomlkit.table()
        name = _free_name(row.title, by_name)
        table.add("name", name)
        _write_row(table, row, titles)
        new.append(table)
        by_name[name] = table
        if row.blocks in by_name:
            _need(by_name[row.blocks], name)
    if "thing" not in document:
        document.add("thing", new)
    for name in out:
        _take_out(document, name)
    return tomlkit.dumps(document)


def try_plan(toml: str, target: Sequence[str] = (), aim: str = "expected") -> PlanTried:
    """What a job gives, without keeping it."""
    return _tried(toml, tuple(target), aim)


@lru_cache(maxsize=32)
def _tried(toml: str, target: tuple[str, ...], aim: str) -> PlanTried:
    try:
        read = job_from(parse_toml(toml, Path("plan")), "plan", toml)
    except FileProblemsError as error:
        by_field: dict[str, str] = {}
        other = []
        for problem in error.problems:
            place = _field_of(problem.where)
            said = str(InputError(problem.given, allowed=problem.allowed, instead=problem.instead))
            if place:
                by_field.setdefault(place, said)
            else:
                other.append(str(problem))
        return PlanTried(None, by_field, tuple(other))
    except InputError as error:
        return PlanTried(None, {}, (str(error),))
    known = [repair.name for repair in read.job.repairs]
    try:
        return PlanTried(
            teardown_of(
                read, read.job, repairs=[one for one in target if one in known], aim=aim, runs=10
            )
        )
    except InputError as error:
        return PlanTried(None, {}, (str(error),))


def _field_of(where: Sequence[str | int]) -> str:
    """The form's field at a key path, whose list members are counted from 1."""
    if where and where[0] == "title":
        return "title"
    if len(where) >= 3 and where[0] == "thing" and isinstance(where[1], int):
        key = str(where[3] if where[2] in ("fastener", "fluid") and len(where) > 3 else where[2])
        key = {"cautions": "caution", "reach": "needs"}.get(key, key)
        return f"{where[1] - 1}.{key}" if key in (*FIELDS, "needs") else ""
    return ""


# Reading -----------------------------------------------------------------------------------------


def _things(document: Mapping[str, Any]) -> list[Any]:
    held = document.get("thing", [])
    return [one for one in held if isinstance(one, Mapping)] if isinstance(held, list) else []


def _titles(document: Mapping[str, Any]) -> dict[str, str]:
    return {str(one.get("name", "")): _title(one) for one in _things(document)}


def _title(thing: Mapping[str, Any]) -> str:
    return str(thing.get("title") or str(thing.get("name", "")).replace("-", " "))


def _group(thing: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    held = thing.get(name)
    return held if isinstance(held, Mapping) else {}


def _three_of(value: Any) -> tuple[str, ...]:
    if value is None:
        return ("", "", "")
    if isinstance(value, list):
        shown = [_plain(one) for one in value][:3]
        return (*shown, *[""] * (3 - len(shown)))
    return (_plain(value),) * 3


def _plain(value: Any) -> str:
    if isinstance(value, float) and value == int(value):
        return str(int(value))
    return str(value)


def _texts(value: Any) -> list[str]:
    if value is None:
        return []
    return [str(one) for one in value] if isinstance(value, list) else [str(value)]


def _ways(line: str) -> list[list[str]]:
    ways = re.split(r"\s+or\s+", line.strip())
    return [[name.strip() for name in re.split(r"\s+and\s+", way)] for way in ways]


def _needs_words(line: str, titles: Mapping[str, str]) -> str:
    """A line of what must be off first, in words."""
    return " / ".join(
        " + ".join(titles.get(name.lower(), name) for name in way) for way in _ways(line)
    )


# Writing -----------------------------------------------------------------------------------------


def _write_row(thing: Any, row: PlanRow, titles: Mapping[str, str]) -> None:
    now = _row(thing, titles)
    if row.title.strip() != now.title:
        _put(thing, "title", row.title.strip())
    for key in THREE:
        want, is_ = (tuple(one.strip() for one in getattr(it, key)) for it in (row, now))
        if want != is_:
            _put(thing, key, _minutes(want))
    if row.tools.strip() != now.tools:
        tools = [one.strip() for one in row.tools.split(",") if one.strip()]
        _put(thing, "tools", tools)
    for key, (table, name) in _GROUPS.items():
        want_ = getattr(row, key).strip()
        if want_ == getattr(now, key) or not (table in thing or want_):
            continue
        if table not in thing:
            thing[table] = tomlkit.inline_table()
        _put(thing[table], name, _number(want_) if "source" not in key else want_)
    if row.caution.split("\n") != now.caution.split("\n"):
        lines = [one.strip() for one in row.caution.splitlines() if one.strip()]
        _put(thing, "cautions", lines)
    if row.stays != now.stays:
        _put(thing, "stays", True if row.stays else None)
    dropped = {need.line for need in row.needs if not need.kept}
    if dropped:
        lines = [one for one in _texts(thing.get("reach")) if one not in dropped]
        _put(thing, "reach", lines)
    if row.also_needs and row.also_needs in titles:
        _need(thing, row.also_needs)


def _need(thing: Any, name: str) -> None:
    """Another thing must be off first."""
    lines = _texts(thing.get("reach"))
    if name not in lines and name != thing.get("name"):
        _put(thing, "reach", [*lines, name])


def _minutes(three: Sequence[str]) -> Any:
    """Three texts as numbers; one alone stands for all, an empty one takes its neighbour's."""
    said = [one for one in three if one]
    if not said:
        return None
    if len(said) == 1:
        return _number(said[0])
    low, likely, high = three
    filled = (low or likely, likely or low or high, high or likely)
    return [_number(one) for one in filled]


def _number(text: str) -> Any:
    """A number where it is one, else the text, to be told of."""
    if not _NUMBER.fullmatch(text):
        return text or None
    plain = text.replace(",", ".")
    return float(plain) if "." in plain else int(plain)


def _put(table: Any, key: str, value: Any) -> None:
    if value is None or value in ([], ""):
        if key in table:
            del table[key]
        return
    table[key] = value


def _free_name(title: str, taken: Mapping[str, Any]) -> str:
    """A name for a new thing, made of its title."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    words = [word for word in re.findall(r"[a-z0-9]+", plain) if word not in ("and", "or")][:5]
    base = "-".join(words) or "step"
    name, number = base, 1
    while name in taken:
        number += 1
        name = f"{base}-{number}"
    return name


def _take_out(document: Any, name: str) -> None:
    things = _things(document)
    gone = next((one for one in things if one.get("name") == name), None)
    if gone is None:
        return
    behind = [] if gone.get("kind") == "way" else _texts(gone.get("reach"))
    is_way = gone.get("kind") == "way"
    document["thing"].remove(gone)
    for thing in _things(document):
        lines: list[str] = []
        for line in _texts(thing.get("reach")):
            # What had to be off for it has to be off all the same for what lay behind it.
            lines += behind if line.strip() == name else [_without(line, name, is_way, behind)]
        if "reach" in thing:
            _put(thing, "reach", [line for line in dict.fromkeys(lines) if line])
        for key in _LINKS:
            if key in thing:
                _put(thing, key, [one for one in _texts(thing.get(key)) if one != name])
    for repair in document.get("repair", []):
        if name in _texts(repair.get("targets")):
            repair["targets"] = [one for one in _texts(repair.get("targets")) if one != name]


def _without(line: str, name: str, is_way: bool, behind: Sequence[str] = ()) -> str:
    """A line of what must be off first without a thing that is not there; "" when all is met.

    >>> _without("alternator or mount and liner", "liner", False)
    'alternator or mount'
    >>> _without("alternator or mount and liner", "liner", False, ["wheel"])
    'alternator or mount and wheel'
    >>> _without("alternator or mount and liner", "alternator", False)
    ''
    >>> _without("alternator or round-it", "round-it", True)
    'alternator'
    """
    simple = [one.strip() for one in behind if len(_ways(one)) == 1]
    ways = []
    for way in _ways(line):
        if name not in [one.lower() for one in way]:
            ways.append(" and ".join(way))
            continue
        if is_way:
            continue
        rest = [one for one in way if one.lower() != name] + simple
        if not rest:
            return ""
        ways.append(" and ".join(dict.fromkeys(rest)))
    return " or ".join(ways)
