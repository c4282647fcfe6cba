"""The tables that ship with Beltside, read once."""

from __future__ import annotations

import json
import tomllib
from functools import cache
from importlib.resources import files
from typing import Any

from beltside.drive.bearing_table import BearingTable, parse_bearing_table
from beltside.sound.fingerprint import Nuisance, parse_nuisance
from beltside.suspects.catalogue import Catalogue
from beltside.suspects.catalogue_table import parse_catalogue
from beltside.suspects.costs import Costs, parse_costs
from beltside.suspects.sound_model import SoundModel, parse_sound_model


@cache
def bearing_table() -> BearingTable:
    """Bearings by number (drive/bearings.toml)."""
    return parse_bearing_table(_toml("beltside.drive", "bearings.toml"))


@cache
def catalogue() -> Catalogue:
    """Suspects and checks (suspects/catalogue.toml and suspects/checks.toml)."""
    return parse_catalogue(catalogue_table())


@cache
def catalogue_table() -> dict[str, Any]:
    """The catalogue as plain values, for own entries to be laid over."""
    return {
        **_toml("beltside.suspects", "catalogue.toml"),
        **_toml("beltside.suspects", "checks.toml"),
    }


@cache
def costs_table() -> dict[str, Any]:
    """The costs as plain values, for own figures to be laid over (suspects/costs.toml)."""
    return _toml("beltside.suspects", "costs.toml")


@cache
def costs() -> Costs:
    """What time, parts and mistakes cost (suspects/costs.toml)."""
    return parse_costs(costs_table(), catalogue())


@cache
def sound_model() -> SoundModel:
    """What the sound says of each fault (suspects/sound_model.toml, from `make calibrate`)."""
    return parse_sound_model(_toml("beltside.suspects", "sound_model.toml"))


@cache
def fingerprint_nuisance() -> Nuisance:
    """What to leave out when takes are compared (sound/fingerprint_nuisance.json, from
    scripts/fit_fingerprint.py)."""
    file = files("beltside.sound") / "fingerprint_nuisance.json"
    return parse_nuisance(json.loads(file.read_text(encoding="utf-8")))


def _toml(package: str, name: str) -> dict[str, Any]:
    return tomllib.loads((files(package) / name).read_text(encoding="utf-8"))
