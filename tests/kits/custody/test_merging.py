"""Who takes a kit: added by name and telephone at the hatch, merged later, never a program."""

import pytest

from gearroom.core.acts import Act, Actor
from gearroom.core.models import Person
from gearroom.core.rules.roles import Assurance, Role
from gearroom.core.services.accounts import shared_devices
from gearroom.core.services.people import people
from kits.models import Entry, Reservation
from kits.services.custody import custody
from kits.services.ledger import audit
from kits.services.lookup import find, holders
from kits.services.people import personal_records
from kits.services.trips import reservations
from tests.core.api.made import is_problem
from tests.kits import factories as make
from tests.kits.factories import act
from tests.kits.problems import refused
from tests.labels.scan.scanned import label

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def added(w: make.World, name: str = "Olu") -> Person:
    return people.add_holder(act(w.guide), name=name, phone="0700 900 777", room=w.store)


def test_who_takes_kits_out_adds_somebody_by_name_and_telephone(w: make.World) -> None:
    call = make.caller(w.guide)
    body = {"name": " Olu  Ade ", "phone": "0700 900 777", "room": "main-store"}

    done = call.post("people/holders/", body)

    assert (done.status_code, done.json()["name"]) == (201, "Olu Ade")
    taken = call.post("kits/DAY-01/check-out/", {"person": str(done.json()["id"])})
    assert taken.json()["checkout"]["person"]["phone"] == "0700 900 777"
    is_problem(call.post("people/holders/", {"name": "Olu"}), 400, "invalid-request")
    is_problem(make.caller(w.adviser).post("people/holders/", body), 403, "role-missing")


def test_at_a_shared_device_too_before_anybody_says_who_they_are(w: make.World) -> None:
    device = shared_devices.add(act(w.keeper), w.store, "By the door")
    nobody = Actor(
        person=device.user.person,
        roles={w.store.pk: frozenset({Role.GUIDE})},
        user=device.user,
        assurance=Assurance.NOBODY,
    )
    made = people.add_holder(Act(nobody), name="Olu", phone="0700 900 777")
    assert made.home_room == w.store
    assert made in people.may_take(nobody)


def test_a_program_is_never_offered_as_who_takes_a_kit(w: make.World) -> None:
    program = make.person("Bookings", Role.INTEGRATION, w.store)
    device = shared_devices.add(act(w.keeper), w.store, "By the door").user.person
    offered = set(people.may_take(make.actor(w.keeper)))
    assert w.guide in offered
    assert not offered & {program, device}
    rescue = custody.check_out(
        Act(Actor(device, {w.store.pk: frozenset({Role.GUIDE})}, user=device.user)),
        w.day_01,
        emergency=True,
    )
    assert rescue.checkout is not None
    assert rescue.checkout.person is None


def test_two_records_of_somebody_become_one_and_what_was_written_stays(w: make.World) -> None:
    olu = added(w)
    walk = make.trip("Moor", w.store, 1, 1, leader=olu)
    reservations.reserve(act(w.keeper), w.day_02, walk, person=olu)
    taken = custody.check_out(act(w.keeper), w.day_01, person=olu)
    tag = label(olu, w)
    make.Kit.objects.filter(pk=w.day_02.pk).update(deputy=olu)

    path = f"people/{olu.pk}/merge/"
    is_problem(make.caller(w.guide).post(path, {"into": w.guide.pk}), 403, "role-missing")
    done = make.caller(w.keeper).post(path, {"into": w.guide.pk})

    assert done.json() == {"id": w.guide.pk, "name": "Gil", "phone": "0700 900 777"}
    held = holders.open_checkout(w.day_01)
    assert held is not None and held.person == w.guide
    assert Reservation.objects.get().person == w.guide
    walk.refresh_from_db()
    tag.refresh_from_db()
    assert (walk.leader, tag.person) == (w.guide, w.guide)
    assert make.fresh(w.day_02).deputy == w.guide
    entry = Entry.objects.get(pk=taken.entry.pk)
    assert entry.detail["to"] == olu.pk
    assert find.person(make.actor(w.keeper), olu.pk) == w.guide
    assert Person.objects.get(pk=olu.pk).name == "Gil"
    assert olu not in people.visible_to(make.actor(w.keeper))
    assert list(audit.findings()) == []
    is_problem(make.caller(w.keeper).post(path, {"into": w.guide.pk}), 404, "not-found")
    custody.check_in(act(w.guide), w.day_01)
    assert list(audit.findings()) == []


def test_a_record_that_is_kept_no_more_bears_the_other_s_name_for_ever(w: make.World) -> None:
    olu = added(w)
    personal_records.merge(act(w.keeper), olu, w.guide)
    people.edit(act(w.keeper), w.guide, name="Gil Hart")
    assert Person.objects.get(pk=olu.pk).name == "Gil Hart"


def test_what_cannot_be_one_is_refused(w: make.World) -> None:
    program = make.person("Bookings", Role.INTEGRATION, w.store)
    with refused("same-person"):
        personal_records.merge(act(w.keeper), w.guide, w.guide)
    with refused("not-a-person"):
        personal_records.merge(act(w.keeper), added(w), program)
    with refused("role-missing", 403):  # of an instructor's account an administrator decides
        personal_records.merge(act(w.keeper), w.instructor, w.guide)
    chief = make.person("Cass", Role.ADMINISTRATOR, w.store)
    with refused("two-sign-ins"):
        personal_records.merge(act(chief), w.instructor, w.guide)
    people.leave(act(chief), w.instructor)
    personal_records.merge(act(chief), w.instructor, w.guide)
    assert make.fresh(w.day_01).responsible == w.guide
