"""All that is wrong with a file, in plain words and at once."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, get_args

from pydantic import BaseModel, ValidationError

from beltside.base.errors import InputError, nearest
from beltside.drive.check import key_path

Where = tuple[str | int, ...]

# pydantic puts the branch of `bearing = "6203"` or `bearing = { ... }` into the path.
_BRANCHES: Final = ("table", "number")
_LABELS: Final = ("part", "file", "check")

KEY_MISSING: Final = "this key is missing"
MOST_PROBLEMS: Final = 100
"""So many are said; a file with more is none of ours."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a file.

    Attributes
    ----------
    file
        Name of the file.
    where
        Key path, list members counted from 1; empty for the file as a whole.
    label
        Name of the list member ("alternator"), when it has one.
    given, allowed, instead
        The three parts of the message, as in `base.errors`.
    """

    file: str
    where: Where
    given: str
    allowed: str = ""
    instead: str = ""
    label: str = ""

    def __str__(self) -> str:
        place = key_path(self.where)
        if self.label:
            head = key_path(self.where[:2])
            place = place.replace(head, f"{head} ({self.label})", 1)
        return str(
            InputError(
                f"{place}: {self.given}" if place else self.given,
                allowed=self.allowed,
                instead=self.instead,
            )
        )


class FileProblemsError(InputError):
    """Everything wrong with one file, or with a case and the drive sheet it names."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        files = list(dict.fromkeys(problem.file for problem in problems))
        if len(problems) == 1:
            super().__init__(f"{problems[0].file}: {problems[0]}")
            return
        lines = []
        for file in files:
            own = [problem for problem in problems if problem.file == file]
            lines.append(f"{file}: {len(own)} problem{'s' if len(own) > 1 else ''}")
            lines += [f"  {number}. {problem}" for number, problem in enumerate(own, start=1)]
        super().__init__("\n".join(lines))


def with_labels(problems: Iterable[Problem], data: Mapping[str, Any]) -> list[Problem]:
    """The same problems, list members named by their part, file or check."""
    labelled = []
    for problem in problems:
        label = ""
        if len(problem.where) > 1 and isinstance(problem.where[1], int):
            member = _step(_step(data, problem.where[0]), problem.where[1] - 1)
            if isinstance(member, dict):
                names = (member.get(key) for key in _LABELS)
                label = next((name for name in names if isinstance(name, str) and name), "")[:60]
        labelled.append(
            Problem(
                problem.file, problem.where, problem.given, problem.allowed, problem.instead, label
            )
        )
    return labelled


def from_pydantic(file: str, root: type[BaseModel], error: ValidationError) -> list[Problem]:
    """pydantic's findings in our words.

    Raises
    ------
    FileProblemsError
        At once, with the first hundred, when there are more: that is no slip of the pen.
    """
    problems = []
    for found in error.errors(include_url=False)[:MOST_PROBLEMS]:
        where = _where(found["loc"])
        model = _model_at(root, where[:-1])
        key = str(where[-1]) if where else ""
        kind, value = found["type"], found["input"]
        if kind == "extra_forbidden":
            known = list(model.model_fields)
            close = nearest(key, known) or _by_stem(key, known)
            given, allowed = "this key is not known here", ", ".join(known)
            instead = f"`{close}`" if close else ""
        elif kind == "missing":
            given, allowed, instead = KEY_MISSING, _description(model, key), ""
        elif kind == "literal_error":
            words = [
                word.strip(" '")
                for word in found["ctx"]["expected"].replace(" or ", ", ").split(",")
            ]
            close = nearest(str(value), words)
            given, allowed = _shown(value), ", ".join(f'"{word}"' for word in words)
            instead = f'"{close}"' if close else ""
        else:
            reason = found.get("ctx", {}).get("error")
            given = _shown(value) + (f": {reason}" if reason else "")
            allowed, instead = _description(model, key) or _wanted(kind), ""
        problems.append(Problem(file, where, given, allowed, instead))
    more = error.error_count() - MOST_PROBLEMS
    if more > 0:
        raise FileProblemsError([*problems, Problem(file, (), f"and {more} more")])
    return problems


def patched(
    data: Mapping[str, Any], problems: Iterable[Problem], placeholders: Mapping[str, Any]
) -> dict[str, Any]:
    """A copy of the file's values with the keys that failed left out or filled in.

    So the checks that need the whole file can still run, and all problems come at once; what
    they say of a filled-in key is then dropped with `touches`.
    """
    copied: dict[str, Any] = copy.deepcopy(dict(data))
    for problem in problems:
        *path, last = (step - 1 if isinstance(step, int) else step for step in problem.where)
        holder: Any = copied
        for step in path:
            holder = _step(holder, step)
        if isinstance(holder, list) and isinstance(last, int) and last < len(holder):
            holder[last] = copy.deepcopy(placeholders.get(str(path[-1]), {}))
        elif isinstance(holder, dict):
            holder.pop(str(last), None)
            if last in placeholders and last not in _LISTS:
                holder[str(last)] = copy.deepcopy(placeholders[str(last)])
    return copied


_LISTS: Final = ("pulley", "take", "finding")


def touches(where: Where, problems: Iterable[Problem]) -> bool:
    """Whether a key path lies in or above one already complained of."""
    return any(
        where[: len(problem.where)] == problem.where or problem.where[: len(where)] == where
        for problem in problems
    )


def _step(holder: Any, step: str | int) -> Any:
    if isinstance(holder, dict) and isinstance(step, str):
        inner = holder.get(step)
        # `[take]` stands for a list of one.
        return [inner] if step in _LISTS and isinstance(inner, dict) else inner
    if isinstance(holder, list) and isinstance(step, int) and step < len(holder):
        return holder[step]
    return None


def _where(location: tuple[str | int, ...]) -> Where:
    return tuple(
        step + 1 if isinstance(step, int) else step
        for index, step in enumerate(location)
        if not (step in _BRANCHES and index and location[index - 1] == "bearing")
    )


def _model_at(root: type[BaseModel], where: Where) -> type[BaseModel]:
    model = root
    for step in where:
        if isinstance(step, str) and step in model.model_fields:
            model = _model_in(model.model_fields[step].annotation) or model
    return model


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for inner in get_args(annotation) if (found := _model_in(inner))), None)


def _by_stem(key: str, known: Iterable[str]) -> str | None:
    """`diameter` for `diameter_mm`, `rpm` for `crank_rpm`."""
    return next(
        (name for name in known if key and key in (name.split("_")[0], name.split("_")[-1])), None
    )


def _description(model: type[BaseModel], key: str) -> str:
    field = model.model_fields.get(key)
    return (field.description or "") if field else ""


def _shown(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value[:60]}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a group of keys"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return str(value)[:60]


def _wanted(kind: str) -> str:
    return {
        "list_type": "a list of groups, each headed [[...]]",
        "model_type": "a group of keys",
        "string_type": "text in double quotes",
    }.get(kind, "see docs/formats.md")
