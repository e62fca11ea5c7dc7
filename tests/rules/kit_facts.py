"""Kits, shelves and dates for the tests of rules: a few things that compete for each other's
places, and dates close enough together that every border is met."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import strategies as st

from kits.rules.ledger.facts import (
    Batch,
    Criticality,
    Kind,
    KitState,
    Level,
    Line,
    Replaced,
    Thing,
    Units,
)

TODAY = date(2028, 2, 27)  # a leap day and a month's end are near
NEAR = st.integers(-3, 8).map(lambda n: TODAY + timedelta(days=n))
THINGS = (
    Thing(1, "gauze swab", sterile=True),
    Thing(2, "large dressing", sterile=True, min_temp_c=0),
    Thing(3, "small dressing", sterile=True, latex=True),
    Thing(4, "tablet", kind=Kind.MEDICINE),
    Thing(5, "thermometer", kind=Kind.INSTRUMENT, needs_date=False, check_question="Light on?"),
    Thing(6, "triangular bandage", needs_date=False),
    Thing(7, "child mask", opened_life_days=2, child=True),
)
PLASTERS = Thing(8, "plasters", by_eye=True, needs_date=False)
SECTIONS = ("front", "back")

things = st.sampled_from(THINGS)
sections = st.sampled_from(SECTIONS)
maybe_near = st.none() | NEAR


@st.composite
def batches(draw: st.DrawFn, ids: st.SearchStrategy[int] | None = None) -> Batch:
    thing = draw(things)
    rarely = st.sampled_from([False] * 7 + [True])
    return Batch(
        id=draw(ids or st.integers(1, 10**9)),
        thing=thing,
        number="L",
        expiry=draw(maybe_near) if thing.needs_date else None,
        opened_on=draw(maybe_near),
        recalled=draw(rarely),
        withheld=draw(rarely),
        check_due=draw(maybe_near) if thing.kind is Kind.INSTRUMENT else None,
        check_passed=draw(st.sampled_from([True, True, False, None]))
        if thing.kind is Kind.INSTRUMENT
        else None,
    )


@st.composite
def units(draw: st.DrawFn, places: st.SearchStrategy[str] = sections) -> Units:
    training = draw(st.sampled_from([False] * 9 + [True]))
    return Units(draw(batches()), draw(places), draw(st.integers(1, 4)), training)


@st.composite
def line_lists(draw: st.DrawFn, most: int = 6) -> tuple[Line, ...]:
    lines = []
    for i in range(draw(st.integers(0, most))):
        carry = draw(st.integers(1, 5))
        instead = draw(st.frozensets(st.integers(1, 7), max_size=2))
        old = draw(st.sampled_from([None] * 3 + [*sorted(instead)]))
        replaces = () if old is None else (Replaced(old, "old", draw(maybe_near)),)
        lines.append(
            Line(
                id=i,
                section=draw(sections),
                thing=draw(things),
                carry=carry,
                never_below=draw(st.integers(0, carry)),
                criticality=draw(st.sampled_from(Criticality)),
                instead=instead,
                replaces=replaces,
            )
        )
    # What a change replaced, no line of the list asks for any more.
    asked = {line.thing.id for line in lines}
    return tuple(
        replace(line, replaces=tuple(old for old in line.replaces if old.id not in asked))
        for line in lines
    )


@st.composite
def kits(draw: st.DrawFn, most_lines: int = 6) -> KitState:
    lines = draw(line_lists(most_lines))
    levels = {}
    if draw(st.booleans()):
        lines = (*lines, Line(99, "front", PLASTERS, 1, draw(st.integers(0, 1))))
        level = draw(st.none() | st.sampled_from(Level))
        levels = {} if level is None else {("front", PLASTERS.id): level}
    rarely = st.sampled_from([False] * 15 + [True])
    return KitState(
        id=1,
        name="DAY-01",
        lines=lines,
        units=tuple(draw(st.lists(units(), max_size=10))),
        levels=levels,
        away=draw(st.sampled_from([frozenset()] * 7 + [frozenset({"back"})])),
        signed_until=draw(st.none() | NEAR),
        signed=not draw(rarely),
        looked_inside_on=draw(st.none() | NEAR) if draw(rarely) else TODAY,
        look_interval_days=draw(st.integers(0, 12)),
        training=draw(rarely),
        laid_up=draw(rarely),
        lost=draw(rarely),
        waiting_to_be_sorted=draw(rarely),
        withheld=("drying",) if draw(rarely) else (),
        contents_entered=not draw(rarely),
        expired_always_stops=draw(st.booleans()),
        undated_grace_until=draw(st.none() | NEAR),
    )
