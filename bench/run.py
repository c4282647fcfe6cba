"""Everything `make bench` measures, one table at the end.

usage: python bench/run.py [--cases 50] [--rounds 10] [--seed 9001] [--repeats 3]
"""

from __future__ import annotations

import argparse
import sys
import time

import accuracy
import alike
import belt_path
import bolt_order
import compare
import first_page
import hold_test
import ingest
import loudness
import odds
import pages
import photo
import proof
import record
import recorded
import speed
import teardown
import where
from figures import Figure, table


def run(cases: int, rounds: int, seed: int, repeats: int) -> list[tuple[str, list[Figure]]]:
    """Speed first, while the machine is otherwise idle; then accuracy."""
    groups = [("speed and memory", speed.measure(repeats))]
    groups.append(("first page", first_page.measure()))
    print(table([one for _, figures in groups for one in figures]), flush=True)
    groups.append(("hold test", hold_test.measure(2000, seed, repeats)))
    groups.append(("odds and next check", odds.measure(300, 12, seed, 20)))
    groups.append(("tightening order", bolt_order.measure(60, seed)))
    groups.append(("teardown", teardown.measure(300, 40)))
    groups.append(("pages, 20 phones at once", pages.measure()))
    groups.append(("recorded in the browser", recorded.measure()))
    groups.append(("the record, 10,000 jobs", record.measure(seed=seed)))
    groups.append(("takes kept and listened to", ingest.measure(40, 4.0, seed)))
    groups.append(("photos and hole match", photo.measure(40, 100, seed)))
    groups.append(("proof sheet", proof.measure()))
    groups.append(("belt path and strum", belt_path.measure(300, 60, seed)))
    groups.append(("direction, housing map", where.measure(16, 6, seed, 2)))
    groups.append(("fingerprint, 40 cars of each simulator", alike.measure(40, seed, 2)))
    groups.append(("loudness", loudness.measure(60.0, 5.0)))
    groups.append(("before and after, 20 pairs", compare.measure(20, 70_000)))
    for name in accuracy.SIMULATORS:
        groups.append(
            (
                f"accuracy on the {name}, {cases} cases, {rounds} whole rounds",
                accuracy.measure(name, cases, rounds, seed, 2),
            )
        )
    return groups


def summary(groups: list[tuple[str, list[Figure]]]) -> str:
    """One table over all groups, and how many targets are met."""
    figures = [one for _, group in groups for one in group]
    judged = [one for one in figures if one.met is not None]
    parts = [f"\n== {name} ==\n{table(group)}" for name, group in groups]
    missed = [one.name for one in judged if not one.met]
    parts.append(f"\n{len(judged) - len(missed)} of {len(judged)} targets met")
    if missed:
        parts.append("missed: " + "; ".join(missed))
    return "\n".join(parts)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=50, help="of each simulator")
    parser.add_argument("--rounds", type=int, default=10, help="whole rounds of each")
    parser.add_argument("--seed", type=int, default=9001)
    parser.add_argument("--repeats", type=int, default=3)
    arguments = parser.parse_args()
    started = time.monotonic()
    groups = run(
        arguments.cases,
        arguments.rounds,
        arguments.seed,
        arguments.repeats,
    )
    print(summary(groups))
    print(f"measured in {(time.monotonic() - started) / 60.0:.1f} min", file=sys.stderr)


if __name__ == "__main__":
    main()
