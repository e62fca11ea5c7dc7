"""What is told at once, to whom, when, and why it was not; choices, and the API."""

import json
from datetime import datetime, timedelta
from email import message_from_bytes
from email.policy import default
from typing import Any

import pytest
import time_machine
from django.utils import timezone
from pytest_django import Settings

from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from kits.models import (
    Checkout,
    Episode,
    Holding,
    Kit,
    Notice,
    NotificationChoice,
    NotificationPreferences,
    RecallPlace,
    RecallScope,
)
from kits.services.custody import custody, use
from kits.services.mail import alarms, notice_texts, overdue, sending
from kits.services.notices import writing
from kits.services.recalls import recall_notices, recalls
from kits.services.trips import reservations
from tests.core.api.made import is_problem
from tests.kits import factories
from tests.kits.factories import World, act, days
from tests.present import present

pytestmark = pytest.mark.django_db


def told(kind: str) -> list[Any]:
    return sorted(Notice.objects.filter(kind=kind).values_list("person__name", flat=True))


def why(**filters: Person | int) -> str:
    return Notice.objects.get(**filters).unsent_why


# ------------------------------------------------------------------------------- choices, quiet
def test_what_somebody_chose_not_to_hear_is_not_sent_and_says_so(w: World) -> None:
    NotificationChoice.objects.create(person=w.instructor, kind="lost", when="never")
    writing.notify([w.instructor, w.keeper], "lost", "x", kit=w.day_01)
    assert sending.send_due() == 1
    assert why(person=w.instructor) == "chosen"


def test_a_recall_is_sent_whatever_was_chosen_and_in_quiet_hours(w: World) -> None:
    NotificationChoice.objects.create(person=w.instructor, kind="recall", when="never")
    NotificationPreferences.objects.create(
        person=w.instructor, quiet_from="00:00", quiet_until="23:59"
    )
    writing.notify([w.instructor], "recall", "x", kit=w.day_01, facts={"thing": "Dressing"})
    assert sending.send_due() == 1


def test_quiet_hours_put_the_rest_off_until_they_end(w: World) -> None:
    NotificationPreferences.objects.create(
        person=w.instructor, quiet_from="22:00", quiet_until="07:00"
    )
    night = datetime(2027, 1, 5, 23, 0, tzinfo=timezone.get_current_timezone())
    with time_machine.travel(night, tick=False):
        writing.notify([w.instructor], "lost", "x", kit=w.day_01)
        assert sending.send_due() == 0
    with time_machine.travel(night + timedelta(hours=7, minutes=59), tick=False):
        assert sending.send_due() == 0
    with time_machine.travel(night + timedelta(hours=8), tick=False):
        assert sending.send_due() == 1


def test_without_an_address_or_when_they_have_left_it_says_why(w: World) -> None:
    Person.objects.filter(pk=w.keeper.pk).update(email="")
    Person.objects.filter(pk=w.guide.pk).update(left_on=days(0))
    writing.notify([w.keeper, w.guide], "lost", "x", kit=w.day_01)
    assert sending.send_due() == 0
    assert (why(person=w.keeper), why(person=w.guide)) == ("no-address", "left")


def test_what_was_taken_back_is_not_sent(w: World) -> None:
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, emergency=True)
    writing.withdraw(present(present(Notice.objects.filter(kind="emergency").first()).entry))
    assert sending.send_due() == 0


def test_a_name_cannot_add_a_header(w: World) -> None:
    Person.objects.filter(pk=w.instructor.pk).update(name="Ines\r\nBcc: thief@example.org")
    Kit.objects.filter(pk=w.day_01.pk).update(name="DAY\r\nX-Evil: 1")
    writing.notify([w.instructor], "lost", "x", kit=Kit.objects.get(pk=w.day_01.pk))
    assert sending.send_due() == 1
    message = message_from_bytes(bytes(present(Notice.objects.get().rendered)), policy=default)
    assert message["Bcc"] is None and message["X-Evil"] is None
    assert [a.addr_spec for a in message["To"].addresses] == ["ines@example.org"]


# ----------------------------------------------------------------------------------- not back
def late(w: World, **by: Any) -> datetime:
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    due = timezone.now() + timedelta(minutes=1)
    Checkout.objects.update(due_at=due)
    return due


def test_not_back_goes_to_who_has_it_then_to_the_keeper_then_daily(w: World) -> None:
    due = late(w)
    overdue.look(due + timedelta(hours=1, minutes=59))
    assert told("not-back") == []
    overdue.look(due + timedelta(hours=2))
    overdue.look(due + timedelta(hours=3))
    assert told("not-back") == ["Gil"]
    overdue.look(due + timedelta(hours=4))
    assert told("not-back") == ["Gil", "Ines", "Kim"]
    overdue.look(due + timedelta(days=1, hours=2))
    assert told("not-back") == sorted(["Gil", "Ines", "Kim"] * 2)


def test_after_a_week_without_power_not_back_is_told_once_to_each(w: World) -> None:
    due = late(w)
    overdue.look(due + timedelta(days=7))
    assert told("not-back") == ["Gil", "Ines", "Kim"]


# --------------------------------------------------------------------------- promised, not fit
def promised(w: World, hours: int = 24) -> None:
    trip = factories.trip("Hill day", w.store, first=1, last=1, leader=w.guide)
    trip.departs_at = timezone.now() + timedelta(hours=hours)
    trip.returns_at = trip.departs_at + timedelta(hours=9)
    trip.save()
    reservations.reserve(act(w.keeper), w.day_01, trip)


def test_a_kit_promised_within_48_hours_is_told_while_it_is_not_fit_once(w: World) -> None:
    promised(w)
    alarms.going_soon(timezone.now())
    assert told("not-fit") == []
    use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.shears, units=1)])
    alarms.going_soon(timezone.now())
    alarms.going_soon(timezone.now())
    assert told("not-fit") == ["Ines", "Kim"]
    facts = present(Notice.objects.filter(kind="not-fit").first()).facts
    assert facts["trip"] == "Hill day" and "Shears" in facts["kits"][0]["reasons"][0]


def test_a_must_have_gone_from_it_is_told_for_itself(w: World) -> None:
    promised(w)
    use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.dressing, units=4)])
    alarms.going_soon(timezone.now())
    assert told("must-have-gone") == ["Ines", "Kim"]
    assert told("not-fit") == []


def test_settled_and_broken_again_it_is_told_again(w: World) -> None:
    promised(w)
    for _ in range(2):
        use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.shears, units=1)])
        alarms.going_soon(timezone.now())
        factories.put_in(factories.fresh(w.day_01), w.lots["shears"], w.shelf, 1)
        alarms.going_soon(timezone.now())
    assert told("not-fit") == sorted(["Ines", "Kim"] * 2)
    assert Episode.objects.filter(closed_at=None).count() == 0


def test_a_trip_in_three_days_alarms_nobody(w: World) -> None:
    promised(w, hours=49)
    use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.shears, units=1)])
    alarms.going_soon(timezone.now())
    assert told("not-fit") == []


# ------------------------------------------------------------------------- a trip goes uncovered
def test_a_trip_without_a_kit_two_days_before_is_told_once_until_it_has_one(
    w: World, settings: Settings
) -> None:
    settings.PUBLIC_URL = "https://gear.example.org"
    trip = factories.trip("Hill day", w.store, first=1, last=1, leader=w.guide)
    factories.trip("Far away", w.store, first=4, last=4)
    factories.trip("Nobody's", None, first=1, last=1)
    for _ in range(2):
        alarms.going_soon(timezone.now())
    assert told("not-covered") == ["Kim"]
    row = notice_texts.row(Notice.objects.get(kind="not-covered"))
    assert row.text.startswith("Hill day leaves")
    assert row.text.endswith("but no kit is reserved for it.")
    assert row.url == f"https://gear.example.org/trips/{trip.pk}/"

    reservations.reserve(act(w.keeper), w.day_01, trip)
    alarms.going_soon(timezone.now())
    assert Episode.objects.filter(closed_at=None).count() == 0


def test_a_kit_that_a_rescue_took_is_a_cause_of_its_own(w: World) -> None:
    promised(w)
    use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.shears, units=1)])
    alarms.going_soon(timezone.now())
    custody.check_out(act(w.guide), w.day_01, emergency=True)
    for _ in range(2):
        alarms.going_soon(timezone.now())
    assert told("not-fit") == sorted(["Ines", "Kim"] * 2)
    out = Notice.objects.filter(kind="not-fit").latest("id").facts["kits"][0]["out"]
    assert out["person"] == "Gil"


def test_kits_gone_early_that_do_not_serve_their_trip_together_are_told(w: World) -> None:
    trip = factories.trip("Hill day", w.store, first=1, last=1, leader=w.guide, people=40)
    reservations.reserve(act(w.keeper), w.day_01, trip)
    custody.check_out(act(w.keeper), w.day_01, trip=trip, already_gone=True)
    alarms.going_soon(timezone.now())
    assert (told("not-covered"), told("not-fit")) == (["Ines", "Kim"], [])
    row = notice_texts.row(present(Notice.objects.filter(kind="not-covered").first()))
    assert "40 people" in row.lines[0]


def test_the_keepers_of_the_room_it_leaves_from_hear_of_another_rooms_kit(w: World) -> None:
    mo = factories.person("Mo", Role.KEEPER, w.hut)
    trip = factories.trip("Sump day", w.hut, first=1, last=1)
    reservations.reserve(act(), w.day_01, trip)
    use.log_use(act(w.guide), w.day_01, [use.UseLine(item=w.shears, units=1)])
    alarms.going_soon(timezone.now())
    assert told("not-fit") == ["Ines", "Kim", mo.name]


# -------------------------------------------------------------------------------------- stock
def set_stock(w: World, units: int) -> None:
    Holding.objects.filter(lot=w.lots["tablets"], place=w.shelf).update(units=units)
    alarms.look_at_stock(timezone.now())


def test_low_stock_is_told_once_a_crossing_and_not_for_one_unit_back_and_forth(w: World) -> None:
    w.tablets.order_down_to = 20
    w.tablets.save()
    set_stock(w, 21)
    assert told("low-stock") == []
    for units in (20, 19, 21, 24, 20, 12):
        set_stock(w, units)
    assert told("low-stock") == ["Kim"]
    set_stock(w, 25)
    set_stock(w, 20)
    assert told("low-stock") == ["Kim", "Kim"]
    assert Episode.objects.filter(kind="low-stock", closed_at=None).count() == 1


def test_what_runs_low_leads_to_the_thing_and_several_to_the_store(
    w: World, settings: Settings
) -> None:
    settings.PUBLIC_URL = "https://gear.example.org"
    w.tablets.order_down_to = 20
    w.tablets.save()
    set_stock(w, 20)
    notice = Notice.objects.get(kind="low-stock")

    assert notice_texts.row(notice).url.endswith("/stock/order/?weeks=26&room=main-store")
    notice.facts["things"] *= 2
    assert notice_texts.row(notice).url.endswith("/stock/order/?weeks=26&room=main-store")


# ------------------------------------------------------------------------------------- recalls
def test_a_recall_asks_again_each_day_until_somebody_answered(w: World) -> None:
    recall = recalls.start(act(w.keeper), item=w.dressing, scope=RecallScope.NUMBER, number="D1")
    now = recall.entry.recorded_at

    def asked(after: timedelta) -> int:
        recall_notices.ask_again(now + after)
        return Notice.objects.filter(kind="recall", facts__has_key="again").count()

    assert asked(timedelta(hours=23)) == 0
    assert asked(timedelta(hours=24)) == asked(timedelta(hours=47)) == 1
    assert asked(timedelta(hours=48)) == 2
    assert asked(timedelta(days=9)) == 3
    row = RecallPlace.objects.get(recall=recall, place__kit=w.day_01)
    recalls.answer(act(w.instructor), row, recalls.Answer.TAKEN_OUT, removed=6)
    assert asked(timedelta(days=10)) == 3


# --------------------------------------------------------------------------------------- doors
def body(answer: Any, status: int = 200) -> Any:
    assert answer.status_code == status, answer.content
    return json.loads(answer.content)


def test_a_keeper_sees_their_rooms_notices_and_a_guide_their_own(w: World) -> None:
    writing.notify([w.guide, w.instructor], "lost", "x", kit=w.day_01)
    writing.notify([w.stranger], "lost", "y", room=w.hut)

    def seen(who: Person) -> list[Any]:
        rows = body(factories.caller(who).get("notices/"))["results"]
        return sorted(row["person"]["name"] for row in rows)

    assert seen(w.keeper) == ["Gil", "Ines"]
    assert seen(w.guide) == ["Gil"]


def test_it_says_what_was_told_and_why_it_was_or_was_not_sent(w: World, settings: Settings) -> None:
    NotificationChoice.objects.create(person=w.keeper, kind="lost", when="never")
    writing.notify([w.instructor, w.keeper], "lost", "x", kit=w.day_01)
    call = factories.caller(w.keeper)
    assert {r["state"] for r in body(call.get("notices/"))["results"]} == {"waiting"}
    sending.send_due()
    (sent,) = body(call.get("notices/?state=sent"))["results"]
    assert sent["message_id"] and sent["sent_at"]
    assert sent["why"].startswith("The email was saved as a file.")
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    (sent,) = body(call.get("notices/?state=sent"))["results"]
    assert sent["why"] == "Their mail server accepted the email."
    whole = body(call.get(f"notices/{sent['id']}/"))
    assert "DAY-01 cannot be found" in whole["text"]
    (unsent,) = body(call.get("notices/?state=not-sent"))["results"]
    assert unsent["why"] == "They have turned this kind of notification off."


def test_send_again_is_a_notice_of_its_own_whatever_was_chosen(w: World) -> None:
    NotificationChoice.objects.create(person=w.instructor, kind="lost", when="never")
    writing.notify([w.instructor], "lost", "x", kit=w.day_01)
    sending.send_due()
    first = Notice.objects.get()
    call = factories.caller(w.keeper)
    body(call.post(f"notices/{first.pk}/send-again/"), 201)
    body(call.post(f"notices/{first.pk}/send-again/"), 201)
    assert sending.send_due() == 2
    assert why(pk=first.pk) == "chosen"
    is_problem(
        factories.caller(w.guide).post(f"notices/{first.pk}/send-again/"), 403, "role-missing"
    )


def test_send_again_without_an_address_says_what_to_do(w: World) -> None:
    Person.objects.filter(pk=w.instructor.pk).update(email="")
    writing.notify([w.instructor], "lost", "x", kit=w.day_01)
    pk = Notice.objects.get().pk
    is_problem(factories.caller(w.keeper).post(f"notices/{pk}/send-again/"), 422, "no-address")


def test_next_mondays_email_can_be_seen_now(w: World) -> None:
    shown = body(factories.caller(w.keeper).get(f"notices/weekly/?person={w.instructor.pk}"))
    assert datetime.fromisoformat(shown["due_at"]).weekday() == 0
    assert "DAY-02" in shown["text"] and "DAY-02" in shown["html"]
    is_problem(
        factories.caller(w.guide).get(f"notices/weekly/?person={w.instructor.pk}"),
        403,
        "role-missing",
    )


def test_what_one_hears_can_be_chosen_but_for_recalls(w: World) -> None:
    call = factories.caller(w.guide)
    assert body(call.get("notices/settings/"))["weekly_at"] == "07:00"
    changed = body(
        call.patch(
            "notices/settings/",
            {"weekly_on": 4, "weekly_at": "18:30", "quiet_from": "22:00", "quiet_until": "06:30",
             "choices": {"lost": "weekly"}},
        )
    )  # fmt: skip
    assert (changed["weekly_on"], changed["weekly_at"]) == (4, "18:30")
    assert changed["choices"]["lost"] == "weekly"
    is_problem(
        call.patch("notices/settings/", {"choices": {"recall": "never"}}), 422, "cannot-be-right"
    )
    is_problem(call.patch("notices/settings/", {"quiet_from": None}), 422, "cannot-be-right")
