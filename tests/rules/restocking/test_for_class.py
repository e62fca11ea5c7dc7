"""A training kit is made whole for a class: from the training box first, out of date or not."""

from collections import Counter
from dataclasses import replace
from datetime import timedelta

from hypothesis import given, strategies as st

from kits.rules.ledger.facts import Batch, Kind, KitState, Line, Thing, Units
from kits.rules.restocking.picking import restock
from tests.rules.kit_facts import TODAY

THINGS = [
    Thing(1, "gauze swab"),
    Thing(2, "large dressing"),
    Thing(3, "tablet", kind=Kind.MEDICINE, for_class=False),
    Thing(4, "lancet", for_class=False),
]
LONG_AGO = TODAY - timedelta(days=900)
rows = st.lists(
    st.builds(
        lambda thing, days, count, training: (thing, days, count, training),
        st.sampled_from(THINGS),
        st.integers(-900, 900),
        st.integers(1, 5),
        st.booleans(),
    ),
    max_size=8,
)


def units_of(drawn: list[tuple[Thing, int, int, bool]]) -> list[Units]:
    return [
        Units(
            Batch(n, thing, expiry=TODAY + timedelta(days=days)),
            "BOX" if training else "C1",
            count,
            training,
        )
        for n, (thing, days, count, training) in enumerate(drawn, start=1)
    ]


def class_kit(*inside: Units, training: bool = True) -> KitState:
    lines = (
        Line(1, "main", THINGS[0], 6, 2),
        Line(2, "main", THINGS[1], 3, 0, instead=frozenset({1})),
        Line(3, "main", THINGS[2], 2, 1),
        Line(4, "main", THINGS[3], 2, 1),
    )
    return KitState(1, "TRAIN-1", lines, inside, looked_inside_on=TODAY, training=training)


@given(rows)
def test_the_training_box_comes_first_and_no_medicine_and_nothing_sharp_goes_in(
    drawn: list[tuple[Thing, int, int, bool]],
) -> None:
    there = units_of(drawn)
    todo = restock(class_kit(), there, TODAY, TODAY)
    assert all(put.batch.thing.for_class for put in todo.put_in)
    taken = Counter[int]()
    for put in todo.put_in:
        taken[put.batch.id] += put.count
    for thing in {put.batch.thing.id for put in todo.put_in if put.shelf == "C1"}:
        in_box = [x for x in there if x.training and x.batch.thing.id == thing]
        assert all(taken[x.batch.id] == x.count for x in in_box)
    wanted = {line.id: line.target for line in class_kit().lines if line.thing.for_class}
    for put in todo.put_in:
        wanted[put.line.id] -= put.count
    assert {row.line.id: row.count for row in todo.missing} == {
        line: count for line, count in wanted.items() if count
    }


@given(rows)
def test_nothing_of_the_training_box_goes_into_a_kit_that_people_rely_on(
    drawn: list[tuple[Thing, int, int, bool]],
) -> None:
    todo = restock(class_kit(training=False), units_of(drawn), TODAY, TODAY)
    assert not [put for put in todo.put_in if put.shelf == "BOX"]


def test_what_is_out_of_date_inside_is_enough_for_a_class() -> None:
    old = [
        Units(Batch(n, thing, expiry=LONG_AGO), "main", count)
        for n, (thing, count) in enumerate([(THINGS[0], 6), (THINGS[1], 3)], start=1)
    ]
    fresh = [replace(x, batch=replace(x.batch, id=9, expiry=None), place="C1") for x in old]
    todo = restock(class_kit(*old), fresh, TODAY, TODAY)
    assert not (todo.take_out or todo.put_in or todo.missing)
