"""Tightening order: how long the search takes, and how it compares with the star rule.

The reference is the star rule (ASME PCC-1-2019 for 4, 8, 12, ... bolts), once as it is done, from
the first hole, and once from whichever start and way round is best for it. Both are judged by
the same elastic model: peak-to-mean gasket load after every turn of the wrench. A third look
lets each tightened bolt take load off its neighbours, which the search leaves out.

usage: python bench/bolt_order.py [--flanges 60] [--seed 9001]
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from beltside.bolting.evenness import elastic_joint, peak_to_mean
from beltside.bolting.flange import Flange, Hole
from beltside.bolting.order import HAND_TIGHT, STAGES, TighteningOrder, tightening_order
from beltside.bolting.tightening import bolt_spring_n_mm, turn_bolt
from figures import Figure, table

TIE = 1e-9
SIZES = range(5, 17)
PCC_1 = {
    4: "1 3 2 4",
    8: "1 5 3 7 2 6 4 8",
    12: "1 7 4 10 2 8 5 11 3 9 6 12",
}


def circle(bolts: int, radius_mm: float) -> Flange:
    """Bolts evenly on a circle, clockwise from the top."""
    angle = 2.0 * np.pi * np.arange(bolts) / bolts
    return _flange(radius_mm * np.sin(angle), radius_mm * np.cos(angle))


def odd_outline(rng: np.random.Generator, bolts: int) -> Flange:
    """Bolts on an uneven outline: angles off by up to 0.3 of a step, radius 30 to 65 mm."""
    angle = 2.0 * np.pi * (np.arange(bolts) + rng.uniform(-0.3, 0.3, bolts)) / bolts
    radius_mm = rng.uniform(30.0, 65.0, bolts) * max(1.0, bolts / 8.0)
    return _flange(radius_mm * np.sin(angle), radius_mm * np.cos(angle))


def _flange(x_mm: np.ndarray, y_mm: np.ndarray) -> Flange:
    return Flange(
        tuple(
            Hole(float(x), float(y), str(number))
            for number, (x, y) in enumerate(zip(x_mm, y_mm, strict=True), start=1)
        )
    )


def with_interaction(flange: Flange, order: tuple[int, ...]) -> tuple[float, float]:
    """Worst and average peak-to-mean when each bolt tightened takes load off the others."""
    joint = elastic_joint(flange)
    spring = np.full(joint.bolts, bolt_spring_n_mm(20.1, 25.0))
    force = np.full(joint.bolts, HAND_TIGHT)
    steps = []
    for share in STAGES:
        for bolt in order:
            force = turn_bolt(joint.sink, spring, force, bolt, share)
            steps.append(peak_to_mean(joint, force))
    return max(steps), float(np.mean(steps))


def measure(flanges: int = 60, seed: int = 9001) -> list[Figure]:
    """All figures; `flanges` odd outlines over 5 to 16 bolts."""
    rng = np.random.default_rng(seed)
    same = sum(
        " ".join(str(bolt + 1) for bolt in tightening_order(circle(bolts, 60.0)).order) == printed
        for bolts, printed in PCC_1.items()
    )
    odd = [odd_outline(rng, bolts) for _ in range(max(1, flanges // len(SIZES))) for bolts in SIZES]
    found: list[TighteningOrder] = []
    seconds: list[float] = []
    for flange in (*odd, circle(16, 100.0)):
        start = time.perf_counter()
        one = tightening_order(flange)
        seconds.append(time.perf_counter() - start)
        found.append(one)
    found = found[:-1]
    worst = np.array([one.evenness.worst / one.star_evenness.worst for one in found])
    average = np.array([one.evenness.average / one.star_evenness.average for one in found])
    best = np.array(
        [
            (
                one.evenness.worst / one.best_star_evenness.worst,
                one.evenness.average / one.best_star_evenness.average,
            )
            for one in found
        ]
    )
    behind = (worst > 1.0 + TIE) | (average > 1.0 + TIE)
    better = ~behind & ((worst < 1.0 - TIE) | (average < 1.0 - TIE))
    behind_best = (best > 1.0 + TIE).all(axis=1)
    better_best = (best <= 1.0 + TIE).all(axis=1) & (best < 1.0 - TIE).any(axis=1)
    moved = np.array(
        [
            np.divide(with_interaction(flange, one.order), with_interaction(flange, one.star))
            for flange, one in zip(odd, found, strict=True)
        ]
    )
    pump = _flange(np.array([-42.0, 18, 52, 21, -35]), np.array([31.0, 47, 8, -38, -20]))
    of_pump = tightening_order(pump)
    count = f"{len(odd)} odd outlines of 5 to 16 bolts"
    return [
        Figure("published orders given (4, 8, 12 on a circle)", same / 3, "%", 1.0, True),
        Figure("slowest search, 5 to 16 bolts", max(seconds), "s", 1.0, note=count),
        Figure("median search", float(np.median(seconds)), "s"),
        Figure("behind the star rule, worst or average", float(behind.mean()), "%", 0.0),
        Figure(
            "strictly better than the star rule",
            float(better.mean()),
            "%",
            1.0,
            True,
            note="where it is not, the star rule is itself the best of all orders",
        ),
        Figure("worst peak-to-mean over the star rule's", float(worst.mean()), "times"),
        Figure("average peak-to-mean over the star rule's", float(average.mean()), "times"),
        Figure("behind the star's best start in both", float(behind_best.mean()), "%", 0.0),
        Figure("better than the star's best start", float(better_best.mean()), "%"),
        Figure("average over that of the star's best start", float(best[:, 1].mean()), "times"),
        Figure(
            "five-hole pump: worst over the star rule's",
            of_pump.evenness.worst / of_pump.star_evenness.worst,
            "times",
            note=f"{of_pump.evenness.worst:.3f} against {of_pump.star_evenness.worst:.3f}",
        ),
        Figure(
            "five-hole pump: average over the star rule's",
            of_pump.evenness.average / of_pump.star_evenness.average,
            "times",
            note=f"{of_pump.evenness.average:.3f} against {of_pump.star_evenness.average:.3f}",
        ),
        Figure(
            "with bolts taking load off each other: worst",
            float(moved[:, 0].mean()),
            "times",
            note=f"better on {100 * float((moved[:, 0] < 1).mean()):.0f} %",
        ),
        Figure(
            "with bolts taking load off each other: average",
            float(moved[:, 1].mean()),
            "times",
            note=f"better on {100 * float((moved[:, 1] < 1).mean()):.0f} %",
        ),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--flanges", type=int, default=60)
    parser.add_argument("--seed", type=int, default=9001)
    arguments = parser.parse_args()
    print(table(measure(arguments.flanges, arguments.seed)))


if __name__ == "__main__":
    main()
