"""Small invented catalogues and boards for the tests of the suspects room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from beltside.suspects.board import Board, board_for
from beltside.suspects.catalogue import Catalogue
from beltside.suspects.catalogue_table import parse_catalogue
from beltside.suspects.costs import Costs, parse_costs

SUSPECTS = (
    "belt.slip",
    "belt.misalignment",
    "belt.damage",
    "timing-chain.rattle",
    "valve-train.tick",
    "vacuum-leak.hiss",
    "exhaust-leak.tick",
    "engine.knock",
)


def table(
    weights: Sequence[float],
    rows: Mapping[str, Sequence[Sequence[float]]],
    *,
    none: float = 1e-3,
    other: float = 1e-3,
    minutes: Mapping[str, float] | None = None,
    belt: Mapping[str, str] | None = None,
    engine: Mapping[str, str] | None = None,
    alike: Mapping[str, Any] | None = None,
    repeat_share: float = 0.0,
    pairs: Mapping[str, float] | None = None,
    open_minutes: float = 8.0,
    close_minutes: float = 7.0,
) -> dict[str, Any]:
    """A catalogue as read from TOML: suspects of `SUSPECTS` by weight, then none and other.

    `rows` gives each check one row of outcome probabilities per suspect, none and other last.
    """
    ids = [*SUSPECTS[: len(weights)], "none", "other"]
    checks = {}
    for name, likely in rows.items():
        words = [f"o{number}" for number in range(len(likely[0]))]
        each = {
            suspect: dict(zip(words, map(float, row), strict=True))
            for suspect, row in zip(ids, likely, strict=True)
        }
        checks[name] = {
            "name": name,
            "how": "do it",
            "minutes": (minutes or {}).get(name, 2.0),
            "engine": (engine or {}).get(name, "off"),
            "belt": (belt or {}).get(name, "either"),
            "hazard": "Engine off.",
            "outcomes": {word: {"says": word} for word in words},
            "likely": {**each, "otherwise": each["other"]},
        }
    return {
        "version": 1,
        "repeat_share": repeat_share,
        "access": {
            "belt-off": {
                "says": "the belt is off",
                "open_minutes": open_minutes,
                "close_minutes": close_minutes,
            }
        },
        "condition": {
            "engine-cold": {"says": "it is cold", "assumed": True, "ends_with_running": True}
        },
        "suspect": {
            name: {
                "name": name.replace(".", " "),
                "needs": "engine",
                "weight": weight,
                "belt_driven": False,
                "sounds": "a sound",
                "replace": "a part",
            }
            for name, weight in zip(ids, [*weights, none, other], strict=True)
        },
        "pair": {
            name: {"name": name, "weight": weight, "sounds": "a sound", "replace": "two parts"}
            for name, weight in (pairs or {}).items()
        },
        "alike": dict(alike or {}),
        "check": checks,
    }


def small_board(*args: Any, **keys: Any) -> tuple[Catalogue, Board]:
    """Catalogue and board of a car without pulleys, from what `table` takes."""
    catalogue = parse_catalogue(table(*args, **keys))
    return catalogue, board_for(catalogue, [])


def small_costs(
    catalogue: Catalogue,
    waste: Sequence[float],
    *,
    hand_over: float = 1e5,
    comeback: float = 1e5,
    labour_per_hour: float = 60.0,
) -> Costs:
    """Costs where a wrong repair of each suspect loses `waste`, and time is 1 a minute."""
    kinds = [suspect.id for suspect in catalogue.suspects if suspect.fault]
    return parse_costs(
        {
            "version": 1,
            "currency": "EUR",
            "labour_per_hour": labour_per_hour,
            "waiting_per_hour": 0.0,
            "wrong_part": 0.0,
            "comeback": comeback,
            "hand_over": hand_over,
            "listen_again_minutes": 0.0,
            "repair": {
                f"repair-{number}": {
                    "name": f"repair {kind}",
                    "cures": [kind],
                    "money": float(money),
                    "minutes": 0.0,
                    "access": [],
                }
                for number, (kind, money) in enumerate(zip(kinds, waste, strict=True))
            },
        },
        catalogue,
    )


def random_rows(rng: np.random.Generator, suspects: int, outcomes: int) -> list[list[float]]:
    """One row of outcome probabilities per suspect, none below 0.01."""
    rows = rng.dirichlet(np.ones(outcomes), suspects)
    rows = 0.01 + (1.0 - 0.01 * outcomes) * rows
    rows /= rows.sum(axis=1, keepdims=True)
    return [[float(value) for value in row] for row in rows]
