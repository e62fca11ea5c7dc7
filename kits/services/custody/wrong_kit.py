"""The wrong kit was scanned: it was really another one.

The act is taken back and the same is written for the kit that it really was, as of when it
happened. That is a report of what was so, and never refused: what the other kit's record does not
bear is marked irregular. Where that kit went out or came back since then on its own record, its
record stands, and only the wrong one is corrected.
"""

import contextlib
import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace

from django.db.models import Case, Exists, IntegerField, OuterRef, QuerySet, Value, When
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, NotFound, Problem, Refused
from gearroom.core.models import Person
from gearroom.core.rules.grouping import summed
from kits.models import (
    AsFound,
    Checkout,
    Entry,
    EntryKind,
    Kit,
    LevelFact,
    Movement,
    PlaceKind,
    WithheldKind,
)
from kits.models.details import CheckInDetail, CheckOutDetail, KindDetail, PassDetail
from kits.rules.ledger.facts import Level
from kits.services.custody import custody, passing_on, use
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.kits.history import MAY_BE_ANOTHER_KITS
from kits.services.ledger import Book, LooseLevel, facts
from kits.services.ledger.undo import reversal
from kits.services.lookup import find, open_checkout
from kits.services.trips import reservations


@dataclass(frozen=True)
class KitCorrection:
    """What came of it: the kit that it was not, the one that it was, and the entry written for
    that; None where its own record has it already, or went on since."""

    wrong: Kit
    kit: Kit
    entry: Entry | None


def entry_and_kit(actor: Actor, entry_id: int) -> tuple[Entry, Kit]:
    """An act that may have been another kit's, in somebody's rooms or their own, with its kit.

    Raises NotFound, Refused (`not-reversible`) for other acts and for pouches out on their own.
    """
    entry = Entry.objects.select_related("kit__room", "kit__home_room").filter(pk=entry_id).first()
    own = entry is not None and actor.person is not None and entry.person_id == actor.person.pk
    if entry is None or entry.kit is None or not (own or actor.belongs_to(entry.room_id)):
        raise NotFound("entry", entry_id)
    if entry.kind not in MAY_BE_ANOTHER_KITS or facts.section_key(entry):
        raise Refused(
            "not-reversible",
            _(
                "Only taking out, passing on or handing back a whole kit can be moved to "
                "another kit. Undo this action, then repeat it with the right kit."
            ),
            entry=entry.pk,
        )
    return entry, entry.kit


def candidates(actor: Actor, entry: Entry, kit: Kit) -> QuerySet[Kit]:
    """The kits that an act may really have been of, the best match first: for one taken out those
    that are in, for one handed back those that are out; of the same kit list first."""
    out = Exists(Checkout.objects.open().of_whole_kits().filter(kit=OuterRef("pk")))
    wanted = out if entry.kind in (EntryKind.CHECK_IN, EntryKind.PASS) else ~out
    same_list = When(list_version__packing_list=kit.list_version.packing_list_id, then=Value(0))
    return (
        find.kits_of(actor)
        .active()
        .exclude(pk=kit.pk)
        .annotate(
            unlikely=Case(When(wanted, then=Value(0)), default=Value(1)),
            other_list=Case(same_list, default=Value(1), output_field=IntegerField()),
        )
        .order_by("unlikely", "other_list", "name")
    )


def correct_kit(act: Act, entry_id: int, kit: Kit) -> KitCorrection:
    """Take an act back and write the same for the kit that it really was.

    Raises what `reversal.reverse` raises; Refused (`same-kit`, `not-reversible`).
    """
    entry, wrong = entry_and_kit(act.actor, entry_id)
    if wrong.pk == kit.pk:
        raise Refused(
            "same-kit",
            _("%(kit)s is already the kit on record. Choose a different kit.") % {"kit": kit.name},
        )
    act = replace(act, reason=act.reason or _("The kit was actually %(kit)s.") % {"kit": kit.name})
    with Book(act) as book:  # both, so that two such acts meet in one order
        wrong, kit = book.lock(wrong.pk, kit.pk)
        again = _AGAIN[EntryKind(entry.kind)](entry)  # read before it is taken back
        reversal.reverse(act, entry.pk)
        went_on = Entry.objects.filter(
            kit=kit,
            kind__in=MAY_BE_ANOTHER_KITS,
            occurred_at__gt=entry.occurred_at,
            reversed_by__isnull=True,
        )
        if went_on.exists():
            return KitCorrection(wrong, kit, None)
        written = again(_of_its_own(act, entry, "really"), wrong, kit)
    return KitCorrection(find.any_kit(wrong.name), find.any_kit(kit.name), written)


def _of_its_own(act: Act, entry: Entry, name: str) -> Act:
    """An act that is taken back by itself, as of when the wrong one happened."""
    key = uuid.uuid5(act.key, name)
    return replace(act, key=key, claimed_at=entry.occurred_at, device_now=None, room=entry.room)


Again = Callable[[Act, Kit, Kit], Entry | None]
"""The same act once more: called with the act, the wrong kit and the right one; None where that is
on record already."""


def _taken_out(entry: Entry) -> Again:
    checkout = Checkout.objects.select_related("trip").get(opened_by=entry)
    to = Person.objects.filter(pk=entry.detail_as(CheckOutDetail)["to"] or 0).first()

    def again(act: Act, wrong: Kit, kit: Kit) -> Entry:
        if checkout.reservation_id is not None and checkout.trip is not None:
            # Where the reservation cannot follow, somebody sees to what the trip has coming.
            with contextlib.suppress(Problem):
                reservations.swap(_of_its_own(act, entry, "swap"), wrong, kit, checkout.trip)
        return custody.check_out(
            act,
            kit,
            person=to,
            trip=checkout.trip,
            due_at=checkout.due_at,
            short_reason=checkout.short_reason,
            emergency=entry.kind == EntryKind.EMERGENCY,
            already_gone=True,
        ).entry

    return again


def _handed_back(entry: Entry) -> Again:
    whole = list(Entry.objects.filter(key=entry.key))
    used = next((each for each in whole if each.kind == EntryKind.USE), None)
    uses = [each.pk for each in whole if each.kind == EntryKind.USE]
    gone = Movement.objects.filter(entry__in=uses, to_place__kind__in=use.WENT)
    counts = summed(
        ((leg.lot.item, None if leg.lot_assumed else leg.lot, leg.to_place.kind), leg.units)
        for leg in gone.select_related("lot__item", "to_place")
    )
    lines = [
        use.UseLine(item, units, lot, went=use.WENT[PlaceKind(kind)])
        for (item, lot, kind), units in counts.items()
    ]
    levels = list(LevelFact.objects.filter(entry__in=uses).select_related("section", "item"))
    withheld = {
        each.detail_as(KindDetail)["kind"]: each
        for each in whole
        if each.kind == EntryKind.WITHHOLD
    }
    wrong_with_it = withheld.get(WithheldKind.SOMETHING_WRONG)
    as_found = AsFound(entry.detail_as(CheckInDetail)["as_found"])
    remarks = Remarks(
        [
            NeedLine(need.item, need.words)
            for each in whole
            for need in each.unmet_needs.select_related("item")
        ],
        given_back=any(each.kind == EntryKind.NOT_OURS for each in whole),
    )

    def again(act: Act, _wrong: Kit, kit: Kit) -> Entry:
        places = {place.section_key: place for place in kit.sections.all()}
        return custody.check_in(
            act,
            kit,
            as_found=as_found,
            used=lines,
            levels=[
                LooseLevel(places[fact.section.section_key], fact.item, Level(fact.level))
                for fact in levels
                if fact.section.section_key in places
            ],
            sharps_or_blood=entry.detail_as(CheckInDetail)["sharps_or_blood"],
            wet=WithheldKind.DRYING in withheld,
            wrong=wrong_with_it.reason if wrong_with_it else "",
            incident=used.incident if used else "",
            remarks=remarks,
        ).entry

    return again


def _passed_on(entry: Entry) -> Again:
    to = Person.objects.get(pk=entry.detail_as(PassDetail)["to"])

    def again(act: Act, _wrong: Kit, kit: Kit) -> Entry | None:
        if (held := open_checkout(kit)) and held.person_id == to.pk:
            return None
        passing_on.pass_on(act, kit, to)
        return Entry.objects.filter(key=act.key).latest("id")

    return again


_AGAIN: dict[EntryKind, Callable[[Entry], Again]] = {
    EntryKind.CHECK_OUT: _taken_out,
    EntryKind.EMERGENCY: _taken_out,
    EntryKind.CHECK_IN: _handed_back,
    EntryKind.PASS: _passed_on,
}
