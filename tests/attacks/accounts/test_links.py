"""One-time links: used twice, late, changed, taken for another kind, made by who sees less."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core import signing
from django.test import Client
from django.utils import timezone

from gearroom.core.acts import NotFound, Refused
from gearroom.core.models import Membership, Person
from gearroom.core.rules.roles import Role
from kits.models import AsFound, Checkout, Entry
from kits.services.custody import clearances, custody, use, use_requests
from kits.services.notices import preferences
from kits.services.notices.notice_text import clearance_token
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    made = make.world()
    made.hut_kit = make.kit("HUT-01", made.version, made.hut)
    return made


def had(w: make.World, kit: Any, person: Person) -> Checkout | None:
    """A time with a kit that is over and has no answer."""
    by = make.act(w.stranger if kit == w.hut_kit else w.keeper)  # of the kit's own room
    out = custody.check_out(by, kit, person=person, already_gone=True).checkout
    custody.check_in(make.act(w.keeper), kit, as_found=AsFound.SORT_LATER)
    present(out).refresh_from_db()
    return out


def test_a_link_that_was_answered_takes_no_second_answer(w: make.World) -> None:
    held = had(w, w.day_01, w.guide)
    use_requests.answer(present(held), [use.UseLine(w.dressing, 1)])
    before = Entry.objects.count()
    with pytest.raises(Refused):
        use_requests.times_of_link(use_requests.token(present(held)))
    with pytest.raises(Refused):
        use_requests.answer(present(held), [use.UseLine(w.dressing, 5)])
    assert Entry.objects.count() == before


def test_a_link_that_is_too_old_opens_nothing(w: make.World) -> None:
    said = use_requests.token(present(had(w, w.day_01, w.guide)))
    late = timezone.now() + use_requests.WITHIN + timedelta(minutes=1)
    with time_machine.travel(late), pytest.raises(Refused) as refused:
        use_requests.times_of_link(said)
    assert refused.value.code == "link-too-old"


def test_a_link_that_was_changed_or_made_for_another_thing_opens_nothing(w: make.World) -> None:
    held = had(w, w.day_01, w.guide)
    said = use_requests.token(present(held))
    changed = said[:-1] + ("a" if said[-1] != "a" else "b")
    for wrong in (
        changed,
        clearance_token(present(held).pk),
        signing.dumps([present(held).pk, None], salt="x"),
    ):
        with pytest.raises(NotFound):
            use_requests.times_of_link(wrong)
    with pytest.raises(NotFound):
        clearances.by_link(said)


def test_a_link_leads_whoever_made_it_to_no_kit_of_another_room(w: make.World) -> None:
    Membership.objects.create(person=w.guide, room=w.hut, role=Role.GUIDE.value)
    here, there = had(w, w.day_01, w.guide), had(w, w.hut_kit, w.guide)
    said = use_requests.token(present(here), make.actor(w.keeper))
    assert use_requests.times_of_link(said) == [here]
    page = Client().get(f"/used/{said}/")
    assert page.status_code == 200
    assert b"HUT-01" not in page.content
    assert Client().post(f"/used/{said}/{present(there).pk}/", {}).status_code == 404
    assert not use_requests.is_answered(present(there))
    assert set(use_requests.times_of_link(use_requests.token(present(here)))) == {here, there}


def test_whoever_does_not_know_the_kit_nor_its_holder_makes_no_link(w: make.World) -> None:
    had(w, w.day_01, w.guide)
    assert use_requests.latest(make.actor(w.stranger), w.day_01) is None
    assert use_requests.latest(make.actor(w.keeper), w.day_01) is not None


def test_a_calendars_address_ends_with_a_new_one_and_when_they_leave(w: make.World) -> None:
    first = preferences.new_calendar(make.act(w.instructor), w.instructor)
    assert Client().get(f"/api/v1/calendars/{first}/").status_code == 200
    second = preferences.new_calendar(make.act(w.instructor), w.instructor)
    assert Client().get(f"/api/v1/calendars/{first}/").status_code == 404
    w.instructor.left_on = make.days(0)
    w.instructor.save(update_fields=["left_on"])
    assert Client().get(f"/api/v1/calendars/{second}/").status_code == 404


def test_a_calendars_address_shows_the_kits_that_they_answer_for_and_no_other(
    w: make.World,
) -> None:
    secret = preferences.new_calendar(make.act(w.instructor), w.instructor)
    custody.check_out(make.act(w.stranger), w.hut_kit, person=w.stranger, already_gone=True)
    shown = Client().get(f"/api/v1/calendars/{secret}/").content
    assert b"DAY-01" in shown
    assert b"HUT-01" not in shown and b"Sam" not in shown
