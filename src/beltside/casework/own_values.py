"""The shop's own values over the shipped tables: minutes of checks, money and minutes of repairs.

Two texts in the shop's folder hold them, `costs.toml` and `catalogue.toml` (docs/usage/
own-catalogue.md). They are edited, not written anew, and one that gives no usable table is refused
before it is written; what stood there is kept beside it.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit.exceptions import ParseError

from beltside.base.errors import BeltsideError, InputError
from beltside.casework.own import CATALOGUE_FILE, COSTS_FILE
from beltside.casework.shipped import catalogue as shipped_catalogue
from beltside.casework.shipped import catalogue_table, costs_table
from beltside.casework.shipped import costs as shipped_costs
from beltside.casework.shop import FieldProblemsError
from beltside.suspects.catalogue import Catalogue
from beltside.suspects.catalogue_table import merged, parse_catalogue
from beltside.suspects.costs import Costs, parse_costs

FILES: Final = (COSTS_FILE, CATALOGUE_FILE)
MOST_BYTES: Final = 400_000
_NUMBER: Final = re.compile(r"\d+([.,]\d+)?")


@dataclass(frozen=True)
class OwnValue:
    """One value: its field, what it is of, what ships, and what holds here.

    `field` is "repair.coolant-pump.money" or "check.spin-by-hand.minutes"; `kind` "money" or
    "minutes".
    """

    field: str
    words: str
    kind: str
    shipped: float
    now: float

    @property
    def own(self) -> bool:
        """Whether it differs from what ships."""
        return self.now != self.shipped


@dataclass(frozen=True)
class OwnValues:
    """Values that can be set in rows, both texts, and why they are not used, if they aren't."""

    currency: str
    values: Sequence[OwnValue]
    texts: Mapping[str, str] = field(default_factory=dict)
    problem: str = ""


def own_values(folder: Path) -> OwnValues:
    """What holds in a shop, against what ships."""
    texts = {name: _read(folder / name) for name in FILES}
    problem = ""
    try:
        catalogue, costs = _tables(texts)
    except BeltsideError as error:
        catalogue, costs, problem = shipped_catalogue(), shipped_costs(), str(error)
    shipped_repairs = {one.id: one for one in shipped_costs().repairs}
    shipped_checks = {one.id: one for one in shipped_catalogue().checks}
    values = []
    for repair in costs.repairs:
        there = shipped_repairs.get(repair.id, repair)
        for kind in ("money", "minutes"):
            values.append(
                OwnValue(
                    f"repair.{repair.id}.{kind}",
                    repair.name,
                    kind,
                    float(getattr(there, kind)),
                    float(getattr(repair, kind)),
                )
            )
    for check in catalogue.checks:
        ships = shipped_checks.get(check.id, check).minutes
        values.append(
            OwnValue(f"check.{check.id}.minutes", check.name, "minutes", ships, check.minutes)
        )
    return OwnValues(costs.currency, values, texts, problem)


def save_own_values(folder: Path, typed: Mapping[str, str]) -> OwnValues:
    """Keep values typed in rows; one as it ships, or left empty, is taken out of the own text.

    Raises
    ------
    FieldProblemsError
        With what is wrong beside each field; nothing is kept then.
    InputError
        When a text there can't be read.
    """
    held = own_values(folder)
    known = {one.field: one for one in held.values}
    wrong: dict[str, str] = {}
    changed: dict[str, float | None] = {}
    for name, said in typed.items():
        text = said.strip()
        if name not in known:
            wrong[name] = "there is no such value"
        elif not text:
            changed[name] = None
        elif not _NUMBER.fullmatch(text) or not 0 <= float(text.replace(",", ".")) <= 100_000:
            wrong[name] = "is a number from 0 to 100000, such as 12.5"
        else:
            value = float(text.replace(",", "."))
            if value != known[name].now:
                changed[name] = None if value == known[name].shipped else value
    if wrong:
        raise FieldProblemsError("own values", typed, wrong)
    texts = dict(held.texts)
    for name, number in changed.items():
        group, _, rest = name.partition(".")
        entry, _, key = rest.rpartition(".")
        file = COSTS_FILE if group == "repair" else CATALOGUE_FILE
        texts[file] = _with(texts[file], file, (group, entry, key), number)
    _tables(texts)
    for name in FILES:
        if texts[name] != held.texts[name]:
            _write(folder / name, texts[name])
    return own_values(folder)


def save_own_text(folder: Path, name: str, text: str) -> OwnValues:
    """Keep one of the two texts as written; an empty one means that what ships holds.

    Raises
    ------
    InputError
        When it is no such text, or gives no usable tables; nothing is kept then.
    """
    if name not in FILES:
        raise InputError(f'there is no own file "{name}"', allowed=", ".join(FILES))
    if len(text.encode()) > MOST_BYTES:
        raise InputError(f"{name} is longer than {MOST_BYTES} bytes", allowed="a shorter text")
    texts = {one: _read(folder / one) for one in FILES} | {name: text}
    _tables(texts)
    if text != _read(folder / name):
        _write(folder / name, text)
    return own_values(folder)


def _tables(texts: Mapping[str, str]) -> tuple[Catalogue, Costs]:
    """Catalogue and costs with these texts laid over.

    Raises
    ------
    InputError
        Naming the file and all that is wrong in it.
    """
    catalogue = _named(
        CATALOGUE_FILE,
        lambda: parse_catalogue(
            merged(catalogue_table(), _plain(texts[CATALOGUE_FILE], CATALOGUE_FILE))
        ),
    )
    costs = _named(
        COSTS_FILE,
        lambda: parse_costs(
            merged(dict(costs_table()), _plain(texts[COSTS_FILE], COSTS_FILE)), catalogue
        ),
    )
    return catalogue, costs


def _named(name: str, make: Any) -> Any:
    try:
        return make()
    except InputError as error:
        given = error.given if error.given.startswith(name) else f"{name}: {error.given}"
        raise InputError(given, allowed=error.allowed, instead=error.instead) from None


def _plain(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{name} is no TOML: {error}", allowed="a text as in the docs") from None


def _with(text: str, file: str, place: tuple[str, str, str], value: float | None) -> str:
    """A text with one value put in or taken out; empty groups go with it."""
    try:
        document: Any = tomlkit.parse(text)
    except ParseError as error:
        raise InputError(f"{file} is no TOML: {error}", instead="putting the text right") from None
    group, entry, key = place
    if value is None:
        table = document.get(group, {}).get(entry)
        if table is not None and key in table:
            del table[key]
            if not table:
                del document[group][entry]
            if not document[group]:
                del document[group]
        return tomlkit.dumps(document)
    if group not in document:
        document.add(group, tomlkit.table(is_super_table=True))
    if entry not in document[group]:
        document[group].add(entry, tomlkit.table())
    document[group][entry][key] = int(value) if value == int(value) else value
    return tomlkit.dumps(document)


def _read(path: Path) -> str:
    return path.read_text(encoding="utf-8") if path.is_file() else ""


def _write(path: Path, text: str) -> None:
    """Write a text in one step; what stood there is kept beside it under a number."""
    if path.is_file():
        number = 1
        while (aside := path.with_name(f"{path.stem}-before-{number}{path.suffix}")).exists():
            number += 1
        aside.write_bytes(path.read_bytes())
    path.parent.mkdir(parents=True, exist_ok=True)
    new = path.with_name(path.name + ".new")
    new.write_text(text, encoding="utf-8")
    os.replace(new, path)
