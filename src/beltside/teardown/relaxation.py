"""The linear relaxation of a plan, kept between questions so that each starts from the last.

HiGHS (Huangfu and Hall 2018, Mathematical Programming Computation 10, 119-142) through highspy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import highspy
import numpy as np
import numpy.typing as npt

Terms = tuple[tuple[int, float], ...]
"""Pairs of a variable and its factor."""


@dataclass(frozen=True)
class Row:
    """low <= sum of factor x variable <= high."""

    terms: Terms
    low: float
    high: float


class Relaxation:
    """Variables from 0 to 1, their costs, and rows that can be added to.

    Parameters
    ----------
    costs
        Cost of each variable, shape (variables,).
    """

    def __init__(self, costs: npt.NDArray[np.float64]) -> None:
        count = len(costs)
        self._solver = highspy.Highs()
        self._solver.setOptionValue("output_flag", False)
        # One thread: the same question gets the same answer on every computer.
        self._solver.setOptionValue("threads", 1)
        self._solver.addVars(count, np.zeros(count), np.ones(count))
        self._solver.changeColsCost(count, np.arange(count, dtype=np.int32), costs)

    def add(self, rows: Sequence[Row]) -> None:
        """More rows."""
        if not rows:
            return
        lengths = [len(row.terms) for row in rows]
        starts = np.concatenate([[0], np.cumsum(lengths)[:-1]]).astype(np.int32)
        columns = np.array([one for row in rows for one, _ in row.terms], dtype=np.int32)
        factors = np.array([factor for row in rows for _, factor in row.terms], dtype=np.float64)
        self._solver.addRows(
            len(rows),
            np.array([max(row.low, -highspy.kHighsInf) for row in rows]),
            np.array([min(row.high, highspy.kHighsInf) for row in rows]),
            len(columns),
            starts,
            columns,
            factors,
        )

    def least(
        self,
        variables: npt.NDArray[np.int32],
        low: npt.NDArray[np.float64],
        high: npt.NDArray[np.float64],
    ) -> tuple[float, npt.NDArray[np.float64]] | None:
        """The least cost and the values of all variables with these limits on some of them.

        None when there is no solution.
        """
        self._solver.changeColsBounds(len(variables), variables, low, high)
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        values = np.array(self._solver.getSolution().col_value)
        return float(self._solver.getInfo().objective_function_value), values
