"""Templates of common jobs at the belt end, to be copied and bent to the car at hand."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Final

from beltside.base.errors import InputError, nearest
from beltside.casework.formats.teardown_job import ReadJob, job_from

_PACKAGE: Final = "beltside.teardown"
_FOLDER: Final = "templates"


@cache
def template_names() -> tuple[str, ...]:
    """Names of the templates, in alphabetical order."""
    folder = files(_PACKAGE) / _FOLDER
    return tuple(
        sorted(one.name.removesuffix(".toml") for one in folder.iterdir() if _is_toml(one.name))
    )


def _is_toml(name: str) -> bool:
    return name.endswith(".toml")


def template_text(name: str) -> str:
    """The text of a template.

    Raises
    ------
    InputError
        When there is none of that name.
    """
    if name not in template_names():
        close = nearest(name, template_names())
        raise InputError(
            f'there is no job file and no template called "{name}"',
            allowed=", ".join(template_names()),
            instead=close or "",
        )
    return (files(_PACKAGE) / _FOLDER / f"{name}.toml").read_text(encoding="utf-8")


def template_job(name: str) -> ReadJob:
    """The job of a template, as `template_text`."""
    text = template_text(name)
    return job_from(tomllib.loads(text), f"{name}.toml", text)


def copy_template(name: str, path: Path) -> None:
    """Write a template into a new file.

    Raises
    ------
    InputError
        When there is no such template, or the file is there already.
    """
    text = template_text(name)
    if path.exists():
        raise InputError(
            f"{path} is there already", allowed="a new file", instead="another name for the copy"
        )
    path.write_text(text, encoding="utf-8")
