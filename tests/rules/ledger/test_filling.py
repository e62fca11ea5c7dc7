"""What a kit has beside what its list asks for."""

from dataclasses import replace

from hypothesis import given

from kits.rules.ledger import Criticality, Level, Line, ReasonCode, Units, filling, judge
from kits.rules.ledger.facts import Batch, KitState
from tests.rules.kit_facts import PLASTERS, THINGS, TODAY, kits

SWAB, LARGE, SMALL = THINGS[:3]


def of(lines: tuple[Line, ...], *units: tuple[Batch, str, int], **more: object) -> KitState:
    held = tuple(Units(batch, place, count) for batch, place, count in units)
    return replace(KitState(1, "K", lines, held), **more)  # type: ignore[arg-type]  # fields of it


def batch(pk: int, thing: object, days: int = 8) -> Batch:
    expiry = TODAY.replace(month=3, day=days)
    return Batch(id=pk, thing=thing, number="L", expiry=expiry)  # type: ignore[arg-type]  # a Thing


def test_a_line_shows_what_is_there_and_how_much_of_it_is_good() -> None:
    lines = (Line(1, "front", SWAB, carry=6, never_below=4),)
    old = replace(batch(2, SWAB), expiry=TODAY.replace(day=1))

    (line,) = filling(of(lines, (batch(1, SWAB), "front", 3), (old, "front", 2)), TODAY).lines

    assert (line.there, line.good, line.complete, line.below_minimum) == (5, 3, False, True)


def test_what_lies_in_another_section_counts_for_the_line_that_asks_for_it() -> None:
    lines = (Line(1, "front", SWAB, carry=2, never_below=0),)

    (line,) = filling(of(lines, (batch(1, SWAB), "back", 2)), TODAY).lines

    assert (line.there, line.complete) == (2, True)


def test_what_no_line_asks_for_stands_apart() -> None:
    lines = (Line(1, "front", SWAB, carry=1, never_below=0),)

    seen = filling(of(lines, (batch(1, LARGE), "front", 2)), TODAY)

    assert [x.count for x in seen.others] == [2]
    assert not seen.lines[0].complete


def test_what_is_loose_is_complete_while_it_is_full() -> None:
    lines = (Line(1, "front", PLASTERS, carry=1, never_below=1),)
    levels = {("front", PLASTERS.id): Level.LOW}

    low = filling(of(lines, levels=levels), TODAY).lines[0]
    unknown = filling(of(lines), TODAY).lines[0]

    assert (low.complete, low.below_minimum) == (False, False)
    assert (unknown.complete, unknown.below_minimum) == (False, True)


def test_a_pouch_that_is_out_on_its_own_is_not_there() -> None:
    lines = (Line(1, "front", SWAB, carry=2, never_below=1, criticality=Criticality.MUST_HAVE),)

    kit = of(lines, (batch(1, SWAB), "front", 2), away=frozenset({"front"}))

    assert filling(kit, TODAY).lines[0].there == 0


@given(kit=kits())
def test_it_lacks_exactly_what_the_verdict_says_is_lacking(kit: KitState) -> None:
    kit = replace(kit, contents_entered=True)
    lacking = {
        reason.facts["line"]: reason.code
        for reason in judge(kit, TODAY, TODAY).reasons
        if reason.code in (ReasonCode.SHORT, ReasonCode.LOW)
    }

    counted = [each for each in filling(kit, TODAY).lines if not each.line.thing.by_eye]

    assert {x.line.id for x in counted if not x.complete} == set(lacking)
    assert {x.line.id for x in counted if x.below_minimum} == {
        line for line, code in lacking.items() if code is ReasonCode.SHORT
    }
    there = sum(x.there for x in filling(kit, TODAY).lines)
    others = sum(x.count for x in filling(kit, TODAY).others)
    assert there + others == sum(x.count for x in kit.units if x.place not in kit.away)
