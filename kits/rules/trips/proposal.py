"""Which kits to send with a trip: the fewest that are free, fit through its last day, and suit it
together.

Kits are added one at a time to sets of the kits before, and of all sets that leave the same to be
served only the best is kept. So the answer is the best there is, not the best that a greedy choice
happens on, and always the same for the same kits: the fewest kits; of those the ones that bring
least that the trip does not ask for (the work party's kit stays for the work party); of those the
ones that serve fewest people beside its own; then by name.
"""

import enum
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial, reduce

from kits.rules.ledger import KitState, Reason, ReasonCode, TripNeeds, Verdict, Weight
from kits.rules.ledger.suits import suits


class PassedOver(enum.StrEnum):
    """The stable codes of why a kit is not proposed, beside those of its own verdict."""

    RESERVED = "reserved"
    OUT_PAST_DEPARTURE = "out-past-departure"
    NOT_SET_UP = "not-set-up"
    FEWER_DO = "fewer-kits-do"
    FEWER_PEOPLE = "serves-fewer-people"
    FEWER_DAYS = "made-for-fewer-days"
    MORE_PEOPLE = "serves-more-people"
    OTHER_HAZARDS = "made-for-other-hazards"
    AS_GOOD = "another-does-as-well"


@dataclass(frozen=True)
class Candidate:
    """A kit that might go: how it stands by itself through the trip's last day, the name of
    another trip at the same time that it is promised to, and who has it beyond the departure."""

    state: KitState
    verdict: Verdict
    reserved_for: str = ""
    out_with: str = ""


@dataclass(frozen=True)
class Proposal:
    """`chosen` are kit ids, by name; `passed_over` why not each of the others, by kit id;
    `lacking` what the trip's kits together still do not serve, nothing when they suit."""

    chosen: tuple[int, ...] = ()
    passed_over: dict[int, tuple[Reason, ...]] = field(default_factory=dict)
    lacking: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class _Left:
    """What a set of kits leaves to be served."""

    people: int
    hazards: frozenset[str]
    children: bool

    @property
    def much(self) -> tuple[int, bool, int]:
        return len(self.hazards), self.children, self.people


_Cost = tuple[int, int, int, tuple[str, ...]]
"""How many kits, hazards they serve beyond the trip's, people they serve, their names."""


def propose(
    trip: TripNeeds, candidates: Sequence[Candidate], given: Sequence[KitState] = ()
) -> Proposal:
    """Return which of `candidates` should go with `trip` beside `given`, the kits promised to it
    already. Where no set suits, it is the one that leaves least to be served: hazards first, then
    children, then people."""
    why_not = {c.state.id: tuple(against(trip, c)) for c in candidates}
    free = sorted(
        (c.state for c in candidates if not why_not[c.state.id]), key=lambda kit: (kit.name, kit.id)
    )
    served = partial(_served, trip)
    start = reduce(served, given, _Left(trip.people, trip.hazards, trip.children))
    sets: dict[_Left, tuple[_Cost, tuple[KitState, ...]]] = {start: ((0, 0, 0, ()), ())}
    for kit in free:
        for left, (cost, kits) in list(sets.items()):
            then = served(left, kit)
            if then == left:
                continue
            dearer = _with(cost, kit, trip)
            if then not in sets or dearer < sets[then][0]:
                sets[then] = dearer, (*kits, kit)
    best = min(sets, key=lambda left: (left.much, sets[left][0]))
    chosen = sets[best][1]
    ids = tuple(kit.id for kit in chosen)
    spare = {
        kit.id: (_not_chosen(trip, kit, start, best, given, chosen),)
        for kit in free
        if kit.id not in ids
    }
    return Proposal(
        chosen=ids,
        passed_over={pk: why or spare[pk] for pk, why in why_not.items() if pk not in ids},
        lacking=suits(trip, (*given, *chosen)),
    )


def against(trip: TripNeeds, candidate: Candidate) -> Iterable[Reason]:
    """What keeps a kit from being proposed at all: promised to another trip at the same time, out
    beyond the departure, not set up, not fit through the last day, or latex not wanted."""
    trip_name, person = candidate.reserved_for, candidate.out_with
    stops: tuple[tuple[object, PassedOver, dict[str, object]], ...] = (
        (trip_name, PassedOver.RESERVED, {"trip": trip_name}),
        (person, PassedOver.OUT_PAST_DEPARTURE, {"person": person}),
        (not candidate.verdict.set_up, PassedOver.NOT_SET_UP, {}),
    )
    yield from (Reason(code, Weight.STOPS, facts) for there, code, facts in stops if there)
    yield from (r for r in candidate.verdict.reasons if r.weight >= Weight.SHORT)
    yield from (r for r in suits(trip, (candidate.state,)) if r.code == ReasonCode.LATEX_INSIDE)


def _not_chosen(
    trip: TripNeeds,
    kit: KitState,
    start: _Left,
    best: _Left,
    given: Sequence[KitState],
    chosen: Sequence[KitState],
) -> Reason:
    """Why a free kit that might go is not among the chosen ones: what it lacks in the place of one
    of them, or what it brings too much."""
    served = partial(_served, trip)
    alike = next(
        (
            one
            for one in chosen
            if reduce(served, (kit, *(k for k in chosen if k is not one)), start) == best
        ),
        None,
    )
    facts: dict[str, object] = {"people": trip.people, "served": kit.serves_people}
    if alike is not None:
        beyond = sorted(kit.hazards - trip.hazards)
        facts |= {"instead": alike.name, "hazards": tuple(beyond)}
        if len(beyond) > len(alike.hazards - trip.hazards):
            return Reason(PassedOver.OTHER_HAZARDS, Weight.NOTE, facts)
        more = kit.serves_people > alike.serves_people
        return Reason(PassedOver.MORE_PEOPLE if more else PassedOver.AS_GOOD, Weight.NOTE, facts)
    if kit.serves_days < trip.days:
        facts |= {"days": trip.days, "made_for": kit.serves_days}
        return Reason(PassedOver.FEWER_DAYS, Weight.NOTE, facts)
    if any(kit.serves_people < one.serves_people for one in chosen):
        return Reason(PassedOver.FEWER_PEOPLE, Weight.NOTE, facts)
    names = tuple(sorted(one.name for one in (*given, *chosen)))
    return Reason(PassedOver.FEWER_DO, Weight.NOTE, facts | {"kits": names})


def _served(trip: TripNeeds, left: _Left, kit: KitState) -> _Left:
    people = kit.serves_people if kit.serves_days >= trip.days else 0
    children = left.children and any(
        r.code == ReasonCode.NOTHING_FOR_CHILDREN for r in suits(trip, (kit,))
    )
    return _Left(max(0, left.people - people), left.hazards - kit.hazards, children)


def _with(cost: _Cost, kit: KitState, trip: TripNeeds) -> _Cost:
    count, beyond, people, names = cost
    return (
        count + 1,
        beyond + len(kit.hazards - trip.hazards),
        people + kit.serves_people,
        (*names, kit.name),
    )
