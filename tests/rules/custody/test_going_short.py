"""Who may let a short kit go, and what of it a shelf here settles."""

import pytest

from kits.rules.custody.going_short import additions, guide_may
from kits.rules.ledger.facts import Criticality, Line, Reason, Thing, Verdict, Weight
from kits.rules.restocking.picking import Missing, PutIn, RestockList
from tests.rules.kit_facts import TODAY

ROUTINE, IMPORTANT = Criticality.ROUTINE, Criticality.IMPORTANT


def short(*priorities: Criticality | None, weight: Weight = Weight.SHORT) -> Verdict:
    return Verdict(
        TODAY,
        tuple(
            Reason("short", weight, {"line": number}, priority)
            for number, priority in enumerate(priorities, 1)
        ),
    )


@pytest.mark.parametrize(
    ("verdict", "important_too", "may"),
    [
        (short(ROUTINE), False, True),
        (short(ROUTINE, ROUTINE), False, True),
        (short(ROUTINE, IMPORTANT), False, False),
        (short(ROUTINE, IMPORTANT), True, True),
        (short(None), True, False),  # not of a line: nobody checked it lately
        (short(Criticality.MUST_HAVE, weight=Weight.STOPS), True, False),
        (Verdict(TODAY), True, False),  # ready: there is nothing to decide
    ],
)
def test_a_guide_decides_on_routine_lines_alone_and_on_important_ones_where_the_room_says_so(
    verdict: Verdict, important_too: bool, may: bool
) -> None:
    assert guide_may(verdict, important_too=important_too) is may


def line(number: int) -> Line:
    return Line(number, "main", Thing(number, f"thing {number}"), 4, 2)


def put_in(number: int, count: int) -> PutIn:
    from kits.rules.ledger.facts import Batch

    return PutIn(line(number), "main", Batch(1, line(number).thing), "7", count)


def test_only_what_brings_a_line_to_its_minimum_is_an_addition() -> None:
    verdict = short(ROUTINE, ROUTINE, ROUTINE)
    listed = RestockList(
        put_in=(put_in(1, 2), put_in(2, 1)),
        missing=(Missing(line(1), 1, below_minimum=False), Missing(line(2), 3, below_minimum=True)),
    )

    (found,) = additions(verdict, listed)

    assert (found.line.id, found.count) == (1, 2)
