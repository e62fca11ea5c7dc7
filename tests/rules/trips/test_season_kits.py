"""Kits for all trips together: against every choice that there could be."""

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from itertools import chain, combinations

from hypothesis import given, strategies as st

from kits.rules.ledger import TripNeeds
from kits.rules.trips.lanes import Days
from kits.rules.trips.season import MOVED, UNSERVED, Choice, Season, SeasonKit, SeasonTrip
from kits.rules.trips.season_kits import (
    Found,
    changes,
    choose,
    choose_with_changes,
    one_by_one,
)
from kits.rules.trips.season_mends import MendKind, mends

MONDAY = date(2027, 5, 3)
PATIENCE = 60.0
HAZARDS = ("hill", "water")
hazards = st.frozensets(st.sampled_from(HAZARDS))
days = st.integers(0, 7).map(lambda n: MONDAY + timedelta(days=n))


@st.composite
def spans(draw: st.DrawFn) -> Days:
    first = draw(days)
    return Days(first, first + timedelta(days=draw(st.integers(0, 2))))


@st.composite
def trips(draw: st.DrawFn) -> SeasonTrip:
    span = draw(spans())
    needs = TripNeeds(
        draw(st.integers(1, 12)),
        span.first,
        span.last,
        draw(hazards),
        draw(st.booleans()),
        draw(st.booleans()),
    )
    return SeasonTrip(0, "Trip", needs, draw(st.sampled_from([None, 1, 2])))


kits = st.builds(
    SeasonKit,
    id=st.just(0),
    name=st.just("KIT"),
    room=st.integers(1, 2),
    people=st.sampled_from([0, 6, 8]),
    days=st.integers(1, 3),
    hazards=hazards,
    child_through=st.none() | days,
    latex=st.booleans(),
    ready_through=st.none() | days.map(lambda day: day + timedelta(days=3)),
    restocked_through=st.none() | days.map(lambda day: day + timedelta(days=3)),
    restocked_from=days,
    busy=st.lists(spans(), max_size=1).map(tuple),
    out=st.none() | spans(),
    out_on=st.none() | st.integers(0, 2),
    nights=st.integers(0, 2),
    times=st.integers(0, 2),
)


@st.composite
def seasons(draw: st.DrawFn) -> Season:
    """Few enough for every choice to be looked at, half of the kits alike."""
    some = draw(st.lists(kits, min_size=1, max_size=2))
    some += draw(st.lists(st.sampled_from(some), max_size=2))
    going = draw(st.lists(trips(), min_size=1, max_size=3))
    return Season(
        tuple(replace(trip, id=n, name=f"Trip {n}") for n, trip in enumerate(going)),
        tuple(replace(kit, id=n, name=f"KIT-{n}") for n, kit in enumerate(some)),
        draw(st.frozensets(st.tuples(st.integers(0, 2), st.integers(0, 1)), max_size=1)),
    )


@st.composite
def reserved(draw: st.DrawFn) -> tuple[Season, Choice]:
    """A season in which kits are promised to trips, and which of these may change."""
    season = draw(seasons())
    pairs = [(t.id, k.id) for t in season.trips for k in season.kits]
    promised = draw(st.frozensets(st.sampled_from(pairs), max_size=3))
    days = {
        kit.id: [season.trip[t].days for t, k in promised if k == kit.id] for kit in season.kits
    }
    kits = tuple(replace(kit, busy=(*kit.busy, *days[kit.id])) for kit in season.kits)
    return Season(season.trips, kits, promised), draw(st.frozensets(st.sampled_from(pairs)))


def every_choice(season: Season) -> Iterator[Choice]:
    """All that may be."""
    pairs = [(t.id, k.id) for t in season.trips for k in season.kits]
    pairs = [pair for pair in pairs if season.is_possible(frozenset([pair]))]
    sets = chain.from_iterable(combinations(pairs, n) for n in range(len(pairs) + 1))
    return (choice for pairs in sets if season.is_possible(choice := frozenset(pairs)))


@given(seasons())
def test_no_choice_comes_to_less(season: Season) -> None:
    chosen = choose(season, seconds=PATIENCE)
    least = min(season.points(choice) for choice in every_choice(season))
    assert season.is_possible(chosen.choice)
    assert chosen.comes_to == season.points(chosen.choice)
    assert abs(chosen.comes_to - least) < 1e-3
    assert chosen.bound <= chosen.comes_to
    assert chosen.found is Found.BEST


@given(seasons())
def test_it_is_never_worse_than_one_trip_after_the_other(season: Season) -> None:
    simple = one_by_one(season)
    assert season.is_possible(simple)
    assert choose(season, seconds=PATIENCE).comes_to <= season.points(simple) + 1e-6


@given(reserved())
def test_with_changes_no_trip_is_lost_and_each_makes_up_for_itself(
    example: tuple[Season, Choice],
) -> None:
    season, promises = example
    stays = choose(season, seconds=PATIENCE)
    changed, chosen = choose_with_changes(season, promises, seconds=PATIENCE)
    assert changed.movable <= promises & season.kept
    assert changed.is_possible(chosen.choice)
    assert len(chosen.lacking) <= len(stays.lacking)
    as_they_are = stays.choice | changed.movable
    assert changed.is_possible(as_they_are)
    moved = changed.movable - chosen.choice
    better = changed.points(as_they_are) - (chosen.comes_to - MOVED * len(moved))
    assert better >= MOVED * len(moved) - 1e-3
    made = changes(changed, chosen.choice)
    assert {(each.trip, kit) for each in made for kit in each.gives} == moved
    assert all(each.to for each in made)
    least = min(changed.points(choice) for choice in every_choice(changed))
    assert abs(chosen.comes_to - least) < 1e-3


@given(seasons(), st.randoms())
def test_the_same_season_has_the_same_choice(season: Season, chance: random.Random) -> None:
    shuffled = Season(
        tuple(chance.sample(season.trips, len(season.trips))),
        tuple(chance.sample(season.kits, len(season.kits))),
        season.kept,
    )
    assert choose(season, seconds=PATIENCE) == choose(shuffled, seconds=PATIENCE)


@given(seasons())
def test_what_lacks_is_what_its_kits_do_not_serve(season: Season) -> None:
    chosen = choose(season, seconds=PATIENCE)
    assert set(chosen.lacking) == {
        trip.id
        for trip in season.trips
        if season.lacking(trip, [kit for pk, kit in chosen.choice if pk == trip.id])
    }
    assert (chosen.comes_to >= UNSERVED) == bool(chosen.lacking)


@given(reserved())
def test_a_mend_serves_its_trip_and_leaves_the_others_as_they_are(
    example: tuple[Season, Choice],
) -> None:
    season, chosen = choose_with_changes(*example, seconds=PATIENCE)
    for pk, ways in mends(season, chosen).items():
        others = frozenset(pair for pair in chosen.choice if pair[0] != pk)
        others |= chosen.choice & season.movable
        trip = next(trip for trip in season.trips if trip.id == pk)
        for mend in ways:
            kits = set(mend.kits) - set(season.promised.get(pk, ()))
            choice = others | {(pk, kit) for kit in kits}
            if mend.kind is MendKind.SHIFT:
                by = timedelta(days=mend.days)
                needs = replace(
                    trip.needs,
                    first_day=trip.needs.first_day + by,
                    last_day=trip.needs.last_day + by,
                )
                trip = replace(trip, needs=needs)
                then = replace(season, trips=tuple(trip if t.id == pk else t for t in season.trips))
            elif mend.kind is MendKind.MAKE_READY:
                then = replace(
                    season,
                    kits=tuple(
                        replace(kit, ready_through=date.max) if kit.id in mend.kits else kit
                        for kit in season.kits
                    ),
                )
            else:
                like = next(kit for kit in season.kits if kit.id == mend.like)
                more = replace(
                    like,
                    id=99,
                    ready_through=date.max,
                    child_through=date.max if like.child_through else None,
                    busy=(),
                    out=None,
                )
                then = replace(season, kits=(*season.kits, more))
                choice |= {(pk, 99)}
            assert then.is_possible(choice)
            assert not then.lacking(trip, [kit for at, kit in choice if at == pk])


def trip(number: int, first: int, last: int, people: int = 6) -> SeasonTrip:
    needs = TripNeeds(
        people, MONDAY + timedelta(days=first), MONDAY + timedelta(days=last), frozenset()
    )
    return SeasonTrip(number, f"Trip {number}", needs, room=1)


def kit(number: int, *, times: int = 0, nights: int = 1, room: int = 1) -> SeasonKit:
    ready = MONDAY + timedelta(days=99)
    return SeasonKit(
        number, f"DAY-{number}", room, 6, 3, ready_through=ready, times=times, nights=nights
    )


def test_a_kit_goes_again_once_it_has_been_sorted() -> None:
    for nights, last, served in ((0, 1, True), (1, 1, True), (2, 1, False), (2, 0, True)):
        season = Season((trip(1, 0, last), trip(2, 2, 2)), (kit(1, nights=nights),))
        assert (not choose(season, seconds=PATIENCE).lacking) is served
    same_day = Season((trip(1, 0, 1), trip(2, 1, 1)), (kit(1, nights=0),))
    assert choose(same_day, seconds=PATIENCE).lacking


def test_what_one_after_the_other_leaves_unserved_is_served_together() -> None:
    week = replace(kit(1), people=12, name="A-WEEK")
    small = kit(2)
    first, second = trip(1, 0, 2), trip(2, 1, 1, people=12)
    season = Season((first, second), (replace(week, hazards=frozenset()), replace(small, room=2)))
    chosen = choose(season, seconds=PATIENCE)
    assert chosen.choice == {(1, 2), (2, 1)}
    assert season.points(one_by_one(season)) >= UNSERVED


def test_of_like_kits_the_one_that_went_least_goes() -> None:
    season = Season((trip(1, 0, 0), trip(2, 3, 3)), (kit(1, times=3), kit(2), kit(3, times=2)))
    assert choose(season, seconds=PATIENCE).choice == {(1, 2), (2, 2)}
    season = Season((trip(1, 0, 0), trip(2, 3, 3)), (kit(1, times=1), kit(2)))
    assert choose(season, seconds=PATIENCE).choice == {(1, 2), (2, 1)}


def test_a_kit_of_its_own_room_goes_first_and_what_is_promised_stays() -> None:
    season = Season((trip(1, 0, 0),), (kit(1, room=2), kit(2)))
    assert choose(season, seconds=PATIENCE).choice == {(1, 2)}
    away = replace(kit(2), busy=(trip(1, 0, 0).days,))
    season = Season((trip(1, 0, 0), trip(2, 0, 0)), (kit(1, room=2), away), frozenset({(1, 2)}))
    assert choose(season, seconds=PATIENCE).choice == {(2, 1)}


def test_a_reserved_kit_goes_elsewhere_only_where_a_trip_gets_its_kit_by_it() -> None:
    week, day = replace(kit(1), people=12), replace(kit(2), room=2)
    moor, ridge = trip(1, 0, 0), trip(2, 0, 0, people=12)
    on_moor = replace(week, busy=(moor.days,))
    promised = frozenset({(1, 1)})
    alone = Season((moor,), (on_moor, kit(2)), promised)
    assert choose_with_changes(alone, promised)[1].choice == promised
    season = Season((moor, ridge), (on_moor, day), promised)
    assert set(choose(season).lacking) == {2}
    changed, chosen = choose_with_changes(season, promised)
    assert chosen.choice == {(1, 2), (2, 1)}
    assert not chosen.lacking
    (change,) = changes(changed, chosen.choice)
    assert (change.trip, change.gives, change.has, change.to) == (1, (1,), (2,), (2,))
    assert choose_with_changes(season, frozenset())[1].choice == choose(season).choice


def test_what_something_else_is_too_close_to_stays_reserved() -> None:
    moor, ridge = trip(1, 0, 1), trip(2, 2, 2)
    both = replace(kit(1, nights=2), busy=(moor.days, ridge.days))
    season = Season((moor, ridge), (both, kit(2)), frozenset({(1, 1), (2, 1)}))
    assert season.with_changes(season.kept) == season
    assert season.with_changes(frozenset({(2, 1)})) == season


def test_a_promised_kit_that_is_not_back_in_time_does_not_serve_its_trip() -> None:
    moor = trip(1, 2, 2)
    for last, on, served in ((1, None, True), (2, None, False), (2, 1, True), (2, 9, False)):
        out = Days(MONDAY, MONDAY + timedelta(days=last))
        late = replace(kit(1), busy=(moor.days,), out=out, out_on=on)
        season = Season((moor,), (late,), frozenset({(1, 1)}))
        assert (not choose(season).lacking) is served


def test_the_least_shift_is_named_and_one_more_kit() -> None:
    season = Season((trip(1, 0, 1), trip(2, 1, 1)), (kit(1),))
    chosen = choose(season, seconds=PATIENCE)
    (lacking,) = chosen.lacking
    shift, another = mends(season, chosen)[lacking]
    assert (shift.kind, shift.days, shift.kits) == (MendKind.SHIFT, {1: 2, 2: 1}[lacking], (1,))
    assert (another.kind, another.like, another.kits) == (MendKind.ANOTHER_KIT, 1, ())


def test_one_more_kit_is_the_one_that_costs_least_where_all_costs_are_known() -> None:
    """A fuller kit is free to go, and another like any of these would do."""
    season = Season(
        (trip(1, 0, 1), trip(2, 0, 1), trip(3, 0, 1)),
        (kit(1), replace(kit(2), hazards=frozenset(HAZARDS))),
    )
    chosen = choose(season, seconds=PATIENCE)
    (lacking,) = chosen.lacking

    def like(costs: dict[int, Decimal] | None) -> int | None:
        (another,) = [
            way for way in mends(season, chosen, costs)[lacking] if way.kind is MendKind.ANOTHER_KIT
        ]
        return another.like

    suits_best = like(None)
    assert suits_best in {1, 2}
    assert like({1: Decimal(30), 2: Decimal(20)}) == 2
    assert like({1: Decimal(20), 2: Decimal(30)}) == 1
    assert like({3 - suits_best: Decimal(20)}) == suits_best


def test_a_kit_that_is_out_can_be_the_one_of_which_one_more_would_do() -> None:
    out = replace(kit(1), out=Days(MONDAY, MONDAY + timedelta(days=9)))
    season = Season((trip(1, 0, 1),), (out,))
    (another,) = mends(season, choose(season, seconds=PATIENCE))[1]
    assert (another.kind, another.like) == (MendKind.ANOTHER_KIT, 1)


def test_a_kit_that_is_free_but_not_ready_is_named_before_another_is_wished_for() -> None:
    season = Season((trip(1, 0, 1),), (replace(kit(1), ready_through=None),))
    chosen = choose(season, seconds=PATIENCE)
    (ready,) = mends(season, chosen)[1]
    assert (ready.kind, ready.kits) == (MendKind.MAKE_READY, (1,))
