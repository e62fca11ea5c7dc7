"""A mixed-integer programme, written column by column and row by row, and its solution.

`scipy.optimize.milp` solves it, which is HiGHS (Q. Huangfu and J. A. J. Hall, Mathematical
Programming Computation 2018;10(1):119-142). It is loaded when there is something to solve.
"""

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Row = dict[int, float]
"""How often each column counts."""
Numbers = NDArray[np.float64]

ROUNDING = 1e-7


@dataclass(frozen=True)
class Solution:
    """The value of each column (None: there is no solution, or none in the time), a number that no
    solution goes below, and whether it is as good as was asked for."""

    values: list[float] | None
    bound: float
    done: bool


@dataclass
class Programme:
    """Columns, each from 0 to the most that it may be, a whole number or not, with what it costs;
    rows of what holds between them. The sum of the costs is to be least."""

    costs: list[float] = field(default_factory=list)
    most: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: list[tuple[Row, float, float]] = field(default_factory=list)
    always: float = 0.0
    """What is paid in any case."""

    def column(self, cost: float, most: float, *, whole: bool = True) -> int:
        """Add a column; return its number."""
        self.costs.append(cost)
        self.most.append(most)
        self.whole.append(whole)
        return len(self.costs) - 1

    def at_least(self, row: Row, least: float) -> None:
        """Have the row come to so much or more."""
        self.rows.append((row, least, math.inf))

    def at_most(self, row: Row, most: float) -> None:
        """Have the row come to so much or less."""
        self.rows.append((row, -math.inf, most))

    def equal(self, row: Row, value: float) -> None:
        """Have the row come to that."""
        self.rows.append((row, value, value))

    def solve(self, seconds: float, within: float) -> Solution:
        """The least sum of costs to `within` a share of it, in so many seconds."""
        if not self.costs:
            return Solution([], self.always, done=True)
        # What is paid in any case is a column too, so that shares are of the whole.
        most = np.array([*self.most, 1.0])
        return self._solve(self._matrix(), most, seconds, within)

    def solve_near(self, seconds: float, within: float, near: float) -> Solution:
        """The same, looked for first among the columns that the programme without whole numbers
        takes, or would if each cost so much less (`near`, 0 or more). They are a small part of a
        large programme, and mostly enough: what comes of them is held against the bound of the
        whole programme, and that is solved only where it might do better."""
        if not self.costs:
            return Solution([], self.always, done=True)
        matrix, most = self._matrix(), np.array([*self.most, 1.0])
        bound, dearer = self._relaxed(matrix, most, seconds / 4)
        part = self._solve(matrix, np.where(dearer <= near, most, 0.0), seconds / 4, within)
        if part.values is not None and self._above(part.values, bound, within) <= 0:
            return Solution(part.values, bound, done=True)
        whole = self._solve(matrix, most, seconds / 2, within)
        bound = max(bound, whole.bound)
        both = [each.values for each in (part, whole) if each.values is not None]
        values = min(both, key=self._comes_to, default=None)
        return Solution(
            values, bound, done=values is not None and self._above(values, bound, within) <= 0
        )

    def _comes_to(self, values: list[float]) -> float:
        return float(np.dot(self.costs, values)) + self.always

    def _above(self, values: list[float], bound: float, within: float) -> float:
        """By how much values come to more than is near enough to a bound."""
        comes_to = self._comes_to(values)
        return comes_to - bound - max(within, ROUNDING) * max(1.0, abs(comes_to))

    def _matrix(self) -> "csr_array":
        from scipy.sparse import csr_array

        counts = [len(row) for row, _, _ in self.rows]
        return csr_array(
            (
                [value for row, _, _ in self.rows for value in row.values()],
                [column for row, _, _ in self.rows for column in row],
                np.cumsum([0, *counts]),
            ),
            shape=(len(self.rows), len(self.costs) + 1),
        )

    def _relaxed(self, matrix: "csr_array", most: Numbers, seconds: float) -> tuple[float, Numbers]:
        """What the programme without whole numbers comes to, and by how much each column is dearer
        than it would have to be to be taken; where that takes too long, no bound and 0 for all."""
        from scipy.optimize import linprog

        below = np.array([least for _, least, _ in self.rows])
        above = np.array([limit for _, _, limit in self.rows])
        side = np.where(np.isinf(above), -1.0, 1.0)
        one_sided = np.isinf(above) | np.isinf(below)
        rows = matrix.multiply(side[:, None]).tocsr()
        limits = np.where(np.isinf(above), -below, above)
        found = linprog(
            np.array([*self.costs, self.always]),
            A_ub=rows[one_sided],
            b_ub=limits[one_sided],
            A_eq=rows[~one_sided],
            b_eq=limits[~one_sided],
            bounds=np.column_stack([self._least(), most]),
            method="highs-ds",
            options={"time_limit": seconds},
        )
        if found.status != 0:
            return 0.0, np.zeros(len(most))
        return float(found.fun), np.asarray(found.lower.marginals)

    def _least(self) -> Numbers:
        low = np.zeros(len(self.costs) + 1)
        low[-1] = 1.0
        return low

    def _solve(self, matrix: "csr_array", most: Numbers, seconds: float, within: float) -> Solution:
        """With columns up to `most`; those of 0 are left out."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        (taken,) = np.nonzero(most)
        found = milp(
            np.array([*self.costs, self.always])[taken],
            integrality=np.array([*self.whole, False], dtype=int)[taken],
            bounds=Bounds(self._least()[taken], most[taken]),
            constraints=LinearConstraint(
                matrix[:, taken],
                [least for _, least, _ in self.rows],
                [limit for _, _, limit in self.rows],
            ),
            options={"time_limit": seconds, "mip_rel_gap": within},
        )
        values = None
        if found.x is not None:
            of_all = np.zeros(len(most))
            of_all[taken] = found.x
            values = [float(value) for value in of_all[:-1]]
        bound = found.mip_dual_bound
        return Solution(
            values,
            float(bound) if bound is not None and math.isfinite(bound) else 0.0,
            done=found.status == 0,
        )
