"""What to do about a kit that needs attention before it goes, the quickest way first.

At six in the morning there is nobody to ask: whoever stands there is offered a check, what a shelf
here settles, another kit, going short with a reason, and a clearance by telephone. Whatever else
stops a kit, only another kit is offered; in an emergency it always goes.
"""

import enum
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core.acts import Actor
from gearroom.core.models import Membership, Person
from gearroom.core.rules.grouping import summed
from gearroom.core.rules.roles import USE_CASES
from gearroom.core.services.people import people
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.custody.going_short import Addition, additions, guide_may
from kits.rules.ledger import KitState, ReasonCode, Verdict, Weight, Word, judge
from kits.rules.trips import trips as trip_rule
from kits.services.ledger import readiness
from kits.services.lookup import find, promises
from kits.services.restocking import sealing
from kits.services.restocking.sorting import Restock, restock_list
from kits.services.text import verdict_texts


class OfferKind(enum.StrEnum):
    """What is offered."""

    CHECK = "look-inside"
    ADD = "add"
    TAKE_OTHER = "take-other"
    GO_SHORT = "go-short"
    CLEAR = "clear-by-phone"


@dataclass(frozen=True)
class Offer:
    """One way on. `kit` is the name of the kit that it is done to; `fields` is what to send, as far
    as it is known, and `needs` names what is still wanted; `people` are those to choose from."""

    do: OfferKind
    says: str
    kit: str
    fields: Mapping[str, Any] = field(default_factory=dict)
    needs: Sequence[str] = ()
    people: Sequence[Person] = ()


def offers(
    actor: Actor,
    kit: Kit,
    verdict: Verdict,
    *,
    trip: Trip | None = None,
    person: Person | None = None,
) -> list[Offer]:
    """The ways on with a kit (in its room, with its list) that has this verdict, for a trip and
    whoever takes it, as far as that is known; none for a kit that goes as it is."""
    if verdict.fit or verdict.word is Word.NOT_SET_UP:
        return []
    rows = []
    # Whether all that stops it is settled by a check, a shelf or a telephone.
    settled = all(
        reason.by_phone or reason.code == ReasonCode.WAITING_TO_BE_SORTED
        for reason in verdict.reasons
        if reason.weight is Weight.STOPS
    )
    unchecked = {reason.code for reason in verdict.reasons} & {
        ReasonCode.WAITING_TO_BE_SORTED,
        ReasonCode.NOT_LOOKED_INSIDE,
    }
    if settled and unchecked and actor.could("look_inside", kit.room_id):
        rows.append(Offer(OfferKind.CHECK, check_label(kit), kit.name))
    if settled and actor.could("restock", kit.room_id):
        rows += _additions(kit, verdict)
    if actor.could("check_out", kit.room_id):
        rows += _another(actor, kit, verdict, trip, person)
        if may_decide(actor, kit, verdict):
            sentence = _("Take the kit out although it is not ready, and give a reason")
            rows.append(Offer(OfferKind.GO_SHORT, sentence, kit.name, needs=("short_reason",)))
        elif verdict.by_phone or verdict.word is Word.SHORT:
            rows += _by_phone(kit)
    return rows


def may_decide(actor: Actor, kit: Kit, verdict: Verdict) -> bool:
    """Whether somebody may let a kit go that is short, with a reason of their own."""
    if verdict.word is not Word.SHORT:
        return False
    important = kit.home_room.guides_decide_important
    return guide_may(verdict, important_too=important) or actor.could(
        "check_out_short", kit.room_id
    )


def check_label(kit: Kit) -> str:
    """What the button is called that records a check: with units missing on record it is not *all
    there*."""
    return (
        _("Checked just now: everything matches the record")
        if sealing.not_replaced(kit)
        else _("Checked just now: everything is there")
    )


def clearers(kit: Kit) -> list[Person]:
    """Who may clear a kit by telephone, by name: those with such a role where it is."""
    roles = [role.value for role in USE_CASES["clear_by_phone"].roles or ()]
    members = Membership.objects.filter(Q(room=kit.room_id) | Q(room=None), role__in=roles)
    here = Person.objects.filter(pk__in=members.values("person"), left_on=None, merged_into=None)
    return list(here.exclude(pk__in=people.programs().values("pk")).order_by("name", "pk"))


def as_values(actor: Actor, kit: Kit, rows: Iterable[Offer]) -> list[dict[str, Any]]:
    """Offers as plain values; phones for whoever may see people."""
    phones = any(actor.may("see_people", room) for room in (kit.home_room_id, kit.room_id))
    return [
        {
            "do": str(row.do),
            "says": row.says,
            "kit": row.kit,
            "fields": dict(row.fields),
            "needs": list(row.needs),
            "people": [
                {"id": each.pk, "name": each.name, "phone": each.phone if phones else ""}
                for each in row.people
            ],
        }
        for row in rows
    ]


# ------------------------------------------------------------------------------------------- inside
def _additions(kit: Kit, verdict: Verdict) -> list[Offer]:
    plan = restock_list(kit, through=verdict.through)
    return [
        Offer(
            OfferKind.ADD,
            _add_says(plan, addition),
            kit.name,
            fields={"line": addition.line.id, "through": verdict.through.isoformat()},
        )
        for addition in additions(verdict, plan.list)
    ]


def _add_says(plan: Restock, addition: Addition) -> str:
    if addition.fill_up is not None:
        shelf = plan.shelves[int(addition.fill_up.shelf or 0)].name
        facts = {"thing": addition.line.thing.name, "shelf": shelf}
        return _("Top up %(thing)s from shelf %(shelf)s") % facts
    counts = summed(
        ((row.thing.name, plan.shelves[int(row.shelf)].name), row.count) for row in addition.put_in
    )
    parts = [
        _("%(count)d × %(thing)s from shelf %(shelf)s")
        % {"count": count, "thing": thing, "shelf": shelf}
        for (thing, shelf), count in counts.items()
    ]
    return _("Add %(what)s") % {"what": ", ".join(parts)}


def _another(
    actor: Actor, kit: Kit, verdict: Verdict, trip: Trip | None, person: Person | None
) -> list[Offer]:
    if (best := _best_other(actor, kit, verdict, trip)) is None:
        return []
    other, its = best
    fields: dict[str, Any] = {"trip": str(trip.pk)} if trip else {}
    fields |= {"person": str(person.pk)} if person else {}
    if trip and Reservation.objects.promised().filter(kit=kit, trip=trip).exists():
        fields["swap"] = True  # the reservation goes along
    sentence = _("Take %(kit)s: %(verdict)s") % {
        "kit": other.name,
        "verdict": verdict_texts.verdict(its),
    }
    return [Offer(OfferKind.TAKE_OTHER, sentence, other.name, fields)]


def _best_other(
    actor: Actor, kit: Kit, verdict: Verdict, trip: Trip | None
) -> tuple[Kit, Verdict] | None:
    """A kit of the same list in the same room that is free and ready, or at least low, through the
    same day in the place of this one: ready before low, the same version first, then by name."""
    today = readiness.today_of(kit)
    rows = {
        row.pk: row
        for row in find.kits_of(actor)
        .active()
        .filter(room=kit.room_id, list_version__packing_list=kit.list_version.packing_list_id)
        .exclude(pk=kit.pk)
        .exclude(pk__in=Checkout.objects.open().of_whole_kits().values("kit"))
    }
    sorted_by = verdict.through + timedelta(days=kit.home_room.sorting_nights)
    for each in promises.open_promises(kits=list(rows)):
        if trip_rule.share_a_day(today, sorted_by, each.promise):
            rows.pop(each.promise.kit, None)
    if not rows:
        return None
    together = readiness.kits_of_trips([trip.pk])[trip.pk] if trip else set()
    states = readiness.states({*rows, *together})
    beside = [states[pk] for pk in sorted(together - {kit.pk})]
    fit = [
        (row, its)
        for row in rows.values()
        if (its := _in_its_place(row, states[row.pk], verdict, trip, beside)).fit
    ]
    fit.sort(
        key=lambda pair: (
            pair[1].word is not Word.READY,
            pair[0].list_version_id != kit.list_version_id,
            pair[0].name,
        )
    )
    return fit[0] if fit else None


def _in_its_place(
    row: Kit, state: KitState, verdict: Verdict, trip: Trip | None, beside: Sequence[KitState]
) -> Verdict:
    today = readiness.today_of(row)
    needs = readiness.needs_of(trip) if trip else None
    return judge(state, max(verdict.through, today), today, trip=needs, others=beside)


def _by_phone(kit: Kit) -> list[Offer]:
    if not (may := clearers(kit)):
        return []
    sentence = _("Approved by phone")
    return [Offer(OfferKind.CLEAR, sentence, kit.name, needs=("cleared_by",), people=may)]
