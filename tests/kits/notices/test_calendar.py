"""The calendar that somebody subscribes to: what stands in it, and its secret address."""

import json
from typing import Any

import pytest
from django.test import Client
from icalendar import Calendar

from gearroom.core.models import Person
from kits.models import (
    Checkout,
    Lot,
)
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
