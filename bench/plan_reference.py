"""The same problem given to OR-tools CP-SAT: what the plans are checked against."""

from __future__ import annotations

from ortools.sat.python import cp_model

from beltside.teardown.problem import Problem, members


def least_cost(problem: Problem, seconds: float = 120.0) -> int | None:
    """Least cost of `problem` as CP-SAT proves it; None when it proves that there is no solution.

    Own model: a variable for each step and for each row relied on, and for each direction of work
    a place in the order.
    """
    model = cp_model.CpModel()
    size = problem.size
    taken = [model.new_bool_var(f"step {step}") for step in range(size)]
    for step in members(problem.targets):
        model.add(taken[step] == 1)
    for step in members(problem.out):
        model.add(taken[step] == 0)
    for waits in problem.waits:
        place = [model.new_int_var(0, size, "") for _ in range(size)]
        for step in range(size):
            for other in members(waits[step]):
                model.add(place[step] > place[other]).only_enforce_if(taken[step], taken[other])
            for rows in problem.clauses[step]:
                relied = []
                for row in rows:
                    one = model.new_bool_var("")
                    relied.append(one)
                    for other in members(row):
                        model.add_implication(one, taken[other])
                        model.add(place[step] > place[other]).only_enforce_if(one)
                model.add_bool_or([*relied, taken[step].negated()])
    model.minimize(sum(cost * one for cost, one in zip(problem.costs, taken, strict=True)))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return None
    if status != cp_model.OPTIMAL:
        raise RuntimeError(f"CP-SAT gave up after {seconds:g} s")
    return round(solver.objective_value)
