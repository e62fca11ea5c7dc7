"""The stock book and who had what, as the API lets it be read."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from kits.models import Entry, EntryKind, Movement
from kits.services.custody import custody, use
from kits.services.ledger import readiness
from tests.core.api.made import is_problem
from tests.kits import factories as make
from tests.present import present

pytestmark = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def w() -> make.World:
    return make.world()


def ids(answer: Any) -> list[int]:
    return [row["id"] for row in answer.json()["results"]]


def test_checkouts_tell_who_has_and_had_the_kits_of_ones_rooms(w: make.World) -> None:
    first = custody.check_out(make.act(w.keeper), w.day_01, person=w.guide).checkout
    custody.check_in(make.act(w.keeper), w.day_01)
    second = custody.check_out(
        make.act(w.keeper), w.day_02, person=w.instructor, emergency=True
    ).checkout
    call = make.caller(w.guide)
    assert ids(call.get("checkouts/")) == [present(second).pk, present(first).pk]
    assert ids(call.get("checkouts/?open=true")) == [present(second).pk]
    assert ids(call.get("checkouts/?open=false")) == [present(first).pk]
    assert ids(call.get("checkouts/?kit=day-01")) == [present(first).pk]
    assert ids(call.get(f"checkouts/?person={w.instructor.pk}")) == [present(second).pk]
    assert ids(call.get("checkouts/?overdue=true")) == []
    present(second).due_at, present(second).out_at = (
        timezone.now() - timedelta(hours=h) for h in (1, 2)
    )
    present(second).save()
    assert ids(call.get("checkouts/?overdue=true")) == [present(second).pk]
    assert ids(make.caller(w.stranger).get("checkouts/")) == []


def test_phones_of_holders_are_for_who_may_see_people(w: make.World) -> None:
    make.Person.objects.filter(pk=w.guide.pk).update(phone="0700 900 111")
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
    phones = [
        make.caller(who).get("checkouts/").json()["results"][0]["person"]["phone"]
        for who in (w.keeper, w.adviser)
    ]
    assert phones == ["0700 900 111", ""]


def test_entries_are_read_newest_first_and_by_what_is_asked(w: make.World) -> None:
    trip = make.trip("Moor", w.store)
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide, trip=trip)
    used = use.log_use(make.act(w.guide), w.day_01, [use.UseLine(w.dressing, 2)]).entry
    call = make.caller(w.guide)
    everything = ids(call.get("entries/"))
    assert everything == sorted(everything, reverse=True)
    assert ids(call.get(f"entries/?trip={trip.pk}")) == [used.pk, used.pk - 1]
    assert ids(call.get("entries/?kind=use&kit=DAY-01")) == [used.pk]
    assert ids(call.get(f"entries/?lot={w.dressings.pk}&kind=use")) == [used.pk]
    assert ids(call.get(f"entries/?item={w.tablets.pk}&kind=use")) == []
    assert ids(call.get(f"entries/?person={w.guide.pk}")) == [used.pk]
    assert ids(call.get("entries/?irregular=true")) == []
    assert ids(call.get("entries/?until=2020-01-01T00:00:00Z")) == []
    is_problem(call.get("entries/?kind=theft"), 400, "invalid-request")
    is_problem(call.get("entries/?lot=first"), 400, "invalid-request")


def test_an_entry_is_shown_with_its_movements(w: make.World) -> None:
    used = use.log_use(make.act(w.guide), w.day_01, [use.UseLine(w.dressing, 2)]).entry
    shown = make.caller(w.guide).get(f"entries/{used.pk}/").json()
    (leg,) = shown["movements"]
    assert (leg["units"], leg["lot_assumed"], leg["to_kind"]) == (2, True, "used")
    assert (leg["from_name"], leg["from_room"], leg["to_room"]) == ("Main", "main-store", None)
    assert (shown["kit"], shown["person"], shown["reversed_by"]) == ("DAY-01", "Gil", None)


def test_entries_of_other_rooms_are_not_there(w: make.World) -> None:
    entry = Entry.objects.filter(kit=w.day_01).first()
    call = make.caller(w.stranger)
    is_problem(call.get(f"entries/{present(entry).pk}/"), 404, "not-found")
    assert ids(call.get("entries/")) == []
    assert ids(call.get("movements/")) == []


def test_the_book_is_only_read_here(w: make.World) -> None:
    call = make.caller(w.keeper)
    for path in ("entries/", "movements/", "checkouts/"):
        is_problem(call.post(path, {}), 405, "method-not-allowed")


def test_movements_are_read_by_batch_place_and_kit(w: make.World) -> None:
    call = make.caller(w.keeper)
    rows = call.get(f"movements/?lot={w.dressings.pk}").json()["results"]
    assert [(r["kind"], r["from_kind"], r["to_kind"], r["units"]) for r in rows] == [
        ("restock", "shelf", "section", 6),
        ("receive", "supplier", "shelf", 18),
    ]
    assert len(ids(call.get("movements/?kit=DAY-01"))) == 3
    assert len(ids(call.get(f"movements/?place={w.upper.pk}"))) == 1
    assert ids(call.get("movements/?kind=use")) == []
    assert ids(call.get(f"movements/?item={w.gauge.pk}&room=main-store")) != []
    assert len(ids(call.get("movements/?page_size=2"))) == 2


def test_a_page_goes_on_where_the_last_one_ended_while_the_book_grows(w: make.World) -> None:
    call = make.caller(w.keeper)
    wanted = list(Movement.objects.order_by("-id").values_list("id", flat=True))
    page = call.get("movements/?page_size=3").json()
    use.log_use(make.act(w.guide), w.day_01, [use.UseLine(w.dressing, 1)])
    rest = call.get(page["next"].split("/api/v1/")[1])
    assert [row["id"] for row in page["results"]] + ids(rest) == wanted[:6]


def test_the_book_is_read_in_few_queries(w: make.World, django_assert_max_num_queries: Any) -> None:
    for _ in range(6):
        custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
        custody.check_in(make.act(w.keeper), w.day_01)
        use.log_use(make.act(w.guide), w.day_01, [use.UseLine(w.dressing, 1)])
        make.Kit.objects.update(to_sort_since=None)
        readiness.rewrite([w.day_01.pk])
        make.some(w.dressing, w.shelf, 1, "D1", make.days(400))
        make.put_in(w.day_01, w.dressings, w.shelf, 1)
    call = make.caller(w.keeper)
    assert Entry.objects.filter(kind=EntryKind.CHECK_OUT).count() == 6
    for path in ("checkouts/", "entries/", "movements/"):
        with django_assert_max_num_queries(4):
            assert len(ids(call.get(path))) >= 6
