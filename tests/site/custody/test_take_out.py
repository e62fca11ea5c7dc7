"""What may be said of taking out and handing back: somebody not on the list, and when it was."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from gearroom.core.models import Person
from kits.models import Checkout, Entry, EntryKind
from kits.services.custody import custody
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def school() -> scanned.Labelled:
    return scanned.labelled()


def form(response: Any, text: str) -> Any:
    fields = form_with(response, text)
    del fields["key"]
    return fields


def hour(ago: int) -> datetime:
    """A time some hours ago, as a form's field has it."""
    return (timezone.now() - timedelta(hours=ago)).replace(second=0, microsecond=0)


# ----------------------------------------------------------------------- somebody not on the list
def test_somebody_without_a_tag_takes_a_kit_by_name_and_telephone(school: scanned.Labelled) -> None:
    client = browser(school.world.guide)
    page = client.get("/scan/?text=DAY-01")
    assert "Somebody who is not on the list" in text_of(page)
    fields = form(page, "Somebody who is not on the list")

    answer = post(
        client, "/scan/", **{**fields, "new_name": "Nia Fern", "new_phone": "0700 900 123"}
    )

    assert "DAY-01 is out with Nia Fern" in text_of(answer)
    nia = Checkout.objects.get(in_at=None).person
    assert (present(nia).name, present(nia).phone, present(nia).home_room) == (
        "Nia Fern",
        "0700 900 123",
        school.world.store,
    )


def test_at_the_hatch_too_before_anybody_says_who_they_are(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)
    client.post("/devices/", {"room": "main-store", "name": "Phone at the hatch"})
    fields = form(client.get("/scan/?text=DAY-01"), "Somebody who is not on the list")

    post(client, "/scan/", **{**fields, "new_name": "Nia Fern", "new_phone": "0700 900 123"})

    assert present(Checkout.objects.get(in_at=None).person).name == "Nia Fern"


def test_without_a_telephone_nobody_is_added_and_the_kit_stays(school: scanned.Labelled) -> None:
    client = browser(school.world.guide)
    before = Person.objects.count()

    answer = post(client, "/scan/", text="DAY-01", intent="check-out", new_name="Nia Fern")

    assert "Enter a telephone number" in text_of(answer)
    assert (Person.objects.count(), Checkout.objects.count()) == (before, 0)


def test_the_kit_of_a_guide_goes_to_somebody_else_where_that_is_chosen(
    school: scanned.Labelled,
) -> None:
    trip = make.trip("Crag walk", school.world.store, leader=school.world.guide)
    reservations.reserve(make.act(), school.world.day_01, trip)
    page = browser(school.world.keeper).get("/scan/?text=DAY-01")
    assert "Take it out for Gil" in text_of(page)
    assert "Somebody else is taking it" in text_of(page)


def test_nobody_chosen_is_said(school: scanned.Labelled) -> None:
    answer = post(
        browser(school.world.guide), "/scan/", text="DAY-01", intent="check-out", holder=""
    )
    assert "tag or choose who is taking it out" in text_of(answer)
    assert not Checkout.objects.exists()


def test_a_kit_that_is_out_is_passed_to_somebody_not_on_the_list(school: scanned.Labelled) -> None:
    custody.check_out(make.act(), school.world.day_01, person=school.world.guide)
    client = browser(school.world.guide)
    assert "Somebody who is not on the list" in text_of(client.get("/kits/DAY-01/"))

    post(client, "/kits/DAY-01/pass/", person="", new_name="Nia", new_phone="0700 900 123")

    assert present(Checkout.objects.get(in_at=None).person).name == "Nia"
    nobody = post(client, "/kits/DAY-01/pass/", person="")
    assert (nobody.status_code, "Choose who has the kit now" in text_of(nobody)) == (400, True)


# ----------------------------------------------------------------------------- when it really was
def test_what_the_paper_sheet_says_went_is_written_as_of_then(school: scanned.Labelled) -> None:
    client, then = browser(school.world.guide), hour(3)
    fields = form(client.get("/scan/?text=DAY-02"), "Who took it")  # empty: not to be taken now

    fields |= {"occurred_at": f"{then:%Y-%m-%dT%H:%M}", "holder": school.world.guide.pk}
    post(client, "/scan/", **fields)

    entry = Entry.objects.get(kind=EntryKind.CHECK_OUT)
    assert (entry.kit, entry.claimed_at, entry.irregular != []) == (school.world.day_02, then, True)
    assert Checkout.objects.get(in_at=None).person == school.world.guide


@pytest.mark.parametrize("where", ["/kits/DAY-01/", "/kits/DAY-01/hand-back/"])
def test_what_the_paper_sheet_says_came_back_is_written_as_of_then(
    school: scanned.Labelled, where: str
) -> None:
    earlier = make.act(claimed_at=hour(5))
    custody.check_out(earlier, school.world.day_01, person=school.world.guide, already_gone=True)
    client, then = browser(school.world.guide), hour(2)
    fields = form(client.get(where), "Actual time")

    fields |= {"occurred_at": f"{then:%Y-%m-%dT%H:%M}", "as_found": "sort-later"}
    post(client, "/scan/", **fields)

    assert Entry.objects.get(kind=EntryKind.CHECK_IN).claimed_at == then
    assert not Checkout.objects.filter(in_at=None).exists()


def test_an_opened_one_too(school: scanned.Labelled) -> None:
    earlier = make.act(claimed_at=hour(5))
    custody.check_out(earlier, school.world.day_01, person=school.world.guide, already_gone=True)
    client, then, path = browser(school.world.guide), hour(2), "/kits/DAY-01/hand-back/"
    page = client.get(f"{path}?opened=1&sharps=no")

    post(
        client,
        path,
        **{**form(page, "Actual time"), "occurred_at": f"{then:%Y-%m-%dT%H:%M}"},
    )

    assert Entry.objects.get(kind=EntryKind.CHECK_IN).claimed_at == then


def test_a_time_still_to_come_is_refused_with_what_to_do(school: scanned.Labelled) -> None:
    later = f"{hour(-2):%Y-%m-%dT%H:%M}"
    said = {"text": "DAY-01", "intent": "check-out", "holder": school.world.guide.pk}

    answer = post(browser(school.world.guide), "/scan/", **said, occurred_at=later)

    assert "is in the future" in text_of(answer)
    assert not Checkout.objects.exists()
