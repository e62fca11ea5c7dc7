"""Which kits are proposed for a trip."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, strategies as st

from kits.rules.ledger.facts import Batch, KitState, Line, Thing, TripNeeds, Units
from kits.rules.ledger.readiness import judge
from kits.rules.ledger.suits import suits
from kits.rules.trips.proposal import Candidate, against, propose

TODAY = date(2027, 5, 1)
GAUZE = Thing(1, "gauze swab", latex=False)
GLOVES = Thing(2, "gloves", latex=True, needs_date=False)
MASK = Thing(3, "child mask", child=True, needs_date=False)
LINES = (Line(1, "main", GAUZE, carry=2, never_below=1),)
HAZARDS = st.frozensets(st.sampled_from(["hill", "cave", "rope"]))


def kit(
    number: int,
    people: int = 10,
    days: int = 1,
    hazards: frozenset[str] = frozenset(),
    *things: Thing,
) -> KitState:
    gauze = Units(Batch(number, GAUZE, expiry=TODAY + timedelta(days=400)), "main", 2)
    more = [Units(Batch(1000 + number * 10 + t.id, t), "main", 1) for t in things]
    return KitState(
        number,
        f"DAY-{number:02}",
        LINES,
        (gauze, *more),
        serves_people=people,
        serves_days=days,
        hazards=hazards,
        looked_inside_on=TODAY,
    )


def trip(
    people: int = 8, days: int = 1, hazards: frozenset[str] = frozenset(), **more: bool
) -> TripNeeds:
    first = TODAY + timedelta(days=3)
    return TripNeeds(people, first, first + timedelta(days=days - 1), hazards, **more)


def candidate(state: KitState, needs: TripNeeds, **more: str) -> Candidate:
    return Candidate(state, judge(state, needs.last_day, TODAY), **more)


def of(needs: TripNeeds, *states: KitState) -> list[Candidate]:
    return [candidate(state, needs) for state in states]


def test_one_kit_that_serves_all_is_enough() -> None:
    needs = trip(people=8)
    found = propose(needs, of(needs, kit(1), kit(2)))
    assert found.chosen == (1,)
    assert [r.code for r in found.passed_over[2]] == ["another-does-as-well"]
    assert found.passed_over[2][0].facts["instead"] == "DAY-01"
    assert found.lacking == ()


@pytest.mark.parametrize(
    ("other", "code"),
    [
        (kit(2, people=5), "serves-fewer-people"),
        (kit(2, people=20), "serves-more-people"),
        (kit(2, people=10, hazards=frozenset({"cave"})), "made-for-other-hazards"),
        (kit(2, people=10, days=0), "made-for-fewer-days"),
    ],
)
def test_it_says_for_real_why_a_kit_that_might_go_is_not_chosen(other: KitState, code: str) -> None:
    needs = trip(people=8)
    found = propose(needs, of(needs, kit(1), other))
    assert found.chosen == (1,)
    assert [r.code for r in found.passed_over[2]] == [code]


def test_a_kit_beside_those_that_are_promised_already_says_that_fewer_do() -> None:
    needs = trip(people=8)
    found = propose(needs, of(needs, kit(2)), [kit(1)])
    assert found.chosen == ()
    (why,) = found.passed_over[2]
    assert (why.code, why.facts["kits"]) == ("fewer-kits-do", ("DAY-01",))


def test_the_fewest_kits_are_found_where_a_greedy_choice_takes_more() -> None:
    # The kit that serves most of all (hill, cave and rope) leads to three; two do it.
    needs = trip(people=20, hazards=frozenset({"hill", "cave", "rope"}))
    most = kit(1, people=5, hazards=frozenset({"hill", "cave", "rope"}))
    left, right = (
        kit(2, people=10, hazards=frozenset({"hill"})),
        kit(3, people=10, hazards=frozenset({"cave", "rope"})),
    )
    assert propose(needs, of(needs, most, left, right)).chosen == (2, 3)


def test_the_kit_made_for_what_the_trip_does_not_meet_stays_in_the_store() -> None:
    needs = trip(hazards=frozenset({"hill"}))
    work = kit(1, hazards=frozenset({"hill", "sharp-tools"}))
    day = kit(2, hazards=frozenset({"hill"}))
    assert propose(needs, of(needs, work, day)).chosen == (2,)


def test_kits_promised_to_the_trip_already_count() -> None:
    needs = trip(people=20)
    found = propose(needs, of(needs, kit(1), kit(2)), given=[kit(3)])
    assert found.chosen == (1,)


def test_it_says_what_is_lacking_where_no_set_suits() -> None:
    needs = trip(people=25, hazards=frozenset({"cave"}))
    found = propose(needs, of(needs, kit(1), kit(2)))
    assert found.chosen == (1, 2)
    assert {r.code for r in found.lacking} == {"too-few-people", "hazards-not-served"}


def test_a_kit_with_things_for_children_comes_along_where_there_are_any() -> None:
    needs = trip(children=True)
    assert propose(needs, of(needs, kit(1), kit(2, 10, 1, frozenset(), MASK))).chosen == (2,)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"training": True}, "training"),
        ({"lost": True}, "lost"),
        ({"laid_up": True}, "laid-up"),
        ({"withheld": ("drying",)}, "withheld"),
        ({"waiting_to_be_sorted": True}, "waiting-to-be-sorted"),
        ({"units": ()}, "short"),
    ],
)
def test_a_kit_that_may_not_go_is_passed_over_with_the_reason(
    change: dict[str, Any], code: str
) -> None:
    needs = trip()
    found = propose(needs, of(needs, replace(kit(1), **change)))
    assert found.chosen == ()
    assert [r.code for r in found.passed_over[1]] == [code]


def test_latex_is_passed_over_only_where_none_is_wanted() -> None:
    state = kit(1, 10, 1, frozenset(), GLOVES)
    asked = trip(latex_free=True)
    assert propose(asked, of(asked, state)).chosen == ()
    assert propose(trip(), of(trip(), state)).chosen == (1,)


@st.composite
def _candidates(draw: st.DrawFn, needs: TripNeeds) -> list[Candidate]:
    rarely = st.sampled_from([False] * 4 + [True])
    found = []
    for number in range(1, draw(st.integers(0, 6)) + 1):
        state = replace(
            kit(number, draw(st.integers(0, 12)), draw(st.integers(1, 4)), draw(HAZARDS)),
            training=draw(rarely),
            lost=draw(rarely),
            laid_up=draw(rarely),
        )
        found.append(
            candidate(
                state,
                needs,
                reserved_for="Hill day" if draw(rarely) else "",
                out_with="Robin" if draw(rarely) else "",
            )
        )
    return found


_TRIPS = st.builds(trip, st.integers(1, 30), st.integers(1, 4), HAZARDS)


@given(st.data(), _TRIPS)
def test_it_never_proposes_a_kit_with_anything_against_it(
    data: st.DataObject, needs: TripNeeds
) -> None:
    candidates = data.draw(_candidates(needs))
    found = propose(needs, candidates)
    for c in candidates:
        if c.state.id in found.chosen:
            assert not (c.reserved_for or c.out_with)
            assert not (c.state.training or c.state.lost or c.state.laid_up)
            assert c.verdict.fit
        else:
            assert found.passed_over[c.state.id]


@given(st.data(), _TRIPS)
def test_no_smaller_set_of_free_kits_suits(data: st.DataObject, needs: TripNeeds) -> None:
    candidates = data.draw(_candidates(needs))
    found = propose(needs, candidates)
    free = [c.state for c in candidates if not list(against(needs, c))]
    suiting = [
        len(some)
        for size in range(len(free) + 1)
        for some in combinations(free, size)
        if not suits(needs, some)
    ]
    if suiting:
        assert not found.lacking
        assert len(found.chosen) == min(suiting)
    else:
        assert found.lacking


@given(st.data(), _TRIPS)
def test_the_order_in_which_kits_are_given_does_not_matter(
    data: st.DataObject, needs: TripNeeds
) -> None:
    candidates = data.draw(_candidates(needs))
    shuffled = data.draw(st.permutations(candidates))
    assert propose(needs, candidates) == propose(needs, shuffled)


def test_a_kit_that_nobody_has_set_up_is_not_proposed() -> None:
    needs = trip(people=8)
    found = propose(needs, of(needs, replace(kit(1), contents_entered=False)))
    assert found.chosen == ()
    assert [r.code for r in found.passed_over[1]] == ["not-set-up"]
