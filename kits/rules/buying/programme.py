"""A mixed-integer programme, written column by column and row by row, and its solution.

`scipy.optimize.milp` solves it, which is HiGHS (Q. Huangfu and J. A. J. Hall, Mathematical
Programming Computation 2018;10(1):119-142). It is loaded when there is something to solve.
"""

import math
from dataclasses import dataclass, field

Row = dict[int, float]
"""How often each column counts."""


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
        import numpy as np
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        # What is paid in any case is a column too, so that shares are of the whole.
        costs = np.array([*self.costs, self.always])
        low = np.zeros(len(costs))
        low[-1] = 1.0
        counts = [len(row) for row, _, _ in self.rows]
        matrix = csr_array(
            (
                [value for row, _, _ in self.rows for value in row.values()],
                [column for row, _, _ in self.rows for column in row],
                np.cumsum([0, *counts]),
            ),
            shape=(len(self.rows), len(costs)),
        )
        found = milp(
            costs,
            integrality=np.array([*self.whole, False], dtype=int),
            bounds=Bounds(low, np.array([*self.most, 1.0])),
            constraints=LinearConstraint(
                matrix, [least for _, least, _ in self.rows], [most for _, _, most in self.rows]
            ),
            options={"time_limit": seconds, "mip_rel_gap": within},
        )
        bound = found.mip_dual_bound
        return Solution(
            None if found.x is None else [float(value) for value in found.x[:-1]],
            float(bound) if bound is not None and math.isfinite(bound) else 0.0,
            done=found.status == 0,
        )
