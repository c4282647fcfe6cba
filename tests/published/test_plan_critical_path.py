"""Critical paths: worked examples of textbooks, and networkx on random networks.

Method: Kelley and Walker 1959, Proceedings of the Eastern Joint Computer Conference, 160-173.
"""

import random

import networkx as nx
import pytest

from beltside.base.errors import InputError
from beltside.teardown.model import Job, Repair, Thing
from beltside.teardown.network import critical_chain
from beltside.teardown.plan import plan
from beltside.teardown.times import Minutes

RELIABLE = {
    "A": (2, ""), "B": (4, "A"), "C": (10, "B"), "D": (6, "C"), "E": (4, "C"), "F": (5, "E"),
    "G": (7, "D"), "H": (9, "EG"), "I": (7, "C"), "J": (8, "FI"), "K": (4, "J"), "L": (5, "J"),
    "M": (2, "H"), "N": (6, "KL"),
}  # fmt: skip
FOUNDRY = {
    "A": (2, ""), "B": (3, ""), "C": (2, "A"), "D": (4, "B"), "E": (4, "C"), "F": (3, "C"),
    "G": (5, "DE"), "H": (2, "FG"),
}  # fmt: skip


def worked(project):
    return critical_chain(
        {name: float(weeks) for name, (weeks, _) in project.items()},
        {name: tuple(before) for name, (_, before) in project.items()},
    )


def test_the_reliable_construction_company() -> None:
    # Hillier and Lieberman 2001, Introduction to Operations Research, 7th ed., chapter on PERT/CPM
    # (from memory): 44 weeks along A-B-C-E-F-J-L-N; slack of D 4, G 4, H 4, M 4, I 2, K 1.
    found = worked(RELIABLE)
    assert found.length == 44.0
    assert "".join(found.chain) == "ABCEFJLN"
    slack = {name: timing.slack for name, timing in found.timings.items() if timing.slack}
    assert slack == {"D": 4.0, "G": 4.0, "H": 4.0, "M": 4.0, "I": 2.0, "K": 1.0}


def test_the_general_foundry() -> None:
    # Render, Stair and Hanna 2003, Quantitative Analysis for Management, 8th ed., chapter on
    # project management (from memory): 15 weeks along A-C-E-G-H; slack of B 1, D 1, F 6.
    found = worked(FOUNDRY)
    assert found.length == 15.0
    assert "".join(found.chain) == "ACEGH"
    slack = {name: timing.slack for name, timing in found.timings.items() if timing.slack}
    assert slack == {"B": 1.0, "D": 1.0, "F": 6.0}
    assert (found.timings["G"].early_start, found.timings["G"].late_finish) == (8.0, 13.0)


def network(seed: int, size: int) -> nx.DiGraph:
    rng = random.Random(seed)
    graph = nx.DiGraph()
    for node in range(size):
        graph.add_node(f"n{node}", weight=float(rng.randint(1, 30)))
        for other in range(max(0, node - 8), node):
            if rng.random() < 0.25:
                graph.add_edge(f"n{other}", f"n{node}")
    return graph


@pytest.mark.parametrize("seed", range(12))
def test_length_as_networkx_has_it(seed: int) -> None:
    # Longest path of networkx (Hagberg, Schult and Swart 2008) on random networks.
    graph = network(seed, 40)
    durations = nx.get_node_attributes(graph, "weight")
    arcs = nx.DiGraph()
    arcs.add_weighted_edges_from(("start", name, durations[name]) for name in graph)
    arcs.add_weighted_edges_from((u, v, durations[v]) for u, v in graph.edges)
    longest = nx.dag_longest_path_length(arcs)
    found = critical_chain(durations, {name: tuple(graph.predecessors(name)) for name in graph})
    assert found.length == pytest.approx(longest)
    assert sum(durations[name] for name in found.chain) == pytest.approx(longest)
    assert nx.is_path(graph, found.chain)


@pytest.mark.parametrize("seed", range(12))
def test_a_job_without_choices_takes_what_lies_before_its_target(seed: int) -> None:
    # Ancestors and longest path of networkx (Hagberg, Schult and Swart 2008).
    graph = network(seed, 30)
    things = tuple(
        Thing(
            name,
            off=Minutes(weight, weight, weight),
            reach=tuple(((before,),) for before in graph.predecessors(name)),
        )
        for name, weight in nx.get_node_attributes(graph, "weight").items()
    )
    job = Job("a job", things, (Repair("it", "it", ("n29",)),), ("it",))
    found = plan(job)
    wanted = nx.ancestors(graph, "n29") | {"n29"}
    assert set(found.way.things) == wanted
    weight = nx.get_node_attributes(graph, "weight")
    assert found.way.expected_min == pytest.approx(sum(weight[name] for name in wanted))
    part = graph.subgraph(wanted)
    arcs = nx.DiGraph()
    arcs.add_weighted_edges_from(("start", name, weight[name]) for name in part)
    arcs.add_weighted_edges_from((u, v, weight[v]) for u, v in part.edges)
    assert found.network.length == pytest.approx(nx.dag_longest_path_length(arcs))
    order = [step.thing for step in found.steps]
    assert all(order.index(u) < order.index(v) for u, v in part.edges)


def test_a_circle_is_named_as_networkx_finds_it() -> None:
    # find_cycle of networkx (Hagberg, Schult and Swart 2008).
    waits = {"a": ("b",), "b": ("c",), "c": ("a",), "d": ("a",)}
    graph = nx.DiGraph((before, name) for name, own in waits.items() for before in own)
    assert {name for edge in nx.find_cycle(graph) for name in edge} == {"a", "b", "c"}
    with pytest.raises(InputError, match="a waits for b waits for c waits for a"):
        critical_chain(dict.fromkeys("abcd", 1.0), waits)
