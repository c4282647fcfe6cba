"""Random AND/OR jobs of any size, for the tests and the benchmark of plans."""

from __future__ import annotations

import random

from beltside.teardown.problem import Problem, mask_of


def random_problem(seed: int, size: int, *, circles: bool = False, waits: float = 0.0) -> Problem:
    """A random AND/OR problem: up to two clauses a step, up to three rows, up to three steps."""
    rng = random.Random(seed)
    clauses = []
    for step in range(size):
        pool = [s for s in range(size) if s != step] if circles else list(range(step))[-12:]
        own = []
        if pool and not (circles and step < size // 6):
            for _ in range(rng.choice((0, 1, 1, 2))):
                rows = rng.choice((1, 2, 2, 3))
                own.append(
                    tuple(
                        mask_of(rng.sample(pool, min(len(pool), rng.randint(1, 3))))
                        for _ in range(rows)
                    )
                )
        clauses.append(tuple(own))
    both = []
    for _ in range(2):
        held = [0] * size
        for step in range(size):
            if rng.random() < waits:
                held[step] |= (1 << rng.randrange(size)) & ~(1 << step)
        both.append(tuple(held))
    return Problem(
        costs=tuple(rng.randint(1, 600) for _ in range(size)),
        clauses=tuple(clauses),
        waits=tuple(both),
        targets=mask_of(rng.sample(range(size // 2, size), rng.choice((1, 2, 3)))),
    )
