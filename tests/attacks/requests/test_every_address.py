"""Every address of the API and the pages that names something, asked for something of another
room: none says anything of it, and none writes anything about it but what is a fact."""

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from django.urls import URLPattern, get_resolver

from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from gearroom.core.services.accounts import shared_devices, tokens
from kits.models import Entry, Kit, Notice, Order, Recall, Trip, WithheldKind
from kits.services.buying import drafting, filled_kits
from kits.services.buying.bought_kits import Content
from kits.services.calendars import calendars, versions
from kits.services.calendars.calendars import CalendarFacts
from kits.services.custody import custody
from kits.services.kits import holds
from kits.services.labelling import labelling
from kits.services.recalls import recalls
from kits.services.stock import offers
from kits.services.trips import reservations
from kits.services.weather import locations
from kits.services.webhooks import webhooks
from tests.kits import factories as make
from tests.kits.calendars.ics import far, ics
from tests.present import present
from tests.site.browsing import browser
from tests.site.every_page import change_lists

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

PHONE = "07700 900321"
OF_OTHERS = (b"Zebedee", b"Zachary", PHONE.encode(), b"Zip cave", b"Zither stand", b"fell in",
             b"Zulu van")  # fmt: skip
"""What belongs to the hut: people, a telephone, a trip, a shelf, a note, a van."""

FACTS = ("check-in", "needed", "mixed", "not-ours", "hand-back")
"""Ends of addresses where anybody reports what happened to a kit, of whatever room."""


@pytest.fixture
def hut() -> make.World:
    """The hut's own things, by the names that addresses have for them."""
    w = make.world()
    keeper = make.person("Zachary", Role.KEEPER, w.hut)
    Person.objects.filter(pk=w.stranger.pk).update(name="Zebedee", phone=PHONE)
    w.stranger.refresh_from_db()
    act = make.act(keeper)
    shelf = make.shelf(w.hut, "Zither stand")
    kit = make.kit("CAVE-9", w.version, w.hut, responsible=w.stranger)
    trip = make.trip("Zip cave", w.hut, 1, 1, leader=w.stranger)
    Trip.objects.filter(pk=trip.pk).update(reference="T-77")
    lot = make.some(w.dressing, shelf, 4, "Z9", make.days(200))
    make.put_in(kit, lot, shelf, 2)
    promise = reservations.reserve(make.act(keeper), kit, trip).reservation
    kept = holds.withhold(make.act(keeper), kit, WithheldKind.SOMETHING_WRONG, "fell in", _JPEG)
    out = custody.check_out(
        make.act(keeper), kit, person=w.stranger, already_gone=True, cleared_by=keeper
    )
    label = labelling.label_for(act, w.stranger, w.hut)
    recall = recalls.start(make.act(), item=w.tablets, scope="all")
    token, _secret = tokens.make(user=present(keeper.user), name="theirs", scopes=["read"])
    notice = Notice.objects.filter(person=w.stranger).first() or _notice(w, kit)
    device = shared_devices.add(make.act(keeper), w.hut, "Hut tablet").pk
    offered = filled_kits.add(
        make.act(keeper), w.hut, name="Zebedee kit", price=Decimal(12), currency="GBP",
        contents=[Content("Shears", None, 1)],
    )  # fmt: skip
    van = locations.add_location(make.act(keeper), w.hut, name="Zulu van", wet_months=[1])
    hook, _secret = webhooks.add(
        make.act(make.person("Zelda", Role.ADMINISTRATOR, w.hut)),
        name="Zulu bookings",
        address="https://zulu.example/",
        types=[],
        room=w.hut,
    )
    calendar = calendars.add(make.act(keeper), CalendarFacts("Zulu trips", w.hut, 8))
    for events in ([far("a"), far("b")], [far("a")]):
        versions.take(make.act(keeper), calendar, ics(*events))
    w.keeper_of_hut = keeper
    w.named = {
        "calendar": calendar.pk, "event": calendar.events.get(gone_at__isnull=False).pk,
        "location": van.pk, "locations": van.pk,
        "kit": kit.name, "place": shelf.pk, "lot": lot.pk, "shelf": shelf.pk,
        "person": w.stranger.pk, "entry": out.entry.pk, "trip": trip.pk, "room": w.hut.slug,
        "device": device, "token": token.pk, "notice": notice.pk, "code": label.code,
        "recall": recall.pk, "item": w.dressing.pk, "source": trip.source,
        "reference": "T-77", "number": kept.photos.get().pk, "signed_in": 1,
        "entries": out.entry.pk, "clearances": 1, "items": w.dressing.pk, "lots": lot.pk,
        "notices": notice.pk, "packing-lists": w.version.packing_list_id, "lists": 1,
        "changes": change_lists(w).pk,
        "people": w.stranger.pk, "places": shelf.pk, "recalls": recall.pk,
        "reservations": promise.pk, "tokens": token.pk, "before": 1,
        "time": present(out.checkout).pk, "link": "nothing", "signature": "nothing",
        "secret": "nothing", "claim": "nothing", "uid": "MQ", "key": "main", "role": "keeper",
        "list": w.version.packing_list_id, "need": "blister", "activity": "any",
        "advice": 1, "offers": 1, "suppliers": 1, "prices": 1,
        "strip": offered.pk, "bought-kits": offered.pk,
        "orders": order_of(w), "order": order_of(w), "webhooks": hook.pk, "webhook": hook.pk,
        "table": "record",
    }  # fmt: skip
    return w


def order_of(w: make.World) -> int:
    """An order of the hut's."""
    known = Order.objects.filter(room=w.hut).first()
    if known is not None:
        return known.pk
    offer = offers.offer_of_supplier(
        make.act(), "North supplies", item=w.dressing, units=10,
        prices=[offers.PackPrice(1, Decimal(4))], currency="GBP",
    )  # fmt: skip
    (made,) = drafting.draft(
        make.act(), w.hut, packs={offer.pk: 1}, through=make.days(90), currency="GBP"
    )
    return int(made.order.pk)


LISTS = [
    *(f"/api/v1/{name}/" for name in (
        "kits", "checkouts", "entries", "movements", "reservations", "notices", "labels", "trips",
        "people", "needs", "away", "clearances", "recalls", "orders")),
    "/", "/kits/", "/trips/", "/people/", "/scan/?text=CAVE-9", "/offline/book/", "/ask/",
    "/notices/", "/recent/",
]  # fmt: skip
_JPEG = b"\xff\xd8\xff\xe0"


def _notice(w: make.World, kit: Kit) -> Notice:
    return Notice.objects.create(
        person=w.stranger, kind="address-refused", fact="x", room=w.hut, kit=kit,
        facts={"person": "Zebedee", "phone": PHONE, "address": "a@b", "said": "no"},
        created_at=Entry.objects.latest("id").recorded_at,
    )  # fmt: skip


def addresses(patterns: Any = None, before: Any = "") -> Iterator[Any]:
    """Every address with something in it to name: its route, and the names."""
    for each in patterns if patterns is not None else get_resolver().url_patterns:
        route = before + str(each.pattern)
        if not isinstance(each, URLPattern):
            yield from addresses(each.url_patterns, route)
        elif "<" in route and "(?P" not in route:
            yield route


def filled(route: Any, named: Any) -> str:
    """A route with each name in it filled in; `id` is of what stands before it."""

    def value(found: Any) -> str:
        name = found[1].split(":")[-1]
        if name == "id":
            name = route[: found.start()].rstrip("/").split("/")[-1]
        if name in ("token", "number") and route.split("<")[0].endswith(("new/", "lists/", "s/")):
            return "1"
        return str(named[name])

    return "/" + re.sub(r"<([^>]+)>", value, route)


def ask(w: make.World, method: str, path: Any) -> Any:
    """An answer, as a keeper of the store, by token or in a browser."""
    if path.startswith("/api/v1/"):
        return make.caller(w.keeper)(
            method, path.removeprefix("/api/v1/"), None if method == "GET" else {}
        )
    client = browser(w.keeper)
    return client.get(path) if method == "GET" else client.post(path, {})


def test_no_address_says_or_does_anything_of_another_room(hut: make.World) -> None:
    paths = [filled(route, hut.named) for route in addresses()]
    wrong = {}
    for path in paths:
        if path.rstrip("/").endswith(FACTS):
            continue
        for method in ("GET", "POST", "PATCH", "PUT") if "api/" in path else ("GET", "POST"):
            before = Entry.objects.count()
            answer = ask(hut, method, path)
            shown = [word.decode() for word in OF_OTHERS if word in answer.getvalue()]
            wrote = Entry.objects.count() - before
            if shown or wrote or answer.status_code >= 500:
                wrong[method, path] = (answer.status_code, shown, wrote)
    assert wrong == {}
    assert len(paths) > 150


def test_nor_once_a_kit_of_another_room_was_handed_in_here(hut: make.World) -> None:
    """Who hands it in may use it where it stands, and learns nothing of the people in its story."""
    handed = make.caller(hut.keeper).post("kits/CAVE-9/check-in/", {"room": "main-store"})
    assert handed.status_code == 200
    people = OF_OTHERS[:3]
    answers = {"check-in": handed.getvalue()}
    for route in [*addresses(), *LISTS]:
        path = filled(route, hut.named) if "<" in route else route
        answers[path] = ask(hut, "GET", path).getvalue()
    wrong = {
        path: shown
        for path, content in answers.items()
        if (shown := [word for word in people if word in content])
    }
    assert wrong == {}


def test_the_hut_itself_sees_all_that_the_store_does_not(hut: make.World) -> None:
    """The words looked for above do stand where somebody may read them."""
    own = make.caller(hut.keeper_of_hut)
    paths = (
        "kits/CAVE-9/",
        f"people/{hut.stranger.pk}/",
        "trips/",
        "places/",
        "locations/",
        "kits/CAVE-9/history/",
    )
    seen = b"".join(own.get(path).getvalue() for path in paths)
    assert [word for word in OF_OTHERS if word not in seen] == []
    assert Recall.objects.exists()
