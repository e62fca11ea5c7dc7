"""The board, handing back and sorting: what the pages show, and what their forms do."""

import re
from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from gearroom.core.rules.roles import Role
from kits.models import AsFound, Checkout, Entry, Kit
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from kits.services.lists import signatures
from kits.services.overview import board as kits_board
from kits.services.restocking import sealing
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def school() -> scanned.Labelled:
    return scanned.labelled()


# ---------------------------------------------------------------------------------------- the board
def test_the_board_shows_what_goes_out_and_takes_it_out_in_one_tap(
    school: scanned.Labelled,
) -> None:
    trip = make.trip("Crag walk", school.world.store, leader=school.world.guide)
    reservations.reserve(make.act(), school.world.day_01, trip)
    client = browser(school.world.keeper)

    page = client.get("/").content.decode()
    assert "Crag walk" in page
    form = page[: page.index("Take out")].rsplit("<form", 1)[1]
    fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))
    client.post(present(re.search(r'action="([^"]+)"', form))[1], fields)

    assert Checkout.objects.get(in_at=None).trip == trip


def test_a_trip_that_leaves_without_a_kit_is_on_the_board_until_it_is_promised_one(
    school: scanned.Labelled,
) -> None:
    client = browser(school.world.keeper)
    before = present(
        re.search(r'name="revision" value="([^"]+)"', client.get("/").content.decode())
    )[1]
    trip = make.trip("Crag walk", school.world.store)
    make.trip("Next month", school.world.store, 30, 30)

    told = client.get("/board/lines/", {"revision": before})  # though nothing is in the book yet
    assert "Crag walk" in text_of(told) and "Next month" not in text_of(told)
    assert "No kit is reserved for this trip." in text_of(told)
    assert f'href="/trips/{trip.pk}/"' in told.content.decode()
    reservations.reserve(make.act(), school.world.day_01, trip)

    assert "No kit is reserved for this trip." not in text_of(client.get("/"))


def test_a_kit_that_goes_out_is_named_once(school: scanned.Labelled) -> None:
    trip = make.trip("Crag walk", school.world.store)
    reservations.reserve(make.act(), school.world.day_02, trip)  # it is not fit

    page = text_of(browser(school.world.keeper).get("/"))

    assert page.count("DAY-02 Do not take: no Wound dressing") == 1
    assert "Nothing else: kits that are going out are listed under “Going out”." in page


def test_the_board_names_who_has_what_is_not_back_with_their_telephone(
    school: scanned.Labelled,
) -> None:
    guide = school.world.guide
    type(guide).objects.filter(pk=guide.pk).update(phone="01632 960111")
    out = custody.check_out(make.act(), school.world.day_01, person=guide).checkout
    Checkout.objects.filter(pk=present(out).pk).update(
        out_at=present(out).out_at - timedelta(days=3),
        due_at=present(out).out_at - timedelta(days=1),
    )

    page = browser(school.world.keeper).get("/").content.decode()

    assert "Not back" in page
    assert 'href="tel:01632960111"' in page


def test_the_board_is_sent_again_only_when_something_changed(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)

    with time_machine.travel(timezone.now(), tick=False):  # no minute turns meanwhile
        revision = present(
            re.search(r'name="revision" value="([^"]+)"', client.get("/").content.decode())
        )[1]
        unchanged = client.get(f"/board/lines/?revision={revision}")
        custody.check_in(make.act(), school.world.day_01)
        changed = client.get(f"/board/lines/?revision={revision}")

    assert unchanged.status_code == 204
    assert changed.status_code == 200
    assert "Check contents" in text_of(changed)


def test_the_board_asks_the_database_as_much_for_many_kits_as_for_few(
    school: scanned.Labelled, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(3, 9):
        make.kit(f"DAY-{number:02}", school.world.version, school.world.store)
    client = browser(school.world.keeper)

    with django_assert_max_num_queries(49):
        page = client.get("/")

    assert text_of(page).count("DAY-0") >= 7


# ------------------------------------------------------------------------- handing back and sorting
def test_sealed_and_dry_is_one_tap(school: scanned.Labelled) -> None:
    sealing.reseal(make.act(), school.world.day_01, "0417")
    custody.check_out(make.act(), school.world.day_01, person=school.world.guide)
    client = browser(school.world.guide)

    page = client.get("/kits/DAY-01/hand-back/")
    assert "The seal number ends in 417" in text_of(page)
    post(client, "/scan/", text="DAY-01", intent="check-in", as_found=AsFound.SEALED)

    assert Checkout.objects.get().as_found == "sealed-and-dry"
    assert Kit.objects.get(name="DAY-01").to_sort_since is None


def test_an_opened_kit_asks_for_sharps_first_then_writes_what_was_used(
    school: scanned.Labelled,
) -> None:
    world = school.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    client = browser(world.guide)

    assert "Sharps or blood?" in text_of(client.get("/kits/DAY-01/hand-back/?opened=1"))
    page = client.get("/kits/DAY-01/hand-back/?opened=1&sharps=yes")
    assert "sharps tub" in text_of(page)
    assert f'name="used-{world.dressing.pk}"' in page.content.decode()
    fields = {
        "opened": 1,
        "sharps": "yes",
        f"used-{world.dressing.pk}": "2",
        f"used-{world.shears.pk}": "0",
        f"level-main-{world.plasters.pk}": "low",
    }
    answer = post(client, "/kits/DAY-01/hand-back/", **fields)

    assert answer["Location"] == "/kits/DAY-01/sort/"
    assert make.units(world.dressings, make.section(world.day_01)) == 4
    assert Entry.objects.get(kind="check-in").detail["sharps_or_blood"] is True


def test_a_wrong_number_is_refused_and_the_form_is_still_there(school: scanned.Labelled) -> None:
    fields = {"sharps": "no", f"used-{school.world.dressing.pk}": "two"}

    answer = post(browser(school.world.guide), "/kits/DAY-01/hand-back/", **fields)

    assert answer.status_code == 400
    assert "“two” is not a valid quantity" in text_of(answer)
    assert "What was used?" in text_of(answer)


def test_restocking_as_listed_then_sealing_makes_it_fit(school: scanned.Labelled) -> None:
    world = school.world
    used = [UseLine(world.dressing, 3)]
    custody.check_in(make.act(), world.day_01, used=used)
    client = browser(world.guide)

    page = text_of(client.get("/kits/DAY-01/sort/"))
    assert "3 × Wound dressing" in page
    assert "Shelf C2" in page
    assert post(client, "/kits/DAY-01/sort/")["Location"].startswith("/kits/DAY-01/sort/")
    assert make.units(world.dressings, make.section(world.day_01)) == 6
    post(client, "/kits/DAY-01/seal/", seal="0500")

    page = text_of(client.get("/kits/DAY-01/"))
    assert "0500" in page
    assert "DAY-01 Ready status for" in page


def test_what_was_left_out_is_not_put_in(school: scanned.Labelled) -> None:
    world = school.world
    custody.check_in(make.act(), world.day_01, used=[UseLine(world.dressing, 3)])

    fields = {"left-out": f"main:{world.dressing.pk}"}
    post(browser(world.guide), "/kits/DAY-01/sort/", **fields)

    assert make.units(world.dressings, make.section(world.day_01)) == 3


def test_a_kit_that_is_kept_back_is_taken_by_nobody_until_released(
    school: scanned.Labelled,
) -> None:
    client = browser(school.world.keeper)

    post(client, "/kits/DAY-01/withhold/", kind="drying", note="")
    assert "Do not take: on hold" in text_of(client.get("/kits/DAY-01/"))
    post(client, "/kits/DAY-01/release/", kind="drying")

    assert "DAY-01 Ready status for" in text_of(client.get("/kits/DAY-01/"))


def test_telephones_are_for_those_who_may_see_people(school: scanned.Labelled) -> None:
    world = school.world
    type(world.guide).objects.filter(pk=world.guide.pk).update(phone="01632 960111")
    custody.check_out(make.act(), world.day_01, person=world.guide)

    assert "01632" in text_of(browser(world.keeper).get("/"))
    looks = make.person("Lou", Role.ADVISER, world.store)
    page = text_of(browser(looks).get("/"))
    assert "Gil" in page
    assert "01632" not in page


def test_a_signature_reaches_the_board_though_no_entry_says_so(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)
    revision = present(
        re.search(r'name="revision" value="([^"]+)"', client.get("/").content.decode())
    )[1]

    signatures.sign(make.act(school.world.adviser), school.world.version, until=make.days(30))

    assert client.get(f"/board/lines/?revision={revision}").status_code == 200


def test_a_check_that_is_due_is_settled_on_the_kits_page(school: scanned.Labelled) -> None:
    world = school.world
    section = world.version.sections.get(key="main")
    section.lines.create(item=world.gauge, carry=1, never_below=1, criticality="must-have")
    lot = world.lots["gauge"]
    make.put_in(world.day_01, lot, world.shelf, 1)
    client = browser(world.keeper)
    page = client.get("/").content.decode()
    assert 'href="/kits/DAY-01/#checks"' in page
    assert "Check now" in page

    post(client, "/kits/DAY-01/check/", lot=lot.pk, passed="yes", answer="in the green")
    assert "DAY-01 Ready status for" in text_of(client.get("/kits/DAY-01/"))
    post(client, "/kits/DAY-01/check/", lot=lot.pk, passed="no")
    assert "Pressure gauge G-1 failed its check" in text_of(client.get("/kits/DAY-01/"))
    assert post(client, "/kits/DAY-02/check/", lot=lot.pk, passed="yes").status_code == 400


def test_with_everything_issued_the_board_says_so(school: scanned.Labelled) -> None:
    trip = make.trip("Crag walk", school.world.store, 1, 1, leader=school.world.guide)
    reservations.reserve(make.act(), school.world.day_01, trip)
    custody.check_out(make.act(school.world.keeper), school.world.day_01)
    client = browser(school.world.keeper)

    assert "All kits for today and tomorrow are out" in text_of(client.get("/"))

    custody.check_in(make.act(school.world.keeper), school.world.day_01, as_found=AsFound.OPENED)
    page = text_of(client.get("/"))
    assert "All kits for today" not in page
    assert "Crag walk" in page


def test_a_kit_that_is_out_on_something_else_is_not_shown_as_ready_for_its_trip(
    school: scanned.Labelled,
) -> None:
    trip = make.trip("Crag walk", school.world.store, 1, 1, leader=school.world.guide)
    reservations.reserve(make.act(), school.world.day_01, trip)
    custody.check_out(make.act(school.world.keeper), school.world.day_01, emergency=True)

    board = kits_board.board(school.world.store)

    ((row,),) = [departure.waiting for departure in board.going_out]
    assert row.elsewhere is not None
    assert (str(row.stand), str(board.going_out[0].judged.coverage)) == ("away", "uncovered")
    assert [each.checkout.kit.name for each in board.later_back] == ["DAY-01"]
    assert board.soon_back == []
