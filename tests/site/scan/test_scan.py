"""The scan page by its form: one tap, two scans, modes that stay, and putting a slip right."""

import re
import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from pytest_django import DjangoAssertNumQueries, Settings

from kits.models import Checkout, Entry, Kit, PackingListVersion, Reservation
from kits.services.custody import custody
from kits.services.restocking import sealing
from kits.services.stock import catalogue
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def school() -> scanned.Labelled:
    return scanned.labelled()


def test_a_kit_is_out_by_one_tap_on_what_its_scan_brings_up(school: scanned.Labelled) -> None:
    trip = make.trip("Crag walk", school.world.store, leader=school.world.guide)
    reservations.reserve(make.act(), school.world.day_01, trip)
    client = browser(school.world.keeper)

    page = text_of(post(client, "/scan/", text=school.kit.code))
    assert "Gil (Crag walk)" in page
    post(client, "/scan/", text="DAY-01", intent="check-out")

    assert Checkout.objects.get(in_at=None).person == school.world.guide


def fields_of(response: Any) -> dict[Any, Any]:
    """The hidden fields that stand in an answer for the next scan."""
    found = re.findall(r'form="scan" name="(\w+)" value="([^"]*)"', response.content.decode())
    return dict(found)


@pytest.mark.parametrize("first", ["kit", "tag"])
def test_two_scans_and_no_tap_take_a_kit_out_to_a_guide(
    school: scanned.Labelled, first: str
) -> None:
    client = browser(school.world.keeper)
    second = {"kit": "tag", "tag": "kit"}[first]

    waiting = fields_of(post(client, "/scan/", text=getattr(school, first).code))
    key = waiting.pop("key")
    answer = post(client, "/scan/", key=key, text=getattr(school, second).code, **waiting)

    assert "DAY-01 is out with Gil" in text_of(answer)
    assert Checkout.objects.get(in_at=None).person == school.world.guide


def test_a_tag_scanned_long_ago_takes_nothing_out(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)
    waiting = fields_of(post(client, "/scan/", text=school.tag.code))

    waiting["since"] = "2026-01-01T08:00:00+00:00"
    post(client, "/scan/", **{**waiting, "text": school.kit.code})

    assert not Checkout.objects.exists()


def test_the_same_form_sent_twice_is_one_act(school: scanned.Labelled) -> None:
    client, key = browser(school.world.keeper), uuid.uuid4()
    fields = {"text": "DAY-01", "intent": "check-out", "holder": school.world.guide.pk}

    pages = [text_of(post(client, "/scan/", key=key, **fields)) for _ in range(2)]

    assert Checkout.objects.count() == 1
    assert all("DAY-01 is out with Gil" in page for page in pages)


def test_a_slip_of_the_thumb_is_undone_in_one_tap(school: scanned.Labelled) -> None:
    client = browser(school.world.keeper)
    post(client, "/scan/", text="DAY-01", intent="check-out", holder=school.world.guide.pk)

    answer = post(client, f"/undo/{Entry.objects.latest('id').pk}/", to="/scan/")

    assert answer["Location"] == "/scan/"
    assert not Checkout.objects.filter(in_at=None).exists()
    assert "Undone" in text_of(client.get("/scan/"))


def test_it_was_really_another_kit_is_two_taps(school: scanned.Labelled) -> None:
    scanned.filled("DAY-03", school.world)
    client = browser(school.world.guide)
    post(client, "/scan/", text="DAY-01", intent="check-out", holder=school.world.guide.pk)

    page = client.get("/scan/").content.decode()
    which = present(re.search(r'href="(/undo/\d+/really/)"', page))[1]  # the first tap
    offered = client.get(which).content.decode()
    assert re.findall(r'<button [^>]*name="kit" value="([^"]+)"', offered) == ["DAY-02", "DAY-03"]
    post(client, which, kit="DAY-03", to="/scan/")  # the second

    assert Checkout.objects.get(in_at=None).kit.name == "DAY-03"
    assert "Corrected: the kit was DAY-03. DAY-01 has been set back to how it was." in text_of(
        client.get("/scan/")
    )


def test_what_was_noticed_late_is_put_right_from_the_kits_story(school: scanned.Labelled) -> None:
    custody.check_out(make.act(school.world.guide), school.world.day_01, person=school.world.guide)
    taken = Entry.objects.get(kind="check-out")
    scanned.filled("DAY-03", school.world)

    page = browser(school.world.keeper).get("/kits/DAY-01/").content.decode()
    assert f'href="/undo/{taken.pk}/really/"' in page
    history = browser(school.world.guide).get("/kits/DAY-01/history/").content.decode()
    assert "/really/" not in history  # it is a keeper's to put right another's act
    post(browser(school.world.keeper), f"/undo/{taken.pk}/really/", kit="DAY-03")

    assert Checkout.objects.get(in_at=None).kit.name == "DAY-03"
    assert "/really/" not in browser(school.world.keeper).get("/kits/DAY-01/").content.decode()


def test_a_kit_that_is_none_of_theirs_is_no_answer_to_which_it_was(
    school: scanned.Labelled,
) -> None:
    client = browser(school.world.guide)
    post(client, "/scan/", text="DAY-01", intent="check-out", holder=school.world.guide.pk)
    taken = Entry.objects.get(kind="check-out")

    answer = post(client, f"/undo/{taken.pk}/really/", kit="NOT-THERE")

    assert answer.status_code == 404
    assert "Which kit was it really?" in text_of(answer)
    assert Checkout.objects.get(in_at=None).kit == school.world.day_01


def test_a_photo_of_a_label_is_read_by_the_form(
    school: scanned.Labelled, settings: Settings
) -> None:
    settings.PUBLIC_URL = scanned.ADDRESS
    picture = scanned.png_of(school.kit)

    answer = post(
        browser(school.world.guide), "/scan/", image=SimpleUploadedFile("label.png", picture)
    )

    assert "DAY-01 is here" in text_of(answer)


def test_nothing_read_says_what_to_do(school: scanned.Labelled) -> None:
    answer = post(browser(school.world.guide), "/scan/", text="  ")

    assert answer.status_code == 400
    assert "take a photo of it, or type its code" in text_of(answer)


def press(client: Client, page: Any, button: str, **typed: str) -> Any:
    """What comes of pressing a button, with the hidden fields of its form and what is typed."""
    body = page.content.decode()
    form = body[: body.index(button)].rsplit("<form", 1)[1]
    hidden = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))
    return client.post("/scan/", {**hidden, **typed})


# ---------------------------------------------------------------------------------- modes that stay
def on_and_on(client: Client, mode: str, *texts: str) -> list[Any]:
    """The answers to scans one after another, nothing else touched, each hours after the last."""
    waiting, answers = {"mode": mode}, []
    for text in texts:
        answers.append(post(client, "/scan/", text=text, **waiting))
        waiting = {**fields_of(answers[-1]), "mode": mode, "since": "2026-01-01T08:00:00+00:00"}
        waiting.pop("key")
    return answers


def test_many_kits_go_to_one_guide_by_one_scan_each(school: scanned.Labelled) -> None:
    world = school.world
    names = [f"DAY-{number:02}" for number in range(3, 9)]
    for name in names:
        scanned.filled(name, world)
    client = browser(world.keeper)

    *_, last = on_and_on(client, "many", scanned.shown(school.tag), *names)

    out = Checkout.objects.filter(in_at=None, person=world.guide)
    assert sorted(out.values_list("kit__name", flat=True)) == names
    assert "The next kit is for Gil." in text_of(last)


def test_a_kit_that_may_not_go_stops_none_of_those_after_it(school: scanned.Labelled) -> None:
    scanned.filled("DAY-03", school.world)
    client = browser(school.world.keeper)

    answers = on_and_on(client, "many", scanned.shown(school.tag), "DAY-02", "DAY-03")

    assert "DAY-02, status for" in text_of(answers[1])
    assert Checkout.objects.get(in_at=None).kit.name == "DAY-03"


def test_only_looking_takes_nothing_out(school: scanned.Labelled) -> None:
    on_and_on(browser(school.world.keeper), "look", scanned.shown(school.tag), "DAY-01")

    assert not Checkout.objects.exists()


def test_receiving_goes_on_from_shelf_to_packs_and_leads_to_the_page_that_writes_it(
    school: scanned.Labelled,
) -> None:
    world = school.world
    answers = on_and_on(
        browser(world.keeper), "receive", scanned.shown(school.shelf), scanned.shown(school.lot)
    )

    assert "Shelf: C2." in text_of(answers[1])
    link = f"/stock/receive/?item={world.dressing.pk}&amp;shelf={world.shelf.pk}"
    assert link in answers[1].content.decode()
    assert browser(world.keeper).get(link.replace("&amp;", "&")).status_code == 200


@pytest.mark.parametrize(
    ("what", "page"), [("shelf", "/stock/count/{shelf}/"), ("kit", "/kits/DAY-01/count/")]
)
def test_counting_leads_to_the_count_of_what_was_scanned(
    school: scanned.Labelled, what: str, page: str
) -> None:
    (answer,) = on_and_on(
        browser(school.world.keeper), "count", scanned.shown(getattr(school, what))
    )

    assert page.format(shelf=school.world.shelf.pk) in answer.content.decode()


def test_a_mode_is_offered_to_those_alone_who_may_use_it(school: scanned.Labelled) -> None:
    for who, there in ((school.world.keeper, True), (school.world.guide, False)):
        assert ('value="receive"' in browser(who).get("/scan/").content.decode()) is there
    post(browser(school.world.guide), "/scan/", text="DAY-01", mode="receive")  # made by hand


# ------------------------------------------------------------------------------------ the wrong kit
def test_the_wrong_kit_for_ones_own_trip_is_said_before_it_goes_and_swapped_by_one_tap(
    school: scanned.Labelled,
) -> None:
    scanned.filled("DAY-03", school.world)
    trip = make.trip("Crag walk", school.world.store, leader=school.world.guide)
    reservations.reserve(make.act(), school.world.day_01, trip)
    client = browser(school.world.keeper)

    (_, answer) = on_and_on(client, "many", scanned.shown(school.tag), "DAY-03")

    assert "DAY-01 is reserved for Crag walk, not DAY-03" in text_of(answer)
    assert not Checkout.objects.exists()
    press(client, answer, "Swap the two kits")
    assert Checkout.objects.get(in_at=None).trip == trip
    assert Reservation.objects.get(trip=trip, released=None).kit.name == "DAY-03"


def test_another_guide_s_kit_changes_places_with_one_s_own_by_itself(
    school: scanned.Labelled,
) -> None:
    filled = scanned.filled("DAY-03", school.world)
    for kit, guide in ((school.world.day_01, "guide"), (filled, "instructor")):
        trip = make.trip(f"Crag {kit}", school.world.store, leader=getattr(school.world, guide))
        reservations.reserve(make.act(), kit, trip)

    (_, answer) = on_and_on(browser(school.world.keeper), "many", school.tag.code, "DAY-03")

    assert "Swapped: Ines now has DAY-01" in text_of(answer)
    held = Checkout.objects.get(in_at=None)
    assert (held.kit.name, held.person, present(held.trip).name) == (
        "DAY-03",
        school.world.guide,
        "Crag DAY-01",
    )


def test_another_guide_s_kit_with_nothing_to_swap_is_taken_with_a_reason(
    school: scanned.Labelled,
) -> None:
    trip = make.trip("Crag walk", school.world.store, 3, 3, leader=school.world.instructor)
    reservations.reserve(make.act(), school.world.day_01, trip)
    fields = {"text": "DAY-01", "intent": "check-out", "holder": school.world.guide.pk}
    due = (trip.departs_at + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M")
    client = browser(school.world.guide)

    answer = post(client, "/scan/", **fields, due_at=due)
    assert "DAY-01 is reserved for Ines (Crag walk" in text_of(answer)

    press(client, answer, "Take it anyway and give a reason", take_reason="a search")
    assert Checkout.objects.get().trip is None


def test_a_wrong_kit_that_does_not_suit_the_trip_is_told_why(school: scanned.Labelled) -> None:
    scanned.filled("DAY-03", school.world)
    trip = make.trip("Long crossing", school.world.store, 0, 6, leader=school.world.guide)
    Kit.objects.filter(name="DAY-01").update(list_version=_for_a_week(school))
    reservations.reserve(make.act(), make.fresh(school.world.day_01), trip)
    client = browser(school.world.keeper)

    (_, answer) = on_and_on(client, "many", school.tag.code, "DAY-03")
    answer = press(client, answer, "Swap the two kits")

    assert "DAY-03 is not suitable for Long crossing" in text_of(answer)
    assert not Checkout.objects.exists()


def _for_a_week(school: scanned.Labelled) -> PackingListVersion:
    lines: make.Lines = {"main": [], "pouch": []}
    return make.kit_list("Week", lines, signed_by=school.world.adviser, days=7)


# ------------------------------------------------------------------------------- shown elsewhere
def test_a_kit_in_the_hand_that_the_book_shows_elsewhere_is_two_taps(
    school: scanned.Labelled,
) -> None:
    world = school.world
    sealing.reseal(make.act(), world.day_01, "0417")
    custody.check_out(make.act(), world.day_01, person=world.instructor)
    client = browser(world.keeper)

    waiting = fields_of(post(client, "/scan/", text=school.tag.code))
    page = post(client, "/scan/", **{**waiting, "text": "DAY-01"})
    assert "DAY-01 is out with Ines" in text_of(page)
    page = press(client, page, "Sealed and dry")
    press(client, page, "Take out for Gil")

    assert Checkout.objects.get(in_at=None).person == world.guide


# ------------------------------------------------------------------------------------- many kits
def test_the_pages_ask_the_database_as_much_for_many_kits_as_for_few(
    school: scanned.Labelled, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    world, client = school.world, browser(school.world.keeper)
    for number in range(3, 11):
        kit = scanned.filled(f"DAY-{number:02}", world)
        custody.check_out(make.act(world.keeper), kit, person=world.guide)
    taken = Entry.objects.filter(kind="check-out").latest("id")
    client.get("/scan/")

    with django_assert_max_num_queries(9):
        page = client.get("/scan/")
    with django_assert_max_num_queries(9):
        which = client.get(f"/undo/{taken.pk}/really/")

    assert text_of(page).count("taken out") == 8
    assert text_of(which).count("DAY-0") >= 8


def test_a_makers_code_that_is_only_looked_at_offers_receiving(school: scanned.Labelled) -> None:
    catalogue.put_pack_code(
        make.act(), school.world.dressing, gtin="09506000134352", units_per_pack=5
    )
    code = "(01)09506000134352(17)300531(10)D9"
    for who, offered in ((school.world.keeper, True), (school.world.guide, False)):
        page = post(browser(who), "/scan/", text=code).content.decode()
        assert ('href="/stock/receive/?text=' in page) == offered


def test_a_number_typed_offers_the_kits_that_it_may_mean(school: scanned.Labelled) -> None:
    make.kit("GROUP-01", school.world.version, school.world.store)
    page = post(browser(school.world.keeper), "/scan/", text="1")
    assert "“1” could be DAY-01 or GROUP-01" in text_of(page)
    assert 'name="text" value="GROUP-01"' in page.content.decode()
    assert "DAY-01" in text_of(post(browser(school.world.keeper), "/scan/", text="d1"))
