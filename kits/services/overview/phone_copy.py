"""The pocket book: what a phone keeps of the gear room for when there is no network.

The kits of somebody's rooms with what is inside, who has them and what they are promised to, and
what the labels on them mean. The number of queries does not grow with the kits.
"""

import hashlib
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Max, Q, Sum

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Membership, Person, Room
from gearroom.core.rules.grouping import grouped
from gearroom.core.services.people import people
from kits.models import (
    Checkout,
    Entry,
    HazardNeed,
    Holding,
    Item,
    ItemNeed,
    Kit,
    Label,
    LabelKind,
    LevelFact,
    Lot,
    Movement,
    Need,
    PlaceKind,
    Reservation,
    Trip,
    Withholding,
)
from kits.rules.ledger import EDITION, good_through
from kits.rules.restocking.picking import first_out
from kits.rules.restocking.sealing import lacks
from kits.services.custody import returns
from kits.services.ledger import readiness, verdicts
from kits.services.ledger.kit_state import iso
from kits.services.overview import kits_overview
from kits.services.text import verdict_texts, wording

DAYS_JUDGED = 35
"""For so many days from today a phone knows how each kit stands."""

_LOOK_BACK = timedelta(days=730)


def pocket_book(actor: Actor) -> dict[str, Any]:
    """Everything as JSON-like values; dates and times in ISO form, ids as numbers.

    `kits`: name, room, verdicts, first_expiry (None: nothing is dated), withheld, seal,
    may_check (the asker may look inside), lacks (something is not replaced today), not_ours
    (something of a participant's own is in it), out (person, name, phone, since, due or None,
    trip; None: in), next (trip, departs, last_day, person, name; None: promised to no trip),
    sections (key, name, lines of [thing, batch, units], levels of [thing, level]). `verdicts`, in
    order: `from` (a day on which it holds, until the next), `verdict` (the word), `text` (as pages
    show it), `through` (the day judged; on a later day than that, the day itself), `trip` (id) and
    `trip_name` (None and empty: for none).
    `judged_until`: the last day for which verdicts are known.
    `things` by id: name, by_eye, used (units in two years); `batches` by id: number, until.
    `people`: id, name. `labels` by code: kind (kit, person or batch) and its name or id.
    Phones and people are left out for whoever may not see people.
    """
    rows = list(kits_overview.listed(actor).order_by("name"))
    changes = verdicts.changes(rows, DAYS_JUDGED)
    today = {pk: each[0].judged for pk, each in changes.items()}
    kits = kits_overview.overviews(actor, rows, today)
    places = [known.place.pk for kit in kits for known in kit.sections]
    lines, lots = _inside(places)
    batches = readiness.batches(lots)
    newest = list(LevelFact.objects.newest_in(places).order_by("item__name", "pk"))
    levels = grouped((fact.section_id, [fact.item_id, fact.level]) for fact in newest)
    things = Item.objects.in_bulk({lot.item_id for lot in lots} | {f.item_id for f in newest})
    whom = list(people.choices(actor))
    theirs = returns.ids_with_own(known.kit.pk for known in kits)
    used = _used(things)
    return {
        "judged_until": iso(_judged_until(rows)),
        "kits": [
            {
                **_kit(actor, known, changes[known.kit.pk], lines, levels),
                "not_ours": known.kit.pk in theirs,
            }
            for known in kits
        ],
        "things": {
            item.pk: {"name": item.name, "by_eye": item.by_eye, "used": used.get(item.pk, 0)}
            for item in things.values()
        },
        "batches": {
            lot.pk: {"number": lot.number, "until": iso(good_through(batches[lot.pk]))}
            for lot in lots
        },
        "people": [{"id": person.pk, "name": person.name} for person in whom],
        "labels": _labels(kits, places, [lot.pk for lot in lots], whom),
    }


def _judged_until(kits: Iterable[Kit]) -> date | None:
    """The last day for which all of these kits were judged."""
    todays = {readiness.today_of(kit) for kit in kits}
    return min(todays) + timedelta(days=DAYS_JUDGED - 1) if todays else None


def _inside(places: Iterable[int]) -> tuple[dict[int, list[list[int]]], list[Lot]]:
    """The lines of each section, by thing and soonest expiry, and the batches that they name."""
    held = Holding.objects.on_hand().filter(place__in=places)
    lots = list(Lot.objects.filter(pk__in=held.values("lot")).select_related("item"))
    batches = readiness.batches(lots)
    lots.sort(key=lambda lot: (lot.item.name, first_out(batches[lot.pk], "")))
    rank = {lot.pk: (number, lot.item_id) for number, lot in enumerate(lots)}
    rows = sorted(held.values_list("place", "lot", "units"), key=lambda row: rank[row[1]])
    return grouped((place, [rank[lot][1], lot, units]) for place, lot, units in rows), lots


def _kit(
    actor: Actor,
    seen: kits_overview.Overview,
    changes: Iterable[verdicts.Change],
    lines: dict[int, list[list[int]]],
    levels: dict[int, list[list[Any]]],
) -> dict[str, Any]:
    kit = seen.kit
    return {
        "name": kit.name,
        "room": kit.room.name,
        "verdicts": [_verdict(change) for change in changes],
        "first_expiry": iso(kit.first_expiry),
        "withheld": [_withheld(row) for row in seen.withheld],
        "seal": seen.seal,
        "may_check": actor.may("look_inside", kit.room_id),
        "lacks": lacks(seen.judged.verdict),
        "out": _out(seen.checkout, phones=seen.phones) if seen.checkout else None,
        "next": _next(seen.reserved, seen.guide) if seen.reserved else None,
        "sections": [
            {
                "key": section.place.section_key,
                "name": section.place.name,
                "lines": lines[section.place.pk],
                "levels": levels[section.place.pk],
            }
            for section in seen.sections
        ],
    }


def _verdict(change: verdicts.Change) -> dict[str, Any]:
    question, verdict = change.judged.question, change.judged.verdict
    return {
        "from": change.first_day.isoformat(),
        "verdict": str(verdict.word),
        "text": verdict_texts.verdict(verdict),
        "through": question.through.isoformat(),
        "trip": question.trip.pk if question.trip else None,
        "trip_name": question.trip.name if question.trip else "",
    }


def _withheld(row: Withholding) -> str:
    kind = wording.withheld(row.kind)
    return f"{kind}: {row.note}" if row.note else kind


def _out(held: Checkout, *, phones: bool) -> dict[str, Any]:
    who = held.person
    return {
        "person": who.pk if who else None,
        "name": who.name if who else "",
        "phone": who.phone if who and phones else "",
        "since": held.out_at.isoformat(),
        "due": iso(held.due_at),
        "trip": held.trip.name if held.trip else "",
    }


def _next(promise: Reservation, guide: Person | None) -> dict[str, Any]:
    return {
        "trip": promise.trip.name,
        "departs": promise.trip.departs_at.isoformat(),
        "last_day": promise.trip.last_day.isoformat(),
        "person": guide.pk if guide else None,
        "name": guide.name if guide else "",
    }


def _used(things: Iterable[int]) -> dict[int, int]:
    """Units of each thing that were used in two years: what is offered first."""
    rows = Movement.objects.filter(
        to_place__kind=PlaceKind.USED,
        lot__item__in=list(things),
        entry__occurred_at__gte=clock.now() - _LOOK_BACK,
    )
    return dict(rows.values_list("lot__item").annotate(total=Sum("units")).order_by())


def _labels(
    kits: Iterable[kits_overview.Overview],
    places: Iterable[int],
    batches: Iterable[int],
    whom: Iterable[Person],
) -> dict[str, list[Any]]:
    """What the labels that may be scanned on the way are on; a pouch's stands for its kit."""
    names = {known.kit.pk: known.kit.name for known in kits}
    on = (
        Q(kind=LabelKind.KIT, kit__in=names)
        | Q(kind=LabelKind.SECTION, place__in=list(places))
        | Q(kind=LabelKind.LOT, lot__in=list(batches))
        | Q(kind=LabelKind.PERSON, person__in=[person.pk for person in whom])
    )
    targets: dict[str, list[Any]] = {}
    for label in Label.objects.active().filter(on).select_related("place").order_by("code"):
        if label.lot_id:
            targets[label.code] = ["batch", label.lot_id]
        elif label.person_id:
            targets[label.code] = ["person", label.person_id]
        else:
            kit_id = label.kit_id or (label.place.kit_id if label.place else None)
            targets[label.code] = ["kit", names[kit_id or 0]]
    return targets


# ----------------------------------------------------------------------------------------- revision
def revision(actor: Actor) -> str:
    """A name for the pocket book as it is now, in 32 hexadecimal digits, which changes whenever the
    book may have; to be read before the book is. It is made of facts that are stored, read in a few
    queries whose number never grows, so that a phone that has the book costs next to nothing."""
    return hashlib.sha256("".join(map(repr, _facts(actor))).encode()).hexdigest()[:32]


def _facts(actor: Actor) -> Iterator[object]:
    yield EDITION
    yield actor.person and actor.person.pk
    yield sorted((room or 0, *sorted(roles)) for room, roles in actor.roles.items())
    yield actor.assurance
    yield list(Room.objects.order_by("pk").values_list())
    # What a kit is judged by, and the day that it is judged on, change at midnight where it is.
    zones = Room.objects.order_by("time_zone").values_list("time_zone", flat=True).distinct()
    yield [clock.today(zone) for zone in zones]
    # Entries are numbered before they are committed: kits say of themselves that they changed.
    yield Entry.objects.aggregate(newest=Max("id"))
    yield list(
        Kit.objects.order_by("pk").values_list("pk", "revision", "name", "room", "home_room")
    )
    # A trip that ends falls out at that instant.
    yield list(
        Trip.objects.filter(returns_at__gt=clock.now())
        .order_by("pk")
        .values_list("pk", "changed_at")
    )
    yield list(Item.objects.order_by("pk").values_list("pk", "revision", "name"))
    # What hazards ask of lists is in verdicts.
    yield list(HazardNeed.objects.order_by("pk").values_list("hazard", "need", "units"))
    yield list(ItemNeed.objects.order_by("pk").values_list("item", "need"))
    yield list(Need.objects.order_by("pk").values_list("pk", "name"))
    yield list(
        Person.objects.order_by("pk").values_list(
            "pk", "name", "phone", "left_on", "merged_into", "home_room"
        )
    )
    yield list(Membership.objects.order_by("pk").values_list("person", "room", "role"))
    bound = ("kit", "place", "lot", "person", "cancelled_at")
    yield Label.objects.aggregate(newest=Max("id"), **{f"of_{name}": Count(name) for name in bound})
