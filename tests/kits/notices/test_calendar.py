"""The calendar that somebody subscribes to: what stands in it, and its secret address."""

import json
from typing import Any

import pytest
from django.test import Client
from icalendar import Calendar

from gearroom.core.models import Person
from kits.models import Checkout, Kit, Lot
from kits.services.custody import custody
from kits.services.mail import calendar
from tests.kits import factories
from tests.kits.factories import World, act, days
from tests.present import present

pytestmark = pytest.mark.django_db


def events(person: Person) -> dict[Any, Any]:
    found = Calendar.from_ical(calendar.of(Person.objects.get(pk=person.pk)))
    return {str(e["UID"]): e for e in found.walk("VEVENT")}


def test_a_date_that_changes_moves_its_event_and_doubles_none(w: World) -> None:
    before = events(w.instructor)
    tablets = w.lots["tablets"]
    Lot.objects.filter(pk=tablets.pk).update(expiry=days(200))
    after = events(w.instructor)
    assert before.keys() == after.keys()
    (uid,) = [uid for uid in before if uid.startswith(f"expiry-{w.day_01.pk}-{tablets.pk}@")]
    assert before[uid].decoded("DTSTART") == days(300)
    assert after[uid].decoded("DTSTART") == days(200)


def test_what_is_due_back_and_wants_a_look_stands_in_it(w: World) -> None:
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    held = Checkout.objects.get()
    found = {uid.split("@")[0]: e for uid, e in events(w.instructor).items()}
    assert found[f"due-{held.pk}"].decoded("DTSTART") == present(held.due_at).replace(microsecond=0)
    assert found[f"look-{w.day_01.pk}"].decoded("DTSTART") == days(365)


def test_whoever_looks_after_a_room_sees_its_shelves_and_no_others(w: World) -> None:
    Kit.objects.filter(pk=w.day_02.pk).update(responsible=None)
    hut_lot = factories.some(w.dressing, w.hut_shelf, 4, "H1", days(50))
    factories.put_in(w.day_02, w.lots["d2"], w.upper, 2)
    Lot.objects.filter(pk=w.lots["d2"].pk).update(expiry=days(300))
    of_keeper = {uid.split("@")[0] for uid in events(w.keeper)}
    assert f"expiry-room-{w.store.pk}-{w.lots['tablets'].pk}" in of_keeper
    assert f"expiry-{w.day_02.pk}-{w.lots['d2'].pk}" in of_keeper
    assert not [uid for uid in of_keeper if uid.endswith(f"-{hut_lot.pk}")]
    assert not [uid for uid in of_keeper if uid.startswith(f"expiry-{w.day_01.pk}-")]
    assert not [uid for uid in events(w.guide) if uid.startswith("expiry-")]
    w.keeper.memberships.all().delete()
    assert events(w.keeper) == {}


def test_it_may_have_one_event_a_month(w: World) -> None:
    Lot.objects.filter(pk=w.lots["tablets"].pk).update(expiry=days(60))
    factories.some(w.dressing, w.shelf, 3, "D3", days(60))
    call = factories.caller(w.instructor)
    assert call.get("notices/settings/").json()["calendar_by"] == "batch"
    answer = call.patch("notices/settings/", {"calendar_by": "month"})
    assert answer.json()["calendar_by"] == "month"
    first = days(60).replace(day=1)
    found = {uid.split("@")[0]: e for uid, e in events(w.instructor).items()}
    event = found[f"expiry-month-{first:%Y-%m}"]
    assert event.decoded("DTSTART") == first
    assert "3 batches" in str(event["SUMMARY"])
    assert "8 × Pain tablets, DAY-01" in str(event["DESCRIPTION"])
    assert "3 × Wound dressing 10 × 12, Main store" in str(event["DESCRIPTION"])
    assert not [uid for uid in found if uid.startswith(f"expiry-{w.day_01.pk}")]


def test_its_address_is_secret_and_can_be_ended(w: World) -> None:
    call = factories.caller(w.instructor)
    made = call.post("notices/calendar/", idempotency_key="5c0f3f86-4f3a-4b52-a3ff-0f4c6f6f9a01")
    address = json.loads(made.content)["address"]
    again = call.post("notices/calendar/", idempotency_key="5c0f3f86-4f3a-4b52-a3ff-0f4c6f6f9a01")
    assert json.loads(again.content)["address"] is None
    path = address.removeprefix("http://testserver")
    shown = Client().get(path)
    assert shown["Content-Type"].startswith("text/calendar")
    assert b"DAY-01" in shown.content
    call.post("notices/calendar/end/")
    assert Client().get(path).status_code == 404
