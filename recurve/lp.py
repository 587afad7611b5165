"""Small linear programmes, by HiGHS: a polytope that is asked for its extremes again and again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from recurve.mechanism import Array


@dataclass(frozen=True)
class Optimum:
    """Where a linear cost is least: `x` (n,) [SI], the cost's `value`, and the multipliers of the rows (m,) and of the
    bounds (n,): how the value would change with each, 0 where one is not felt."""

    x: Array
    value: float
    rows: Array
    bounds: Array


class Polytope:
    """All x with left · x ≤ right, low ≤ x ≤ high; left (m, n), right (m,), low and high (n,), ±inf for none.

    The solver starts each time from where it ended last, which makes many costs on one polytope cheap.
    """

    def __init__(self, left: Array, right: Array, low: Array, high: Array) -> None:
        import highspy

        rows, columns = left.shape
        model = highspy.HighsLp()
        model.num_col_, model.num_row_ = columns, rows
        model.col_cost_ = np.zeros(columns)
        model.col_lower_, model.col_upper_ = np.asarray(low, float), np.asarray(high, float)
        model.row_lower_, model.row_upper_ = np.full(rows, -np.inf), np.asarray(right, float)
        model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        model.a_matrix_.start_ = np.arange(0, rows * columns + 1, columns, dtype=np.int32)
        model.a_matrix_.index_ = np.tile(np.arange(columns, dtype=np.int32), rows)
        model.a_matrix_.value_ = np.ascontiguousarray(left, float).ravel()
        begin: Any = highspy.Highs  # typed in some releases, untyped in others
        self._solver = begin()
        self._solver.setOptionValue("output_flag", False)
        self._solver.setOptionValue("presolve", "off")
        self._solver.passModel(model)
        self._columns = np.arange(columns, dtype=np.int32)
        self._optimal = highspy.HighsModelStatus.kOptimal

    def least(self, cost: Array) -> Optimum | None:
        """Where cost (n,) · x [any] is least; None where the polytope is empty or the cost has no end in it."""
        self._solver.changeColsCost(len(self._columns), self._columns, np.asarray(cost, float))
        self._solver.run()
        if self._solver.getModelStatus() != self._optimal:
            return None
        found = self._solver.getSolution()
        x = np.array(found.col_value)
        return Optimum(x, float(np.dot(cost, x)), np.array(found.row_dual), np.array(found.col_dual))

    def inside(self) -> Array | None:
        """Some point (n,) [SI] of it, None where it is empty."""
        found = self.least(np.zeros(len(self._columns)))
        return None if found is None else found.x
