"""“What did you use?”: the link to whoever had a kit, which needs no account and works once."""

import re
from datetime import timedelta
from urllib.parse import unquote, urlsplit

import pytest
import time_machine
from django.test import Client

from gearroom.core import clock
from kits.models import Entry, ListLine, Movement, Notice, Withholding
from kits.rules.ledger.facts import Kind
from kits.services.custody import custody, returns, use, use_requests
from kits.services.ledger import audit
from kits.services.restocking import sorting
from kits.services.stock import away
from tests.kits import again, factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
@again.kept
def world() -> make.World:
    made = scanned.labelled().world
    custody.check_out(make.act(made.keeper), made.day_01, person=made.guide)
    custody.check_in(make.act(made.keeper), made.day_01)
    return made


def link_to(world: make.World) -> str:
    """The address that the keeper's page gives for DAY-01."""
    page = browser(world.keeper).get("/kits/DAY-01/ask/").content.decode()
    return urlsplit(present(re.search(r'id="link" value="([^"]+)"', page))[1]).path


def test_the_link_is_answered_without_an_account_in_the_name_of_whoever_had_it(
    world: make.World,
) -> None:
    stranger, path = Client(), link_to(world)

    page = stranger.get(path)
    assert "What did you use from DAY-01?" in text_of(page)
    assert page["Referrer-Policy"] == "strict-origin"  # the link is told to nobody else
    done = stranger.post(path, {f"used-{world.dressing.pk}": "2", "wrong": "zip torn"})

    assert "has been recorded" in text_of(done)
    used = Entry.objects.get(kind="use")
    assert used.person == world.guide
    assert make.units(world.dressings, make.section(world.day_01)) == 4
    assert world.day_01.withholdings.get().note == "zip torn"
    assert list(audit.findings()) == []


def test_it_works_once(world: make.World) -> None:
    path = link_to(world)
    Client().post(path, {f"used-{world.dressing.pk}": "2"})

    for answer in (Client().get(path), Client().post(path, {f"used-{world.dressing.pk}": "2"})):
        assert answer.status_code == 409
        assert "have already been reported" in text_of(answer)
    assert Entry.objects.filter(kind="use").count() == 1
    assert "There is nobody to ask" in text_of(browser(world.keeper).get("/kits/DAY-01/ask/"))


def test_it_ends_after_a_while(world: make.World) -> None:
    path = link_to(world)

    with time_machine.travel(clock.now() + use_requests.WITHIN + timedelta(hours=1), tick=False):
        answer = Client().get(path)

    assert (answer.status_code, "This link has expired" in text_of(answer)) == (409, True)


def test_a_link_that_was_not_made_here_leads_nowhere(world: make.World) -> None:
    path = link_to(world)

    for wrong in (path.replace(":", ";"), path[:-2] + "a/", "/used/anything/"):
        assert Client().get(wrong).status_code == 404


def test_nothing_used_is_an_answer_too(world: make.World) -> None:
    assert "has been recorded" in text_of(Client().post(link_to(world), {}))
    assert Entry.objects.get(kind="use").movements.count() == 0


def test_what_is_told_after_sorting_moves_nothing_and_is_kept_with_its_words(
    world: make.World,
) -> None:
    path = link_to(world)
    sorting.restock(make.act(world.keeper), world.day_01)

    done = Client().post(path, {f"used-{world.dressing.pk}": "2"})

    assert "had already been recorded before you answered" in text_of(done)
    told = Entry.objects.get(kind="use")
    assert "2 × Wound dressing" in told.reason
    assert told.movements.count() == 0
    assert Notice.objects.filter(entry=told, kind="irregular").exists()
    assert make.units(world.dressings, make.section(world.day_01)) == 6


def test_a_wrong_number_is_told_and_can_be_put_right(world: make.World) -> None:
    path = link_to(world)

    page = Client().post(path, {f"used-{world.dressing.pk}": "two"})

    assert page.status_code == 400
    assert "is not a valid quantity" in text_of(page)
    assert Client().get(path).status_code == 200


def test_it_can_be_sent_as_a_message_to_their_phone(world: make.World) -> None:
    type(world.guide).objects.filter(pk=world.guide.pk).update(phone="01632 960111")

    page = browser(world.keeper).get("/kits/DAY-01/ask/").content.decode()

    sms = present(re.search(r'href="(sms:[^"]+)"', page))[1]
    assert sms.startswith("sms:01632960111?")
    assert present(re.search(r'id="link" value="([^"]+)"', page))[1] in unquote(sms)


def test_another_rooms_people_make_no_link(world: make.World) -> None:
    assert browser(world.stranger).get("/kits/DAY-01/ask/").status_code == 404


def test_after_a_hand_back_the_page_offers_to_ask(world: make.World) -> None:
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide, already_gone=True)

    page = post(browser(world.keeper), "/scan/", text="DAY-01", intent="check-in")

    assert "/kits/DAY-01/ask/" in page.content.decode()


# ------------------------------------------------------------- one link for all of somebody's kits
@pytest.fixture
def two(world: make.World) -> make.World:
    """DAY-02 came back as well, from the same guide, dropped by the keeper."""
    custody.check_out(make.act(world.keeper), world.day_02, person=world.guide, already_gone=True)
    custody.check_in(make.act(world.keeper), world.day_02)
    return world


def test_one_link_leads_to_all_kits_that_a_guide_handed_back(two: make.World) -> None:
    page = text_of(Client().get(link_to(two)))

    assert "DAY-01" in page and "DAY-02" in page
    other = browser(two.keeper).get("/kits/DAY-02/ask/").content.decode()
    assert "DAY-01" in text_of(
        Client().get(urlsplit(present(re.search(r'id="link" value="([^"]+)"', other))[1]).path)
    )


def test_each_kit_has_its_own_answer_and_the_rest_is_asked_again(two: make.World) -> None:
    path = link_to(two)
    first, second = use_requests.open_for([two.guide.pk])[two.guide.pk]

    done = Client().post(f"{path}{first.pk}/", {f"used-{two.dressing.pk}": "2"})

    assert f"{path}{second.pk}/" in done.content.decode()
    assert "What did you use from DAY-02?" in text_of(Client().get(path))
    last = Client().post(f"{path}{second.pk}/", {})
    assert "You can close this page" in text_of(last)
    assert Client().get(path).status_code == 409
    assert [e.kit for e in Entry.objects.filter(kind="use")] == [two.day_01, two.day_02]
    assert list(audit.findings()) == []


def test_nothing_used_from_any_is_one_tap(two: make.World) -> None:
    path = link_to(two)
    times = [held.pk for held in use_requests.open_for([two.guide.pk])[two.guide.pk]]

    done = Client().post(path, {"nothing": "1", "time": times})

    assert "You can close this page" in text_of(done)
    assert Entry.objects.filter(kind="use", person=two.guide).count() == 2
    assert use_requests.open_for([two.guide.pk]) == {}


def test_a_link_does_not_lead_to_the_kits_of_others(two: make.World) -> None:
    custody.check_out(make.act(two.keeper), two.day_02, person=two.instructor, already_gone=True)
    custody.check_in(make.act(two.keeper), two.day_02)
    (theirs,) = use_requests.open_for([two.instructor.pk])[two.instructor.pk]
    path = link_to(two)

    # Whoever had DAY-02 last is asked about it, so that one kit is left of the guide's.
    assert "What did you use from DAY-01?" in text_of(Client().get(path))
    assert Client().get(f"{path}{theirs.pk}/").status_code == 404


def test_what_is_sealed_or_sorted_or_said_is_not_asked_about(two: make.World) -> None:
    sorting.look_inside(make.act(two.keeper), two.day_01)
    use.log_use(make.act(two.keeper), two.day_02, [])

    assert use_requests.open_for([two.guide.pk]) == {}


def test_the_driver_has_one_page_with_one_link_a_guide(two: make.World) -> None:
    page = browser(two.guide).get("/ask/")

    assert page.content.decode().count("readonly") == 1
    assert "DAY-01" in text_of(page) and "DAY-02" in text_of(page)
    assert "There is nobody to ask" in text_of(browser(two.stranger).get("/ask/"))


def test_the_link_takes_what_else_there_is_to_say(world: make.World) -> None:
    splint = make.item("Splint", Kind.TOOL, needs_date=False)
    line = world.day_01.list_version.sections.get(key="main").lines.first()
    ListLine.objects.create(
        section=present(line).section,
        item=splint,
        carry=1,
        never_below=0,
        criticality="routine",
        position=9,
    )
    splints = make.some(splint, world.shelf, 2, "S1")
    make.put_in(world.day_01, splints, world.shelf, 1)
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide, already_gone=True)
    custody.check_out(make.act(world.keeper), world.day_02, person=world.guide, already_gone=True)
    returns.report_own(make.act(world.guide), world.day_01, inside=True)
    custody.check_in(make.act(world.keeper), world.day_01)
    path = link_to(world)
    assert "Participant’s own item: give it back" in text_of(Client().get(path))

    done = Client().post(
        path,
        {
            f"used-{world.dressing.pk}": "1",
            "in_class": "1",
            f"away-{splint.pk}": "1",
            "needed": "tick remover\nShears\n",
            "mixed": "DAY-02",
            "given_back": "1",
        },
    )

    assert "has been recorded" in text_of(done)
    assert {(row.words, row.item) for row in returns.needs_in_force()} == {
        ("tick remover", None),
        ("", world.shears),
    }
    assert [row.units for row in away.in_rooms([world.store.pk])] == [1]
    went = set(Movement.objects.filter(entry__kind="use").values_list("to_place__kind", flat=True))
    assert went == {"class", "away"}
    assert set(Withholding.objects.values_list("kit__name", flat=True)) == {"DAY-01", "DAY-02"}
    assert not returns.has_own(world.day_01)
    assert list(audit.findings()) == []
