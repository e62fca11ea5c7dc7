"""Which units serve which lines of a kit list.

A unit counts once, and a line takes its own thing or what will do instead. So lines compete: the
one box of large dressings cannot fill both the large line and the small line it may stand in for.
Who gets it is decided by rank: first what the kit must never be below, must-have lines before
important before routine, then what it should carry, in the same order.

Claims (one unit wanted by one line) and units make a bipartite graph; the sets of claims that can
be met together are the independent sets of a transversal matroid, so meeting claims greedily by
rank with augmenting paths meets as many of the first rank as any way could, then as many of the
second, and so on. (J. Edmonds and D. R. Fulkerson, "Transversals and matroid partition", 1965.)
An augmenting path lets a line give up a unit it holds for another it can use as well; it never
leaves a line with fewer than it had. From that follows what readiness relies on: fewer units
never serve more claims of a rank and all above it.
"""

from collections import Counter, deque
from collections.abc import Callable, Mapping, Sequence
from operator import attrgetter

from gearroom.core.rules.grouping import grouped
from kits.rules.ledger.facts import Criticality, Line

Pool = tuple[int, str]
"""Units of one thing in one place, each as good as the next: (thing id, place)."""

BY_RANK = (Criticality.MUST_HAVE, Criticality.IMPORTANT, Criticality.ROUTINE)


class Allocation:
    """Units given to lines, and those still free.

    `held[i]` maps pools to the number of units that line `i` (by its position in `lines`) has from
    each. Change it by `add` and `meet` alone.
    """

    def __init__(self, lines: Sequence[Line]) -> None:
        self.lines = lines
        self.free: dict[Pool, int] = {}
        self.held: list[Counter[Pool]] = [Counter() for _ in lines]
        self._got = [0] * len(lines)
        self._pools: list[tuple[list[Pool], ...]] = [([], [], [], []) for _ in lines]
        self._claimants = grouped(
            (thing, i) for i, line in enumerate(lines) for thing in line.usable_things
        )

    def got(self, i: int) -> int:
        """Return how many units line `i` has."""
        return self._got[i]

    def add(self, supply: Mapping[Pool, int]) -> None:
        """Make more units free: counts above 0 by pool, of pools not added before."""
        for pool in sorted(supply):
            thing, place = pool
            self.free[pool] = supply[pool]
            for i in self._claimants.get(thing, ()):
                line = self.lines[i]
                likes = (0 if thing == line.thing.id else 2) + (place != line.section)
                self._pools[i][likes].append(pool)

    def meet_minimums(self) -> None:
        """Give each line up to its *never below*, lines of the first rank first."""
        for rank in BY_RANK:
            self._meet(rank, attrgetter("never_below"))

    def meet_all(self) -> None:
        """Give each line up to its *never below* by rank, then up to its *carry* by rank."""
        self.meet_minimums()
        for rank in BY_RANK:
            self._meet(rank, attrgetter("carry"))

    def _meet(self, rank: Criticality, wanted: Callable[[Line], int]) -> None:
        """Give the lines of a rank up to what is wanted: a line's own thing from its own section
        before others', its own thing before what will do instead; what that leaves wanting is
        found by augmenting paths."""
        short = {
            i: lacking
            for i, (line, got) in enumerate(zip(self.lines, self._got, strict=True))
            if line.criticality is rank and (lacking := wanted(line) - got) > 0
        }
        for likes in range(4) if short else ():
            for i, lacking in short.items():
                for pool in self._pools[i][likes]:
                    given = min(lacking, self.free[pool])
                    if given > 0:
                        self._give(i, pool, given)
                        lacking -= given
                short[i] = lacking
        for i, lacking in short.items():
            while lacking > 0 and (given := self._augment(i, lacking)):
                lacking -= given

    def _give(self, i: int, pool: Pool, count: int) -> None:
        self.free[pool] -= count
        self.held[i][pool] += count
        self._got[i] += count

    def _augment(self, start: int, lacking: int) -> int:
        """Find line `start` up to `lacking` units by letting others change theirs; return how
        many, 0 when no way is left."""
        came_by: dict[int, tuple[int, Pool]] = {}
        queue = deque([start])
        while queue:
            i = queue.popleft()
            for pool in (pool for pools in self._pools[i] for pool in pools):
                if self.free[pool] > 0:
                    return self._shift(start, i, pool, came_by, lacking)
                for j in self._claimants[pool[0]]:
                    if j != start and j not in came_by and self.held[j].get(pool):
                        came_by[j] = (i, pool)
                        queue.append(j)
        return 0

    def _shift(
        self, start: int, end: int, pool: Pool, came_by: dict[int, tuple[int, Pool]], lacking: int
    ) -> int:
        count = min(lacking, self.free[pool])
        i = end
        while i != start:
            count = min(count, self.held[i][came_by[i][1]])
            i = came_by[i][0]
        i = end
        while i != start:
            self._give(i, pool, count)
            before, pool = came_by[i]
            self._give(i, pool, -count)
            if not self.held[i][pool]:
                del self.held[i][pool]
            i = before
        self._give(start, pool, count)
        return count


def entangled(lines: Sequence[Line]) -> list[bool]:
    """Return for each line whether another line wants any of the things that it can use."""
    wanted = Counter(thing for line in lines for thing in line.usable_things)
    return [any(wanted[thing] > 1 for thing in x.usable_things) for x in lines]
