"""Items as whoever may see them sees them at a scan."""

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor
from gearroom.core.models import Person
from kits.models import Checkout, Holding, Kit, Lot, Place, Seal
from kits.rules.ledger.expiry import why_not
from kits.services.custody import returns
from kits.services.ledger import readiness, verdicts
from kits.services.lookup import find, holders, promises
from kits.services.text import reason_texts, verdict_texts
from kits.services.trips import carried_when
from labels.services.scan.results import (
    ScannedKit,
    ScannedLot,
    ScannedPerson,
    ScannedSection,
    ScannedShelf,
)

_MOST_PLACES = 20


def zone_for(act: Act) -> str:
    """The time zone that "today" is asked in: of the act's room, or of the person's."""
    room = act.room or (act.person.home_room if act.person else None)
    return room.time_zone if room else "UTC"


def scanned_kit(actor: Actor, kit: Kit) -> ScannedKit:
    """A kit: its one verdict, who has it (the phone for who may see people), and the trip that it
    is out for or reserved for."""
    held = holders.open_checkout(kit)
    judged = verdicts.judged_one(kit)
    trip, verdict = judged.question.trip, judged.verdict
    its = promises.of_kits([kit.pk]).get(kit.pk, [])
    promise = next((each for each in its if trip is not None and each.trip.pk == trip.pk), None)
    knows = find.knows_kit(actor, kit)
    guide = held.person if held else promise.guide if promise and knows else None
    days = readiness.days_now(kit)
    seal = Seal.objects.unbroken().filter(kit=kit, section__isnull=True).first()
    person = held.person if held else None
    phones = any(actor.may("see_people", room) for room in (kit.home_room_id, kit.room_id))
    return ScannedKit(
        id=kit.pk,
        name=kit.name,
        packing_list=str(kit.list_version),
        room=kit.room.name,
        home_room=kit.home_room.name,
        fit=verdict.fit,
        may_go=verdict.may_go,
        verdict=str(verdict.word),
        verdict_text=verdict_texts.verdict(verdict),
        first_expiry=kit.first_expiry,
        through=verdict.through,
        ready_until=days.ready_until,
        fit_until=days.fit_until,
        may_go_until=days.may_go_until,
        reasons=reason_texts.reasons(verdict.reasons),
        seal=seal.number if seal else "",
        to_sort=kit.to_sort_since is not None,
        responsible=kit.responsible.name if kit.responsible and knows else "",
        has_it=(person.name if person else _("an unnamed person")) if held else "",
        has_it_id=person.pk if person else None,
        has_it_phone=person.phone if person and phones else "",
        out_since=held.out_at if held else None,
        due_at=held.due_at if held else None,
        trip=trip.pk if trip else None,
        trip_name=trip.name if trip else "",
        trip_departs_at=trip.departs_at if trip else None,
        trip_last_day=trip.last_day if trip else None,
        guide=guide.pk if guide else None,
        guide_name=guide.name if guide else "",
        not_ours=returns.has_own(kit),
        to_add=carried_when.to_add(trip, [kit]) if trip else (),
        training=kit.training,
        emergency=held is not None and held.emergency,
    )


def scanned_section(place: Place) -> ScannedSection:
    """A kit's section, and the seal on it."""
    seal = Seal.objects.unbroken().filter(section=place).first()
    return ScannedSection(
        id=place.pk,
        name=place.name,
        key=place.section_key,
        kit=place.kit.name if place.kit else "",
        seal=seal.number if seal else "",
    )


def scanned_shelf(place: Place) -> ScannedShelf:
    """A shelf."""
    return ScannedShelf(place.pk, place.name, place.room.name if place.room else "")


def scanned_lot(act: Act, lot: Lot, *, where: bool) -> ScannedLot:
    """A batch, and with `where` what the places of the asker's rooms hold of it by the book."""
    fault = why_not(readiness.batches([lot])[lot.pk], clock.today(zone_for(act)))
    held: list[dict[str, object]] = []
    if where:
        rows = (
            Holding.objects.on_hand()
            .filter(lot=lot, place__in=find.places_of(act.actor))
            .select_related("place__kit", "place__room")
            .order_by("place__kit__name", "place__name")[:_MOST_PLACES]
        )
        held = [
            {
                "place": row.place_id,
                "name": row.place.name,
                "inside": row.place.kit.name if row.place.kit else str(row.place.room or ""),
                "units": row.units,
            }
            for row in rows
        ]
    return ScannedLot(
        id=lot.pk,
        item=lot.item_id,
        item_name=lot.item.name,
        base_unit=lot.item.base_unit,
        number=lot.number,
        serial=lot.serial,
        expiry=lot.expiry,
        recalled=lot.recall_id is not None,
        fault=str(fault) if fault else "",
        where=held,
    )


def scanned_person(act: Act, person: Person) -> ScannedPerson:
    """A person and the kits they have now, of those that the asker may see."""
    out = (
        Checkout.objects.open()
        .filter(person=person, kit__in=find.kits_of(act.actor))
        .order_by("kit__name")
        .values_list("kit__name", flat=True)
    )
    return ScannedPerson(person.pk, person.name, list(out))
