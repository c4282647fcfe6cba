"""Made-up catalogues for the bench of the odds: any number of suspects and checks."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np

from beltside.base.words import FAULTS
from beltside.suspects.board import Board, board_for
from beltside.suspects.catalogue import Catalogue, CheckDone
from beltside.suspects.catalogue_table import parse_catalogue
from beltside.suspects.costs import Costs, parse_costs

_PARTS = ("belt", "timing-chain", "valve-train", "engine")
NAMES = [f"{part}.{fault}" for part, fault in product(_PARTS, FAULTS)]


def _table(
    rng: np.random.Generator, suspects: int, checks: int, outcomes: int, evenness: float
) -> dict[str, Any]:
    ids = [*NAMES[: suspects - 2], "none", "other"]
    weights = rng.uniform(1.0, 9.0, suspects)
    table: dict[str, Any] = {
        "version": 1,
        "suspect": {
            name: {
                "name": name.replace(".", " "),
                "needs": "engine",
                "weight": float(weight),
                "belt_driven": False,
                "sounds": "a sound",
                "replace": "a part",
            }
            for name, weight in zip(ids, weights, strict=True)
        },
        "check": {},
    }
    for number in range(checks):
        count = int(rng.integers(2, outcomes + 1))
        words = [f"o{outcome}" for outcome in range(count)]
        rows = 0.01 + (1.0 - 0.01 * count) * rng.dirichlet(np.full(count, evenness), suspects)
        rows /= rows.sum(axis=1, keepdims=True)
        likely = {
            name: dict(zip(words, map(float, row), strict=True))
            for name, row in zip(ids, rows, strict=True)
        }
        table["check"][f"check-{number}"] = {
            "name": f"check {number}",
            "how": "do it",
            "minutes": float(rng.uniform(1.0, 15.0)),
            "engine": "off",
            "belt": "either",
            "hazard": "Engine off.",
            "outcomes": {word: {"says": word} for word in words},
            "likely": {**likely, "otherwise": likely["other"]},
        }
    return table


def _costs(rng: np.random.Generator, made: Catalogue) -> Costs:
    kinds = [suspect.id for suspect in made.suspects if suspect.fault]
    return parse_costs(
        {
            "version": 1,
            "currency": "EUR",
            "labour_per_hour": 75.0,
            "waiting_per_hour": 0.0,
            "wrong_part": 40.0,
            "comeback": 120.0,
            "hand_over": 420.0,
            "listen_again_minutes": 4.0,
            "repair": {
                f"repair-{number}": {
                    "name": f"repair {kind}",
                    "cures": [kind],
                    "money": float(rng.uniform(20.0, 400.0)),
                    "minutes": float(rng.uniform(10.0, 150.0)),
                    "access": [],
                }
                for number, kind in enumerate(kinds)
            },
        },
        made,
    )


def made_board(
    rng: np.random.Generator, suspects: int, checks: int
) -> tuple[Catalogue, Costs, Board, list[CheckDone]]:
    """A car of this size with one finding for every check."""
    made = parse_catalogue(_table(rng, suspects, checks, 4, 2.0))
    board = board_for(made, [])
    found = [
        CheckDone(check, part, check.outcomes[int(rng.integers(len(check.outcomes)))])
        for check, part in board.places
    ]
    return made, _costs(rng, made), board, found


def made_small(
    rng: np.random.Generator, suspects: int, checks: int
) -> tuple[Catalogue, Costs, Board]:
    """A small car: suspects with none and other, checks of two outcomes that tell much."""
    made = parse_catalogue(_table(rng, suspects + 2, checks, 2, 0.4))
    return made, _costs(rng, made), board_for(made, [])
