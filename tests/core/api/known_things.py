"""A small school of which requests made from the schema can name something, so that they reach the
services: things by the names that path parameters, queries and bodies have for them."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gearroom.core.models import Membership, Person
from gearroom.core.rules.roles import Role
from kits.models import Clearance, Notice, RecallScope, What
from kits.rules.events.facts import KitChanged
from kits.rules.ledger.facts import Criticality
from kits.services import events
from kits.services.buying import drafting
from kits.services.custody import custody, use
from kits.services.labelling import labelling
from kits.services.lists import list_changes
from kits.services.lists.list_changes import Amount, ChangeDraft, SourceDraft
from kits.services.recalls import recalls
from kits.services.stock import catalogue, offers
from kits.services.trips import reservations
from kits.services.weather import locations
from kits.services.webhooks import webhooks
from tests.core.api.made import Caller, somebody
from tests.kits import again, factories as make
from tests.kits.advice.school import three, turn_on
from tests.present import present


@dataclass
class Known:
    """`paths` holds the parameters of a path by its first word, or that it is of changes;
    `numbers` and `texts` what an integer or a text of that name may say, in a query or anywhere in
    a body."""

    authorization: str
    paths: dict[str, dict[str, Any]]
    numbers: dict[str, int]
    texts: dict[str, str]
    by_eye: int

    def name_in(self, case: Any) -> None:
        """Let a made-up request name what is there."""
        word, _, rest = case.path.removeprefix("/api/v1/").partition("/")
        if rest.startswith("changes/"):
            word = "changes"
        for name in case.path_parameters or ():
            case.path_parameters[name] = self.paths.get(word, {}).get(
                name, case.path_parameters[name]
            )
        case.body = self._named(case.body)
        if case.query:
            case.query = self._named(dict(case.query))

    def _named(self, value: Any, name: str = "") -> Any:
        if isinstance(value, dict):
            told = {key: self._named(inner, key) for key, inner in value.items()}
            if "level" in told:  # only what is judged by eye has one
                told["item"] = self.by_eye
            if {"source", "room"} <= set(told):  # it is sent to another room
                told["room"] = "cave-hut"
            return told
        if isinstance(value, list):
            return [self._named(inner, name) for inner in value]
        if isinstance(value, str):
            return self.texts.get(name, value)
        number = isinstance(value, int | float) and not isinstance(value, bool)
        return self.numbers.get(name, value) if number else value


def known_things() -> Known:
    """The school, and an administrator's token."""
    known: Known = again.once("known things", _made)
    admin = Person.objects.get(name="admin").user
    assert admin is not None
    known.authorization = f"Bearer {Caller(admin).secret}"
    known.paths["tokens"] = {"id": Caller(admin).token.pk}  # not that which asks
    return known


def _made() -> Known:
    w = make.make_world()
    admin = somebody("admin", Role.ADMINISTRATOR)
    Membership.objects.create(person=admin.person, role=Role.ADVISER.value, room=None)
    Person.objects.filter(pk=w.keeper.pk).update(email="kim@example.org")
    by, moor = make.act(admin.person), make.trip("Moor", w.store, 0, 0, leader=w.guide)
    reserved = reservations.reserve(make.act(w.keeper), w.day_01, moor, person=w.guide)
    custody.check_out(make.act(w.keeper), w.day_01)
    used = use.log_use(make.act(w.guide), w.day_01, [use.UseLine(w.dressing, 2)])
    (tag,) = labelling.labels_for(make.act(w.keeper), [w.day_02], w.store)
    catalogue.put_pack_code(by, w.dressing, gtin="09506000134352", units_per_pack=5)
    catalogue.put_substitute(by, w.dressing, w.shears)
    make.put_in(w.day_01, w.lots["gauge"], w.shelf, 1)
    cleared = custody.check_out(
        make.act(w.keeper),
        make.kit("DAY-03", w.version, w.store),
        person=w.guide,
        cleared_by=admin.person,
    )
    recall = recalls.start(by, item=w.dressing, scope=RecallScope.NUMBER, number="D2")
    caves = make.kit_list("Caves", {"main": [(w.dressing, 4, 2, Criticality.ROUTINE)]})
    change = list_changes.make(
        by,
        ChangeDraft(
            What.AMOUNT,
            w.dressing,
            "They ran out.",
            make.days(90),
            [caves.packing_list],
            [SourceDraft(True, "They ran out twice.", "Our records")],
            amount=Amount(6),
        ),
    )
    offer = offers.offer_of_supplier(
        by,
        "North",
        item=w.dressing,
        units=10,
        prices=[offers.PackPrice(1, Decimal(4))],
        currency="GBP",
    )
    (order,) = drafting.draft(
        by, w.store, packs={offer.pk: 1}, through=make.days(90), currency="GBP"
    )
    van = locations.add_location(by, w.store, name="Van", wet_months=[1])
    hook, _secret = webhooks.add(
        by, name="Bookings", address="https://booking.example/", types=[], room=w.store
    )
    changed = KitChanged(used.entry.pk, w.day_01.pk)
    (event,) = events.write(
        [events.Draft("kit.changed", changed.kit, changed, used.entry.recorded_at, w.store.pk)]
    )
    turn_on([admin.person.pk])
    advice = three(admin.person)
    lot, shelf = w.lots["d1"], w.shelf
    line = present(w.version.sections.first()).lines.first()
    version = {"id": w.version.packing_list_id, "number": 1, "before": 1}
    return Known(
        authorization="",
        by_eye=w.plasters.pk,
        paths={
            "advice": {"id": advice["draft"].pk},
            "clearances": {"id": Clearance.objects.get(entry=cleared.entry).pk},
            "notices": {"id": Notice.objects.latest("pk").pk},
            "items": {"id": w.dressing.pk},
            "kits": {"kit": "DAY-01"},
            "labels": {"code": tag.code},
            "locations": {"id": van.pk},
            "lots": {"id": w.lots["gauge"].pk},
            "packing-lists": version,
            "changes": {"id": change.pk},
            "people": {"id": w.guide.pk},
            "offers": {"id": offer.pk},
            "orders": {"id": order.order.pk},
            "suppliers": {"id": offer.supplier_id},
            "places": {"id": shelf.pk},
            "recalls": {"id": recall.pk},
            "reservations": {"id": reserved.reservation.pk},
            "entries": {"id": used.entry.pk},
            "rooms": {"room": w.store.slug},
            "webhooks": {"id": hook.pk},
            "trips": {"source": moor.source, "reference": moor.reference},
        },
        numbers={
            "item": w.dressing.pk, "instead": w.shears.pk, "packing_list": version["id"],
            "lists": version["id"],
            "version": 1, "responsible": w.instructor.pk, "deputy": w.keeper.pk,
            "leader": w.guide.pk, "person": w.guide.pk, "into": w.keeper.pk, "lot": lot.pk,
            "offer": offer.pk, "place": shelf.pk, "units": 2, "line": present(line).pk,
            "row": present(recall.places.first()).pk, "through": used.entry.pk,
        },
        texts={
            "lot": str(lot.pk), "shelf": str(shelf.pk), "place": str(shelf.pk),
            "source": str(w.upper.pk), "to": str(shelf.pk), "kit": "DAY-02", "giver": "DAY-02",
            "room": w.store.slug, "home_room": w.store.slug, "section": "main",
            "person": str(w.guide.pk), "holder": str(w.guide.pk), "cleared_by": str(w.keeper.pk),
            "trip": str(moor.pk), "labels": tag.code, "text": "DAY-02", "texts": "DAY-02",
            "returns_at": f"{make.days(1)}T10:00:00Z", "departs_at": f"{make.days(0)}T10:00:00Z",
            "event": str(event.message_id), "address": "https://booking.example/",
            "kits": "DAY-02", "mixed_with": "DAY-02", "sheet": "a4-3x7",
        },
    )  # fmt: skip
