"""Do a trip's kits, taken together, suit the trip?

Another kit never makes it worse, except by bringing latex where none is wanted. So people are
served by the kits whose list is made for as many days as the trip has: a list for a day holds
nothing for the fourth evening, however many such kits go along; but one made for the week serves,
and the day kits beside it do no harm. A list that says nothing of people or days serves none.
"""

from collections.abc import Iterable, Sequence
from datetime import date

from kits.rules.ledger.expiry import usable_until
from kits.rules.ledger.facts import KitState, Level, Reason, Thing, TripNeeds, Weight
from kits.rules.ledger.kit_contents import inside
from kits.rules.ledger.reasons import ReasonCode


def suits(trip: TripNeeds, kits: Sequence[KitState]) -> tuple[Reason, ...]:
    """Return why `kits` together do not suit `trip`; nothing when they do.

    All are *short*, to be answered for by who may, except latex where it must not be: that does
    harm by being there, so it stops, and taking it out settles it.

    Facts: people: `people`, `served`. Days: `people`, `days`, `served` (by kits made for so many
    days), `served_on_shorter` (by all). Hazards: `hazards`, those left, and `gaps`, by hazard what
    is lacking (`need`, `carried`) on the list that is made for it and lacks least. Latex: `kit`,
    `kit_id`, `things` (names), a reason for each kit.
    """
    return tuple(_mismatches(trip, kits))


def _mismatches(trip: TripNeeds, kits: Sequence[KitState]) -> Iterable[Reason]:
    all_served = sum(kit.serves_people for kit in kits)
    served = sum(kit.serves_people for kit in kits if kit.serves_days >= trip.days)
    facts: dict[str, object] = {"people": trip.people, "served": served}
    if all_served < trip.people:
        yield Reason(ReasonCode.TOO_FEW_PEOPLE, Weight.SHORT, facts | {"served": all_served})
    elif served < trip.people:
        facts |= {"days": trip.days, "served_on_shorter": all_served}
        yield Reason(ReasonCode.TOO_FEW_DAYS, Weight.SHORT, facts)
    if hazards := trip.hazards.difference(*(kit.hazards for kit in kits)):
        facts = {"hazards": tuple(sorted(hazards)), "gaps": _gaps(hazards, kits)}
        yield Reason(ReasonCode.HAZARDS_NOT_SERVED, Weight.SHORT, facts)
    if trip.children and not any((child_through(kit) or date.min) >= trip.last_day for kit in kits):
        yield Reason(ReasonCode.NOTHING_FOR_CHILDREN, Weight.SHORT)
    if trip.latex_free:
        for kit in kits:
            if names := latex_inside(kit):
                facts = {"kit": kit.name, "kit_id": kit.id, "things": tuple(names)}
                yield Reason(ReasonCode.LATEX_INSIDE, Weight.STOPS, facts)


def child_through(kit: KitState) -> date | None:
    """The last day on which something for children in a kit is usable; None: on no day."""
    if any(thing.child and level in (Level.FULL, Level.LOW) for thing, level in _by_eye(kit)):
        return date.max
    counted = (x.batch for x in inside(kit) if x.batch.thing.child and not x.training)
    return max((day for each in counted if (day := usable_until(each))), default=None)


def latex_inside(kit: KitState) -> list[str]:
    """The names of the things with latex that may be in a kit."""
    return sorted({thing.name for thing in _things_inside(kit) if thing.latex})


def _gaps(hazards: Iterable[str], kits: Sequence[KitState]) -> dict[str, list[dict[str, object]]]:
    """What is lacking for each hazard that some list is made for: on the one that lacks least."""
    least = {
        hazard: min(lists, key=len)
        for hazard in sorted(hazards)
        if (lists := [kit.gaps[hazard] for kit in kits if hazard in kit.gaps])
    }
    return {
        hazard: [{"need": gap.need, "carried": gap.carried} for gap in gaps]
        for hazard, gaps in least.items()
    }


def _things_inside(kit: KitState) -> Iterable[Thing]:
    """Everything that may be in there: of what is judged by eye all but what is known used up."""
    yield from (x.batch.thing for x in inside(kit))
    yield from (thing for thing, level in _by_eye(kit) if level is not Level.EMPTY)


def _by_eye(kit: KitState) -> Iterable[tuple[Thing, Level | None]]:
    return (
        (line.thing, kit.levels.get((line.section, line.thing.id)))
        for line in kit.lines
        if line.thing.by_eye and line.section not in kit.away
    )
