"""`GET /api/v1/events/`: every event once, in order, of one's own rooms."""

import json
from typing import Any
from urllib.parse import urlencode

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gearroom.core.rules.roles import Role
from kits.models import Event
from kits.services.custody import custody
from kits.services.kits import kits
from kits.services.recalls import recalls
from kits.services.trips import reservations
from kits.services.webhooks import content
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return make.world()


def events(**query: object) -> str:
    return f"events/?{urlencode(query)}"


def take(w: World) -> None:
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, already_gone=True)


def types_of(page: Any) -> list[str]:
    return [event["type"] for event in page["events"]]


def test_a_reader_goes_on_from_the_cursor_of_the_last_answer(w: World) -> None:
    call = make.caller(w.keeper)
    new = call.get("events/").json()
    assert new["more"] is False
    nothing = call.get(events(after=new["cursor"])).json()
    assert (nothing["events"], nothing["cursor"]) == ([], new["cursor"])
    take(w)
    custody.check_in(act(w.keeper), fresh(w.day_01))
    first = call.get(events(after=new["cursor"], limit=1)).json()
    assert (types_of(first), first["more"]) == (["kit.checked_out"], True)
    second = call.get(events(after=first["cursor"], limit=1)).json()
    assert (types_of(second), second["more"]) == (["kit.checked_in"], False)
    assert call.get(events(after=second["cursor"])).json()["events"] == []


def test_an_event_leads_on_to_the_kit_the_trip_and_the_entry(w: World) -> None:
    call = make.caller(w.keeper)
    walk = make.trip("Ridge walk", w.store, 1, 1)
    reservations.reserve(act(w.keeper), w.day_01, walk)
    (event,) = call.get(events(type="reservation.made")).json()["events"]
    assert set(event["links"]) == {"entry", "kit", "trip"}
    assert call.get(event["links"]["kit"].removeprefix("/api/v1/")).json()["name"] == "DAY-01"
    for address in event["links"].values():
        assert call.get(address.removeprefix("/api/v1/")).status_code == 200
    kits.edit_kit(act(w.keeper), fresh(w.day_01), name="DAY 1?")
    (renamed,) = call.get(events(type="kit.changed")).json()["events"]
    assert renamed["links"]["kit"] == "/api/v1/kits/DAY%201%3F/"


def test_a_webhook_sends_the_very_same(w: World) -> None:
    take(w)
    shown = make.caller(w.keeper).get("events/").json()["events"]
    events = Event.objects.order_by("id")
    sent = [json.loads(body) for body in content.of_events(list(events), make.actor(w.keeper))]
    assert shown == sent
    assert shown != []


def test_a_reader_gets_what_is_of_its_rooms_and_of_all(w: World) -> None:
    take(w)
    hut_kit = make.kit("HUT-01", w.version, w.hut)
    custody.check_out(act(), hut_kit, person=w.guide, already_gone=True)
    recalls.start(act(), item=w.dressing, scope="all")
    of_hut = make.caller(make.person("Ola", Role.INTEGRATION, w.hut)).get("events/").json()
    assert types_of(of_hut) == ["kit.checked_out", "lot.recalled"]
    assert [event["room"] for event in of_hut["events"]] == [w.hut.slug, None]
    everything = make.caller(make.person("Max", Role.KEEPER, None))
    one = everything.get(events(room=w.store.slug, type="kit.checked_out")).json()
    assert [event["links"]["kit"] for event in one["events"]] == ["/api/v1/kits/DAY-01/"]
    assert one["cursor"] == of_hut["cursor"]
    assert len(everything.get(events(type="kit.checked_out")).json()["events"]) == 2


def test_whoever_takes_kits_alone_does_not_read_what_others_do(w: World) -> None:
    assert make.caller(w.guide).get("events/").json()["code"] == "role-missing"
    keeper = make.caller(make.person("Kim", Role.KEEPER, w.hut))
    assert keeper.get(events(room=w.store.slug)).status_code == 404


def test_a_cursor_of_before_a_backup_was_put_back_is_refused(w: World) -> None:
    call = make.caller(w.keeper)
    take(w)
    cursor = call.get("events/").json()["cursor"]
    position, _, event = cursor.partition("-")
    other = f"{position}-{'0' * 8 if event != '0' * 8 else '1' * 8}"
    assert call.get(events(after=other)).json()["code"] == "cursor-of-another-time"
    assert call.get(events(after="12")).status_code == 400


def test_the_statements_do_not_grow_with_the_events(w: World) -> None:
    call = make.caller(w.keeper)
    take(w)
    call.get("events/")
    with CaptureQueriesContext(connection) as few:
        call.get("events/")
    for _ in range(4):
        custody.check_in(act(w.keeper), fresh(w.day_01))
        custody.check_out(act(w.keeper), fresh(w.day_01), person=w.guide, already_gone=True)
    with CaptureQueriesContext(connection) as many:
        assert len(call.get("events/").json()["events"]) == 9
    assert len(many) == len(few)
