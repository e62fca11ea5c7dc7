"""“What did you use?”: the link to whoever had a kit, which needs no account and works once."""

from __future__ import annotations

import re
from datetime import timedelta
from urllib.parse import unquote, urlsplit

import pytest
import time_machine
from django.test import Client

from gearroom.core import clock
from kits.models import Entry, Notice
from kits.services import asking, audit, custody, turnaround
from tests.kits import factories as make
from tests.labels import scanned
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world():
    made = scanned.labelled().world
    custody.check_out(make.act(made.keeper), made.day_01, person=made.guide)
    custody.check_in(make.act(made.keeper), made.day_01)
    return made


def link_to(world):
    """The address that the keeper's page gives for DAY-01."""
    page = browser(world.keeper).get("/kits/DAY-01/ask/").content.decode()
    return urlsplit(re.search(r'id="link" value="([^"]+)"', page)[1]).path


def test_the_link_is_answered_without_an_account_in_the_name_of_whoever_had_it(world):
    stranger, path = Client(), link_to(world)

    page = stranger.get(path)
    assert "What did you use from DAY-01?" in text_of(page)
    assert page["Referrer-Policy"] == "same-origin"  # the link is told to nobody else
    done = stranger.post(path, {f"used-{world.dressing.pk}": "2", "wrong": "zip torn"})

    assert "is written down" in text_of(done)
    used = Entry.objects.get(kind="use")
    assert used.person == world.guide
    assert make.units(world.dressings, make.section(world.day_01)) == 4
    assert world.day_01.withholdings.get().note == "zip torn"
    assert list(audit.findings()) == []


def test_it_works_once(world):
    path = link_to(world)
    Client().post(path, {f"used-{world.dressing.pk}": "2"})

    for answer in (Client().get(path), Client().post(path, {f"used-{world.dressing.pk}": "2"})):
        assert answer.status_code == 409
        assert "was told already" in text_of(answer)
    assert Entry.objects.filter(kind="use").count() == 1
    assert "There is nobody to ask" in text_of(browser(world.keeper).get("/kits/DAY-01/ask/"))


def test_it_ends_after_a_while(world):
    path = link_to(world)

    with time_machine.travel(clock.now() + asking.WITHIN + timedelta(hours=1), tick=False):
        answer = Client().get(path)

    assert (answer.status_code, "This link has ended" in text_of(answer)) == (409, True)


def test_a_link_that_was_not_made_here_leads_nowhere(world):
    path = link_to(world)

    for wrong in (path.replace(":", ";"), path[:-2] + "a/", "/used/anything/"):
        assert Client().get(wrong).status_code == 404


def test_nothing_used_is_an_answer_too(world):
    assert "is written down" in text_of(Client().post(link_to(world), {}))
    assert Entry.objects.get(kind="use").movements.count() == 0


def test_what_is_told_after_sorting_moves_nothing_and_is_kept_with_its_words(world):
    path = link_to(world)
    turnaround.restock(make.act(world.keeper), world.day_01)

    done = Client().post(path, {f"used-{world.dressing.pk}": "2"})

    assert "was found out before you told" in text_of(done)
    told = Entry.objects.get(kind="use")
    assert "2 × Wound dressing" in told.reason
    assert told.movements.count() == 0
    assert Notice.objects.filter(entry=told, kind="irregular").exists()
    assert make.units(world.dressings, make.section(world.day_01)) == 6


def test_a_wrong_number_is_told_and_can_be_put_right(world):
    path = link_to(world)

    page = Client().post(path, {f"used-{world.dressing.pk}": "two"})

    assert page.status_code == 400
    assert "is no number of things" in text_of(page)
    assert Client().get(path).status_code == 200


def test_it_can_be_sent_as_a_message_to_their_phone(world):
    type(world.guide).objects.filter(pk=world.guide.pk).update(phone="01632 960111")

    page = browser(world.keeper).get("/kits/DAY-01/ask/").content.decode()

    sms = re.search(r'href="(sms:[^"]+)"', page)[1]
    assert sms.startswith("sms:01632960111?")
    assert link_to(world) in unquote(sms)


def test_another_rooms_people_make_no_link(world):
    assert browser(world.stranger).get("/kits/DAY-01/ask/").status_code == 404


def test_after_a_hand_back_the_page_offers_to_ask(world):
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide, already_gone=True)

    page = post(browser(world.keeper), "/scan/", text="DAY-01", intent="check-in")

    assert "/kits/DAY-01/ask/" in page.content.decode()
