"""Faults that the program once had, put back one at a time, and by which check the world finds
each. This folder is the one place here that knows the program.

A fault is put back where it was decided: by a function in place of the program's own. Where the
program has changed so that a name is gone, the patch fails loudly, and the fault is to be put back
in the new place.
"""

from collections.abc import Callable
from dataclasses import dataclass

import pytest

Put = Callable[[pytest.MonkeyPatch], None]


@dataclass(frozen=True)
class Fault:
    """What was wrong, how it is put back, the checks that find it, and the acts that lead to it:
    weeks of nothing else are played, so that it is found soon. No acts: weeks as they come. `week`
    is the first that is played: one that found it when the fault was entered here."""

    name: str
    put_back: Put
    found_by: frozenset[str]
    cards: tuple[str, ...] = ()
    week: int = 1


FAULTS: list[Fault] = []


def fault(name: str, *found_by: str, cards: str = "", week: int = 1) -> Callable[[Put], Put]:
    def add(put_back: Put) -> Put:
        # A verdict that is wrong is as wrong in the phone's copy, which is compared at day's end.
        more = {"offline", "readiness", "page"} if "verdict" in found_by else set()
        checks, hand = frozenset(found_by) | more, 4 * tuple(cards.split())
        FAULTS.append(Fault(name, put_back, checks, hand, week))
        return put_back

    return add
