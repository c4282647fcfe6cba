"""What a technician or a shop has of its own: checks, costs and what closed jobs taught.

Three files in one folder, each optional: `catalogue.toml`, `costs.toml`, `learned.json`. The folder
is `.beltside` in the person's home, or what the variable BELTSIDE_FOLDER says. The shipped files
are never written to.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar

from beltside.base.errors import InputError
from beltside.casework.formats.learned_file import read_learned
from beltside.casework.formats.toml_file import read_toml
from beltside.casework.own_folder import own_folder
from beltside.casework.shipped import catalogue as shipped_catalogue
from beltside.casework.shipped import catalogue_table, costs_table
from beltside.casework.shipped import costs as shipped_costs
from beltside.suspects.catalogue import Catalogue
from beltside.suspects.catalogue_table import merged, parse_catalogue
from beltside.suspects.costs import Costs, parse_costs
from beltside.suspects.learning import learned

_Made = TypeVar("_Made")

CATALOGUE_FILE: Final = "catalogue.toml"
COSTS_FILE: Final = "costs.toml"
LEARNED_FILE: Final = "learned.json"


@dataclass(frozen=True)
class Tables:
    """Catalogue and costs as they hold for this technician, and what went into them.

    `taught` is the catalogue before closed jobs moved it; `jobs` how many did; `notes` say which
    own files were used.
    """

    catalogue: Catalogue
    costs: Costs
    taught: Catalogue
    jobs: int
    notes: tuple[str, ...]


def learned_path(folder: Path | None = None) -> Path:
    """Where what closed jobs taught is kept."""
    return (folder or own_folder()) / LEARNED_FILE


def tables(
    case_costs: Mapping[str, object] | None = None,
    *,
    with_learned: bool = True,
    folder: Path | None = None,
) -> Tables:
    """The shipped tables with the own ones laid over, and a case's own costs over those.

    `folder` holds the own ones; `own_folder()` without it.

    Raises
    ------
    InputError
        When an own file or the case's costs hold what is not allowed; says which and what.
    """
    folder = folder or own_folder()
    notes: list[str] = []
    catalogue, costs_values = shipped_catalogue(), dict(costs_table())
    path = folder / CATALOGUE_FILE
    if path.is_file():
        catalogue = _named(
            path.name, lambda: parse_catalogue(merged(catalogue_table(), read_toml(path)))
        )
        notes.append(f"checks and suspects of your own: {path.name}")
    # Repairs are checked against the suspects there are.
    changed = catalogue is not shipped_catalogue()
    path = folder / COSTS_FILE
    costs = shipped_costs()
    if path.is_file():
        costs_values = merged(costs_values, read_toml(path))
        changed = True
        notes.append(f"costs of your own: {path.name}")
    if case_costs:
        costs_values = merged(costs_values, case_costs)
        changed = True
    if changed:
        source = "the case's [costs]" if case_costs else path.name
        costs = _named(source, lambda: parse_costs(costs_values, catalogue))
    taught = learned_path(folder)
    jobs = read_learned(taught).jobs if with_learned and taught.is_file() else ()
    if jobs:
        many = "s" if len(jobs) > 1 else ""
        notes.append(f"priors and likelihoods learned from {len(jobs)} closed job{many}")
    return Tables(learned(catalogue, jobs), costs, catalogue, len(jobs), tuple(notes))


def _named(name: str, make: Callable[[], _Made]) -> _Made:
    """What `make` gives; its complaint with the file's name in front."""
    try:
        return make()
    except InputError as error:
        raise InputError(
            f"{name}: {error.given}", allowed=error.allowed, instead=error.instead
        ) from None
