"""Short at dawn, by the pages: what is offered is one tap, and a link asks who cleared it."""

from datetime import timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client

from gearroom.core import clock
from kits.models import Checkout, Clearance, ClearanceAnswer, Item, Kit
from kits.rules.ledger.facts import Criticality
from kits.services.custody import clearances, custody
from kits.services.notices.notice_text import clearance_token
from kits.services.restocking import sorting
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def school() -> scanned.Labelled:
    return scanned.labelled()


def lacking(
    school: scanned.Labelled, priority: Criticality = Criticality.ROUTINE
) -> tuple[Kit, Item]:
    world, sling = school.world, make.item("Sling")
    version = make.kit_list("Rope", {"main": [(sling, 3, 2, priority)]}, signed_by=world.adviser)
    kit = make.kit("ROPE-01", version, world.store, responsible=world.instructor)
    sorting.look_inside(make.act(), kit)
    return make.fresh(kit), sling


def press(client: Client, page: Any, label: str, **more: int | str) -> Any:
    return post(client, "/scan/", **{**form_with(page, label), **more})


@pytest.mark.parametrize("start", ["scan", "kit"])
def test_what_it_lacks_is_added_by_one_tap_and_it_is_taken_out_by_the_next(
    school: scanned.Labelled, start: str
) -> None:
    kit, sling = lacking(school)
    world = school.world
    make.some(sling, world.shelf, 5, "S", make.days(300))
    client = browser(world.guide)

    page = (
        post(client, "/scan/", text=kit.name) if start == "scan" else client.get("/kits/ROPE-01/")
    )
    page = press(client, page, "Add 3 × Sling from shelf C2")
    assert "ROPE-01: 3 added. Ready." in text_of(page)
    press(client, page, "Take it out", holder=world.guide.pk)

    assert Checkout.objects.get(in_at=None).person == world.guide


def test_a_guide_lets_it_go_short_with_a_reason(school: scanned.Labelled) -> None:
    kit, _sling = lacking(school)
    client = browser(school.world.guide)

    page = post(client, "/scan/", text=kit.name)
    press(
        client,
        page,
        "Take the kit out although it is not ready, and give a reason",
        holder=school.world.guide.pk,
        short_reason="two of us carry one",
    )

    assert Checkout.objects.get(in_at=None).short_reason == "two of us carry one"


def test_a_must_have_is_cleared_by_phone_at_the_hatch(school: scanned.Labelled) -> None:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    world, client = school.world, browser(school.world.guide)

    page = post(client, "/scan/", text=kit.name)
    assert "Who approved taking the kit? Call them first" in text_of(page)
    press(client, page, "Approved by phone", holder=world.guide.pk, cleared_by=world.keeper.pk)

    assert Clearance.objects.get().person == world.keeper


def cleared(school: scanned.Labelled) -> Clearance:
    kit, _sling = lacking(school, Criticality.MUST_HAVE)
    world = school.world
    custody.check_out(make.act(world.guide), kit, person=world.guide, cleared_by=world.instructor)
    return Clearance.objects.get()


@pytest.mark.parametrize(
    ("answer", "says"),
    [("yes", "You confirmed that you approved it"), ("no", "The keepers are being notified")],
)
def test_whoever_is_named_answers_by_the_link_without_an_account(
    school: scanned.Labelled, answer: str, says: str
) -> None:
    clearance = cleared(school)
    link, client = f"/cleared/{clearance_token(clearance.pk)}/", browser()

    page = text_of(client.get(link))
    assert "Did you approve taking out ROPE-01?" in page
    assert "short of 2 × Sling" in page
    assert not ClearanceAnswer.objects.exists()  # looking answers nothing
    after = client.get(client.post(link, {"answer": answer})["Location"])

    assert says in text_of(after)
    assert ClearanceAnswer.objects.get().confirmed is (answer == "yes")
    assert client.post(link, {"answer": "no"}).status_code == 409


def test_a_link_that_was_not_made_here_is_none(school: scanned.Labelled) -> None:
    assert browser().get("/cleared/made-up/").status_code == 404


def test_signed_in_they_answer_on_a_page_of_their_own(school: scanned.Labelled) -> None:
    cleared(school)
    world = school.world

    keeper = browser(world.keeper).get("/clearances/")
    assert "Not answered yet" in text_of(keeper)
    assert "Yes, I approved it" not in text_of(keeper)
    client = browser(world.instructor)
    fields = form_with(client.get("/clearances/"), "Yes, I approved it")
    page = client.post("/clearances/", {**fields, "answer": "yes"}, follow=True)

    assert "Recorded: you approved taking ROPE-01." in text_of(page)
    assert ClearanceAnswer.objects.get().confirmed


def test_the_board_says_what_nobody_confirmed_within_a_day(
    school: scanned.Labelled, monkeypatch: pytest.MonkeyPatch
) -> None:
    cleared(school)
    client = browser(school.world.keeper)
    assert "not confirmed" not in text_of(client.get("/"))

    tomorrow = clock.now() + timedelta(days=1, minutes=1)
    rows = clearances.unanswered(Kit.objects.all(), tomorrow)
    assert [each.person.name for each in rows] == ["Ines"]
    monkeypatch.setattr(clearances, "UNANSWERED_AFTER", timedelta(0))

    assert "ROPE-01 Approved by phone, not confirmed Recorded as approved by Ines" in text_of(
        client.get("/")
    )


def test_at_the_shared_device_it_goes_short_at_once_and_a_check_says_first_who_checks(
    school: scanned.Labelled,
) -> None:
    kit, _sling = lacking(school)
    world = school.world
    custody.check_in(make.act(world.guide), world.day_01)
    device = browser(world.keeper)
    device.post("/devices/", {"room": "main-store", "name": "Phone at the hatch"})

    page = post(device, "/scan/", text=kit.name)
    reason: dict[str, Any] = {"holder": world.guide.pk, "short_reason": "two of us carry one"}
    press(device, page, "Take the kit out although it is not ready, and give a reason", **reason)
    asked = press(
        device, post(device, "/scan/", text="DAY-01"), "Checked just now: everything is there"
    )

    assert Checkout.objects.get(in_at=None).person == world.guide
    assert asked["Location"].startswith("/hatch/")
    act = parse_qs(urlsplit(asked["Location"]).query)["act"][0]
    done = device.post("/hatch/", {"person": world.guide.pk, "to": "/scan/", "act": act})
    assert "DAY-01 has been checked: everything is there. Ready." in text_of(done)
    assert make.fresh(world.day_01).looked_inside_by == world.guide
