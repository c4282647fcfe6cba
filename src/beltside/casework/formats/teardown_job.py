"""Job files: what is on the car, what is in the way, what each step takes (docs/formats.md)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Field, ValidationError, WithJsonSchema

from beltside.base.errors import InputError, nearest
from beltside.casework.formats.fields import Count, Keys, Number, OneOrMore, Text, Word
from beltside.casework.formats.problems import FileProblemsError, Problem, from_pydantic
from beltside.casework.formats.toml_file import read_toml
from beltside.teardown.model import Fastener, Fluid, Job, Repair, Supply, Thing, Trouble
from beltside.teardown.times import NONE, Minutes

MOST_THINGS: Final = 400

Kind = Literal["part", "fastener", "fluid", "connection", "state", "way", "work", "finish"]


def _three(value: Any) -> Any:
    """`4` stands for `[4, 4, 4]`."""
    return [value] * 3 if isinstance(value, int | float | str) else value


Three = Annotated[
    list[Number],
    BeforeValidator(_three),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "minimum": 0},
                {
                    "type": "array",
                    "items": {"type": "number", "minimum": 0},
                    "minItems": 3,
                    "maxItems": 3,
                },
            ]
        }
    ),
]
_MINUTES: Final = "minutes as [low, likely, high], or one number"
Words = Annotated[list[Word], OneOrMore]
Texts = Annotated[list[Text], OneOrMore]


class SupplyKeys(Keys):
    """Something to have at hand or to buy."""

    name: Text = Field(description="what it is")
    quantity: Number = Field(default=1.0, description="how much, a number above 0", gt=0.0)
    unit: Text = Field(default="", description='unit of the quantity, "l"; nothing for pieces')


class FastenerKeys(Keys):
    """Bolts, nuts or clamps of one kind."""

    thread: Text = Field(default="", description='"M6"')
    head_mm: Number | None = Field(
        default=None, description="width across flats in mm, 3 to 60", ge=3.0, le=60.0
    )
    count: Count = Field(default=1, description="how many, 1 to 100", ge=1, le=100)
    torque_nm: Number | None = Field(
        default=None, description="the maker's torque in N m, 0.5 to 1000", ge=0.5, le=1000.0
    )
    torque_source: Text = Field(default="", description="where the torque was read")


class FluidKeys(Keys):
    """What runs out when this is drained."""

    name: Text = Field(description="what it is")
    litres: Number | None = Field(default=None, description="litres, above 0", gt=0.0, le=100.0)
    litres_source: Text = Field(default="", description="where the litres were read or measured")
    reusable: bool = Field(default=False, description="true when it may be caught and used again")


class TroubleKeys(Keys):
    """What often goes wrong with a step."""

    what: Text = Field(description="in words")
    chance: Number = Field(description="0 to 1, for the step as a whole", ge=0.0, le=1.0)
    minutes: Three = Field(description="extra " + _MINUTES)
    then: Text = Field(default="", description="what it then takes, in words")
    tools: Texts = Field(default_factory=list, description="tools it then takes")
    parts: list[SupplyKeys] = Field(default_factory=list, description="parts it then takes")


class ThingKeys(Keys):
    """One thing on the car, and the step of taking it off."""

    name: Word = Field(description="its name in the other lines")
    title: Text = Field(default="", description="what is done, in words")
    refit_title: Text = Field(default="", description="what is done on refitting, in words")
    kind: Kind = Field(default="part", description="what sort of thing it is")
    off: Three = Field(default_factory=list, description=_MINUTES)
    refit: Three = Field(default_factory=list, description=_MINUTES)
    wait: Three = Field(default_factory=list, description=_MINUTES + ", waiting after it is off")
    refit_wait: Three = Field(default_factory=list, description=_MINUTES + ", after it is on")
    reach: Texts = Field(
        default_factory=list,
        description='what must be off first: every line; within a line "a or b and c"',
    )
    after: Words = Field(
        default_factory=list, description="things that come off before it if they come off at all"
    )
    while_on: Words = Field(default_factory=list, description="things that must still be on")
    refit_after: Words = Field(default_factory=list, description="things that go on before it")
    refit_last: bool = Field(default=False, description="true when it goes on last of all")
    when: Words = Field(
        default_factory=list, description='kind "finish": done when one of these was off'
    )
    stays: bool = Field(default=False, description="true when it can't come off on this car")
    tools: Texts = Field(default_factory=list, description="tools for taking it off")
    refit_tools: Texts = Field(default_factory=list, description="further tools for refitting")
    fastener: FastenerKeys | None = Field(default=None, description="a group of keys")
    fluid: FluidKeys | None = Field(default=None, description="a group of keys")
    consumables: list[SupplyKeys] = Field(default_factory=list, description="used up in it")
    renew: list[SupplyKeys] = Field(
        default_factory=list, description="single-use parts: new ones on refitting"
    )
    hazards: Texts = Field(default_factory=list, description="what can hurt, in sentences")
    cautions: Texts = Field(default_factory=list, description="what to mind, in sentences")
    trouble: Annotated[list[TroubleKeys], OneOrMore] = Field(
        default_factory=list, description="[[thing.trouble]]"
    )
    note: Text = Field(default="", description="where the line comes from")


class RepairKeys(Keys):
    """Something wanted."""

    name: Word = Field(description="its name")
    title: Text = Field(default="", description="in words")
    targets: Words = Field(description="the things to be reached", min_length=1)
    parts: list[SupplyKeys] = Field(default_factory=list, description="parts to buy for it")


class JobKeys(Keys):
    """A job: things, what blocks what, and what is to be repaired."""

    title: Text = Field(description="the job in a few words")
    about: Text = Field(default="", description="what the job is, and where it ends")
    cautions: Texts = Field(default_factory=list, description="cautions for the whole job")
    wanted: Words = Field(
        default_factory=list, description="repairs done when none is asked for; else the first"
    )
    repair: Annotated[list[RepairKeys], OneOrMore] = Field(
        description="[[repair]] once for each", min_length=1, max_length=50
    )
    thing: Annotated[list[ThingKeys], OneOrMore] = Field(
        description=f"[[thing]] once for each, at most {MOST_THINGS}",
        min_length=1,
        max_length=MOST_THINGS,
    )


@dataclass(frozen=True)
class ReadJob:
    """A job as read, with the text it was read from (to name lines by their number)."""

    job: Job
    file: str
    text: str


def load_job(path: Path) -> ReadJob:
    """The job in a TOML file.

    Raises
    ------
    InputError
        When the file is not there or is not TOML (naming the line), or as `FileProblemsError`
        naming everything wrong with it.
    LimitError
        When the file is larger than 1 MB.
    """
    data = read_toml(path)
    text = path.read_bytes().decode("utf-8-sig", errors="replace")
    return job_from(data, path.name, text)


def job_from(data: dict[str, Any], file: str, text: str = "") -> ReadJob:
    """The job in the tables of a TOML file; `file` is what it is called in messages."""
    try:
        keys = JobKeys.model_validate(data)
    except ValidationError as error:
        problems = from_pydantic(file, JobKeys, error)
        raise FileProblemsError([_labelled(problem, data) for problem in problems]) from None
    problems = []
    names = [thing.name for thing in keys.thing]
    things = tuple(
        _thing(thing, number, names, file, problems)
        for number, thing in enumerate(keys.thing, start=1)
    )
    repairs = tuple(
        Repair(
            name=repair.name,
            title=repair.title or repair.name.replace("-", " "),
            targets=tuple(repair.targets),
            parts=tuple(_supply(part) for part in repair.parts),
        )
        for repair in keys.repair
    )
    for number, repair in enumerate(repairs, start=1):
        _twice(
            file,
            ("repair", number, "name"),
            repair.name,
            [r.name for r in repairs],
            number,
            problems,
        )
        for target in repair.targets:
            _there(file, ("repair", number, "targets"), target, names, problems)
    wanted = tuple(keys.wanted) or (repairs[0].name,)
    for name in wanted:
        _there(file, ("wanted",), name, [repair.name for repair in repairs], problems)
    if problems:
        raise FileProblemsError([_labelled(problem, data) for problem in problems])
    job = Job(
        title=keys.title,
        about=keys.about,
        cautions=tuple(keys.cautions),
        things=things,
        repairs=repairs,
        wanted=wanted,
    )
    return ReadJob(job, file, text)


def _labelled(problem: Problem, data: dict[str, Any]) -> Problem:
    """The problem with the name of the thing or repair it is about."""
    where = problem.where
    if len(where) < 2 or not isinstance(where[1], int):
        return problem
    group = data.get(str(where[0]))
    member = group[where[1] - 1] if isinstance(group, list) and where[1] <= len(group) else group
    name = member.get("name") if isinstance(member, dict) else None
    label = name[:60] if isinstance(name, str) else ""
    return Problem(problem.file, where, problem.given, problem.allowed, problem.instead, label)


def _thing(
    keys: ThingKeys, number: int, names: list[str], file: str, problems: list[Problem]
) -> Thing:
    where = ("thing", number)
    _twice(file, (*where, "name"), keys.name, names, number, problems)
    reach = []
    for line in keys.reach:
        rows = _rows(line)
        for row in rows:
            for name in row:
                _there(file, (*where, "reach"), name, names, problems, line)
        reach.append(rows)
    for key in ("after", "while_on", "refit_after", "when"):
        for name in getattr(keys, key):
            _there(file, (*where, key), name, names, problems)
    if keys.when and keys.kind != "finish":
        problems.append(
            Problem(file, (*where, "when"), f'kind is "{keys.kind}"', 'only with kind = "finish"')
        )
    fastener = keys.fastener
    if fastener and fastener.torque_nm is not None and not fastener.torque_source:
        problems.append(
            Problem(
                file,
                (*where, "fastener", "torque_source"),
                "a torque without its source",
                "where it was read, such as the maker's service data",
            )
        )
    fluid = keys.fluid
    if fluid and fluid.litres is not None and not fluid.litres_source:
        problems.append(
            Problem(
                file,
                (*where, "fluid", "litres_source"),
                "litres without their source",
                "where they were read, or that they were measured",
            )
        )
    return Thing(
        name=keys.name,
        title=keys.title or keys.name.replace("-", " "),
        refit_title=keys.refit_title or f"{keys.name.replace('-', ' ')} back on",
        kind=keys.kind,
        off=_minutes(keys.off, file, (*where, "off"), problems),
        refit=_minutes(keys.refit, file, (*where, "refit"), problems),
        wait=_minutes(keys.wait, file, (*where, "wait"), problems),
        refit_wait=_minutes(keys.refit_wait, file, (*where, "refit_wait"), problems),
        reach=tuple(reach),
        after=tuple(keys.after),
        while_on=tuple(keys.while_on),
        refit_after=tuple(keys.refit_after),
        refit_last=keys.refit_last,
        when=tuple(keys.when),
        stays=keys.stays,
        tools=tuple(keys.tools),
        refit_tools=tuple(keys.refit_tools),
        fastener=Fastener(**fastener.model_dump()) if fastener else None,
        fluid=Fluid(**fluid.model_dump()) if fluid else None,
        consumables=tuple(_supply(one) for one in keys.consumables),
        renew=tuple(_supply(one) for one in keys.renew),
        hazards=tuple(keys.hazards),
        cautions=tuple(keys.cautions),
        troubles=tuple(
            Trouble(
                what=one.what,
                chance=one.chance,
                minutes=_minutes(
                    one.minutes, file, (*where, "trouble", place, "minutes"), problems
                ),
                then=one.then,
                tools=tuple(one.tools),
                parts=tuple(_supply(part) for part in one.parts),
            )
            for place, one in enumerate(keys.trouble, start=1)
        ),
        note=keys.note,
    )


def _rows(line: str) -> tuple[tuple[str, ...], ...]:
    """ "a or b and c" as rows of names: (a), (b, c)."""
    ways = re.split(r"\s+or\s+", line.strip().lower())
    return tuple(tuple(re.split(r"\s+and\s+", way.strip())) for way in ways)


def _minutes(
    three: list[float], file: str, where: tuple[str | int, ...], problems: list[Problem]
) -> Minutes:
    if not three:
        return NONE
    try:
        if len(three) != 3:
            raise InputError(f"a list of {len(three)}", allowed=_MINUTES)
        return Minutes(*three)
    except InputError as error:
        problems.append(Problem(file, where, error.given, error.allowed, error.instead))
        return NONE


def _supply(keys: SupplyKeys) -> Supply:
    return Supply(keys.name, keys.quantity, keys.unit)


def _there(
    file: str,
    where: tuple[str | int, ...],
    name: str,
    names: list[str],
    problems: list[Problem],
    line: str = "",
) -> None:
    if name in names:
        return
    close = nearest(name, names)
    problems.append(
        Problem(
            file,
            where,
            f'"{name}" is not in this file' + (f' (in "{line}")' if line else ""),
            'the name of another entry; "and" and "or" stand between names'
            if line
            else "the name of another entry",
            f'"{close}"' if close else "",
        )
    )


def _twice(
    file: str,
    where: tuple[str | int, ...],
    name: str,
    names: list[str],
    number: int,
    problems: list[Problem],
) -> None:
    if name in names[: number - 1]:
        problems.append(Problem(file, where, f'"{name}" stands here a second time', "each once"))


def line_number(text: str, thing: str, key: str, place: int) -> int | None:
    """The line of a job file at which a key of a thing stands, counted from 1; None if unsure."""
    rows = text.splitlines()
    inside = False
    for number, row in enumerate(rows, start=1):
        bare = row.strip()
        if bare.startswith("[[") and not bare.startswith("[[thing."):
            inside = False
        name = re.match(r"""name\s*=\s*["']([^"']*)["']""", bare)
        if name and _names_a_thing(rows, number) and name[1] == thing:
            inside = True
        elif inside and re.match(rf"{key}\s*=", bare):
            return _item_line(rows, number, place)
    return None


def _names_a_thing(rows: list[str], number: int) -> bool:
    for row in reversed(rows[: number - 1]):
        if row.strip().startswith("["):
            return row.strip().startswith("[[thing]]")
    return False


def _item_line(rows: list[str], number: int, place: int) -> int:
    """The line of the item `place` of a list that starts on line `number`."""
    seen = 0
    for at in range(number, len(rows) + 1):
        quoted = re.findall(r'"[^"]*"', rows[at - 1])
        if seen + len(quoted) > place:
            return at
        seen += len(quoted)
        if "]" in rows[at - 1].split("#")[0]:
            break
    return number
