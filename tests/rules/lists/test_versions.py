"""Two versions of a kit list, and what following another means for a kit."""

from datetime import date, timedelta

import pytest

from gearroom.core.rules.sentences import InvalidValue
from kits.rules.ledger.facts import Batch, Criticality, KitState, Line, Thing, Units
from kits.rules.lists.versions import compare, difference, spare
from kits.rules.text.hazards import HAZARDS, hazards

TODAY = date(2027, 5, 1)
GAUZE, TAPE, SPLINT = Thing(1, "gauze"), Thing(2, "tape"), Thing(3, "splint")


def line(thing: Thing, carry: int, never_below: int = 0, section: str = "main") -> Line:
    return Line(thing.id, section, thing, carry, never_below)


def kit(lines: list[Line], *held: tuple[Thing, int]) -> KitState:
    good = TODAY + timedelta(days=100)
    units = [Units(Batch(t.id, t, expiry=good), "main", n) for t, n in held]
    return KitState(1, "DAY-01", tuple(lines), tuple(units))


def test_lines_are_told_apart_by_thing_and_section() -> None:
    found = compare(
        [line(GAUZE, 4), line(TAPE, 1)],
        [line(GAUZE, 4), line(TAPE, 1, section="lid"), line(SPLINT, 1)],
    )
    assert [(x.section, x.thing.name) for x in found.added] == [("lid", "tape"), ("main", "splint")]
    assert [(x.section, x.thing.name) for x in found.removed] == [("main", "tape")]
    assert found.changed == ()


def test_it_says_what_changed_on_a_line() -> None:
    graver = Line(9, "main", GAUZE, 6, 0, Criticality.MUST_HAVE)
    (change,) = compare([line(GAUZE, 4)], [graver]).changed
    assert change.what == ("carry", "criticality")


def test_a_version_differs_from_itself_in_nothing() -> None:
    lines = [line(GAUZE, 4), line(TAPE, 1)]
    same = compare(lines, lines)
    assert (same.added, same.removed, same.changed) == ((), (), ())


def test_what_is_inside_already_is_not_taken_from_the_shelf() -> None:
    state = kit([line(GAUZE, 4)], (GAUZE, 4), (TAPE, 1))
    wanted = difference(state, [line(GAUZE, 6), line(TAPE, 1), line(SPLINT, 2)], TODAY)
    assert wanted.more == {GAUZE.id: 2, SPLINT.id: 2}
    assert wanted.fewer == {}


def test_what_a_version_wants_no_more_is_said() -> None:
    state = kit([line(GAUZE, 4), line(SPLINT, 2)], (GAUZE, 4))
    assert difference(state, [line(GAUZE, 4)], TODAY).fewer == {SPLINT.id: 2}


def test_what_no_line_would_use_is_spare() -> None:
    state = kit([line(GAUZE, 4)], (GAUZE, 4), (TAPE, 3))
    assert spare(state, [line(GAUZE, 1)]) == {TAPE.id: 3}


def test_hazards_come_once_and_in_the_order_of_the_vocabulary() -> None:
    assert hazards(["rope", "hill", "rope"]) == ["hill", "rope"]
    assert hazards(HAZARDS) == list(HAZARDS)


def test_a_hazard_nobody_knows_is_refused_with_those_that_are_known() -> None:
    with pytest.raises(InvalidValue, match="hill"):
        hazards(["hill", "lava"])
