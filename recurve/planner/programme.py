"""Linear programmes: springs free of any catalogue that reach a margin, one interval of take-up at a time.

With rates and pulls at rest all free, the band edges are linear in these four numbers for each interval of take-up, so
the springs that reach a margin are a union of polytopes. HiGHS finds their extremes. The numbers are scaled: rates in
N/mm, pulls in N, moments in mN·m.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from recurve.arrays import Array
from recurve.planner.linear import Edges, Rows, edges_at, intervals, rows_at
from recurve.planner.problem import Problem, SpringBounds

SNAP_ROWS = 12  # advances at which a snap is forbidden


@dataclass(frozen=True)
class Optimum:
    """Where a linear cost is least: `x` (n,) and the cost's `value` [any], and the multipliers of the rows (m,) and of
    the bounds (n,): the change of `value` with each, 0 if inactive."""

    x: Array
    value: float
    rows: Array
    bounds: Array


class Polytope:
    """All x with left · x ≤ right and low ≤ x ≤ high; left (m, n), right (m,), low and high (n,), ±inf for no bound.

    The solver starts each time from its last solution, so many costs on one polytope are cheap.
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
        """The point of least cost (n,) · x [any]; None if the polytope is empty or the cost is unbounded in it."""
        self._solver.changeColsCost(len(self._columns), self._columns, np.asarray(cost, float))
        self._solver.run()
        if self._solver.getModelStatus() != self._optimal:
            return None
        found = self._solver.getSolution()
        x = np.array(found.col_value)
        return Optimum(x, float(np.dot(cost, x)), np.array(found.row_dual), np.array(found.col_dual))

    def lowest(self, cost: Array) -> Array | None:
        """The coordinates (n,) [any] of `least`."""
        found = self.least(cost)
        return None if found is None else found.x

    def inside(self) -> Array | None:
        """Some point (n,) [any] of it, None if it is empty."""
        return self.lowest(np.zeros(len(self._columns)))

    def range_of(self, column: int) -> tuple[float, float] | None:
        """Least and greatest value [any] of one coordinate, both attained; None if empty or unbounded."""
        unit = np.eye(len(self._columns))[column]
        least, most = self.least(unit), self.least(-unit)
        return None if least is None or most is None else (least.value, -most.value)


@dataclass(frozen=True)
class Programme:
    """Springs that reach a margin with a take-up of the secondary within `span` [rad]: left · x ≤ right with bounds on
    x = (u, k) or (u, k, v, K), pulls at rest [N] and rates [N/mm]; the first `edges` rows are band edges."""

    left: Array
    right: Array
    bounds: list[tuple[float, float]]
    span: tuple[float, float]
    edges: int

    @cached_property
    def polytope(self) -> Polytope:
        """The springs allowed, ready for queries."""
        low, high = np.array(self.bounds, float).T
        return Polytope(self.left, self.right, low, high)

    def fixed(self, column: int, value: float) -> Polytope:
        """The springs allowed with one number fixed [N, N/mm]."""
        low, high = np.array(self.bounds, float).T
        low[column] = high[column] = value
        return Polytope(self.left, self.right, low, high)


def programmes(problem: Problem, bounds: SpringBounds, margin: float) -> list[Programme]:
    """One programme at `margin` [1] for each interval of take-up between neighbouring edges."""
    edges = edges_at(problem, margin)
    if edges is None:
        return []
    rows = rows_at(problem, edges, SNAP_ROWS)
    spans = [(0.0, edges.stop)] if len(problem.posts) == 1 else intervals(rows.at[: rows.edges], edges.stop)
    made = [_programme(problem, bounds, edges, rows, span) for span in spans]
    return [p for p in made if p is not None]


def _programme(
    problem: Problem, bounds: SpringBounds, edges: Edges, rows: Rows, span: tuple[float, float]
) -> Programme | None:
    past = rows.at >= span[1] - 1e-12
    # Whether a no-snap row inside the interval sees the secondary is not known: it is left to the exact curve.
    inside = (rows.at > span[0] + 1e-12) & (rows.at < span[1] - 1e-12) & (len(problem.posts) == 2)
    kept = ~inside | (np.arange(len(rows.at)) < rows.edges)
    rates = [(low * 1e-3, high * 1e-3) for low, high in bounds.rates]
    columns = [rows.a, rows.b * 1e3]
    limits = [bounds.pull, rates[0]]
    if len(problem.posts) == 2:
        columns += [past * rows.c, past * rows.d * 1e3]
        limits += [(-np.inf, bounds.pull[1]), rates[1]]
    left, right = -np.stack(columns, axis=1)[kept] * 1e3, -rows.r[kept] * 1e3
    if len(problem.posts) == 2:
        more = _takeup_rows(problem, bounds, edges, span)
        if more is None:
            return None
        left, right = np.concatenate([left, more[0]]), np.concatenate([right, more[1]])
    return Programme(left, right, limits, span, rows.edges)


def _takeup_rows(
    problem: Problem, bounds: SpringBounds, edges: Edges, span: tuple[float, float]
) -> tuple[Array, Array] | None:
    """The secondary takes up within `span`: v + K·(L(end) − L(0)) ≥ 0, and at the beginning its pull is at most the
    greatest initial tension."""
    length = problem.posts[1].length(np.array([0.0, *np.minimum(span, edges.stop)]))[0]
    begin, end = length[1] - length[0], length[2] - length[0]
    never = span[0] >= edges.stop - 1e-9
    # More slack than the bound is not usual in this trade, unless the spring never takes up at all.
    if begin > bounds.slack and not never:
        return None
    reach = max(begin, bounds.slack) if never else min(end, bounds.slack)
    # What pulls from rest is drawn by its posts, and needs no initial tension for its pull.
    most = bounds.pull[1] if begin == 0.0 or bounds.tension is None else bounds.tension
    return np.array([[0.0, 0.0, 1.0, begin * 1e3], [0.0, 0.0, -1.0, -reach * 1e3]]), np.array([most, 0.0])
