"""A kit's verdict on pages: the word, the question that it answers, the first expiry, and marks
that say the same for whoever compares them."""

import re
from html import unescape
from typing import Any

import pytest

from kits.models import Checkout, Kit, ListLine, Lot
from kits.services.custody import custody
from kits.services.ledger import readiness, verdicts
from kits.services.text import reason_texts, verdict_texts
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE

MARK = re.compile(
    r'data-kit="([^"]*)" data-through="([^"]*)" data-trip="([^"]*)" data-verdict="([^"]*)">([^<]*)<'
)


@pytest.fixture
def world() -> make.World:
    return make.world()


def marks(response: Any) -> dict[Any, Any]:
    """What a page says of kits: {name: {(through, trip, slug, words)}}."""
    found: dict[str, set[tuple[str, ...]]] = {}
    for kit, *says in MARK.findall(unescape(response.content.decode())):
        found.setdefault(kit, set()).add(tuple(says))
    return found


def expected(kit: Any) -> set[Any]:
    """What every surface must say of a kit."""
    judged = verdicts.judged_one(make.fresh(kit))
    trip = judged.question.trip
    return {
        (
            judged.question.through.isoformat(),
            str(trip.pk) if trip else "",
            str(judged.verdict.word),
            verdict_texts.verdict(judged.verdict),
        )
    }


def every_word(world: make.World) -> dict[Any, Any]:
    """Kits under each of the five words, by word."""
    low = make.kit("DAY-03", world.version, world.store)
    make.put_in(low, world.lots["d2"], world.upper, 5)
    make.put_in(low, world.lots["shears"], world.shelf, 1)
    make.put_in(low, world.lots["tablets"], world.shelf, 8, key="pouch")
    short = make.kit("DAY-04", world.version, world.store)
    make.put_in(short, world.lots["d2"], world.upper, 5)
    make.put_in(short, world.lots["shears"], world.shelf, 1)
    unset = make.kit("DAY-05", world.version, world.store, entered=False)
    for kit in (low, short):
        kit.looked_inside_on = make.today()
        kit.save(update_fields=["looked_inside_on"])
        readiness.rewrite([kit.pk])
    return {
        "ready": world.day_01,
        "low": low,
        "short": short,
        "do-not-take": world.day_02,
        "not-set-up": unset,
    }


def test_the_kits_page_says_each_of_the_five_words_and_which_day_it_judged(
    world: make.World,
) -> None:
    kits = every_word(world)

    page = browser(world.guide).get("/kits/")

    said = marks(page)
    for word, kit in kits.items():
        assert said[kit.name] == expected(kit)
        assert {slug for _, _, slug, _ in said[kit.name]} == {word}
    day = verdict_texts.judged_for(make.today())
    expiry = verdict_texts.first_expiry(make.days(300)).removeprefix("first expiry ")
    assert f"{expiry} Ready {day}" in text_of(page)
    assert "through" not in text_of(page)


def test_a_kit_that_is_out_or_reserved_says_for_which_trip_it_is_judged(world: make.World) -> None:
    ridge = make.trip("Ridge walk", world.store, last=3)
    custody.check_out(
        make.act(world.keeper), world.day_01, person=world.guide, trip=ridge, short_reason="All."
    )
    gorge = make.trip("Gorge", world.store, first=2, last=4)
    reservations.reserve(make.act(world.keeper), world.day_02, gorge)

    for path in ("/kits/", "/kits/DAY-01/"):
        page = browser(world.guide).get(path)
        assert marks(page)["DAY-01"] == expected(world.day_01)
        assert verdict_texts.judged_for(make.days(3), "Ridge walk") in text_of(page)
    page = browser(world.guide).get("/kits/DAY-02/")
    assert marks(page)["DAY-02"] == expected(world.day_02)
    assert verdict_texts.judged_for(make.days(4), "Gorge") in text_of(page)


def test_a_kits_page_says_its_word_with_every_reason_and_the_first_expiry_apart(
    world: make.World,
) -> None:
    for kit in every_word(world).values():
        page = browser(world.guide).get(f"/kits/{kit.name}/")
        assert marks(page)[kit.name] == expected(kit)
        says = text_of(page)
        assert "Fit until" not in says
        for reason in verdicts.judged_one(make.fresh(kit)).verdict.reasons:
            assert reason_texts.reason(reason)["text"] in says
    expiry = make.fresh(world.day_01).first_expiry
    says = text_of(browser(world.guide).get("/kits/DAY-01/"))
    assert verdict_texts.first_expiry(expiry) in says


def test_each_reason_stands_under_the_word_that_it_gives_the_kit(world: make.World) -> None:
    kits = every_word(world)
    for kit in (kits["short"], kits["do-not-take"]):
        page = browser(world.guide).get(f"/kits/{kit.name}/").content.decode()
        (first,) = re.findall(
            r'<ul class="reasons">\s*<li class="\w+">\s*<span[^>]*>(.*?)</', page, re.S
        )
        word = verdict_texts.word(verdicts.judged_one(make.fresh(kit)).verdict.word)
        assert " ".join(first.split()) == word


def test_a_date_that_has_passed_is_not_said_to_be_still_to_come(world: make.World) -> None:
    Lot.objects.filter(pk=world.lots["tablets"].pk).update(expiry=make.days(-1))
    (why,) = [
        why
        for why in reason_texts.reasons(
            verdicts.judged_one(make.fresh(world.day_01)).verdict.reasons
        )
        if why["code"] == "short"
    ]
    assert "good until" in why["text"] and "goes out" not in why["text"]


def test_the_api_says_of_kits_what_the_pages_say(world: make.World) -> None:
    kits = every_word(world)
    answer = make.caller(world.guide).get("kits/").json()
    said = {row["name"]: row for row in answer["results"]}
    for word, kit in kits.items():
        row = said[kit.name]
        ((through, trip, slug, words),) = expected(kit)
        assert (row["verdict"], row["verdict_text"]) == (word, words) == (slug, words)
        assert (row["through"], row["trip"] or "") == (through, trip)
    assert said["DAY-01"]["first_expiry"] == make.days(300).isoformat()
    assert said["DAY-01"]["ready_until"] <= said["DAY-01"]["fit_until"]
    assert said["DAY-03"]["ready_until"] is None
    assert said["DAY-03"]["fit_until"] is not None


# ---------------------------------------------------------------------------------------- the board
def board(person: Any) -> Any:
    return browser(person).get("/")


def test_the_board_shows_every_kit_that_fails_for_a_trip_of_the_week_soonest_first(
    world: make.World,
) -> None:
    kits = every_word(world)
    trip = make.trip("Cave week", world.store, first=6, last=7, hazards=["cave"])
    reservations.reserve(make.act(world.keeper), world.day_01, trip)  # which no kit list serves
    soon = make.trip("Fell day", world.store, first=3, last=3)
    reservations.reserve(make.act(world.keeper), kits["short"], soon)

    page = board(world.keeper)

    said = marks(page)
    for kit in (world.day_01, kits["short"], kits["do-not-take"]):
        assert said[kit.name] == expected(kit)
    assert kits["low"].name not in said  # it goes without a word
    assert kits["not-set-up"].name not in said
    hand = text_of(page).split("Needs attention")[1]
    assert hand.index("DAY-04") < hand.index("DAY-01") < hand.index("DAY-02")
    assert "Not set up yet DAY-05" in hand
    assert "All kits here are ready" not in hand


def test_every_kit_is_said_to_be_ready_only_where_each_is_by_the_one_verdict(
    world: make.World,
) -> None:
    Kit.objects.filter(pk=world.day_02.pk).update(retired_on=make.today())
    assert "All kits here are ready." in text_of(board(world.keeper))

    trip = make.trip("Crowd", world.store, first=5, last=5, people=30)
    reservations.reserve(make.act(world.keeper), world.day_01, trip)

    page = text_of(board(world.keeper))
    assert "All kits here are ready." not in page
    assert "Ask first: the trip’s kits serve 10 of 30 people" in unescape(page)


def test_trips_of_the_week_that_are_not_covered_stand_on_the_board_and_waiting_ones_apart(
    world: make.World,
) -> None:
    bare = make.trip("Bare walk", world.store, first=4, last=4)
    later = make.trip("Later walk", world.store, first=5, last=5)
    far = make.trip("Far walk", world.store, first=12, last=12)
    reservations.reserve(make.act(world.keeper), world.day_01, later)
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide, trip=None)

    page = board(world.keeper)

    going = text_of(page).split("Going out")[1].split("Out now")[0]
    not_covered, waiting = going.split("Waiting for a kit to be handed back")
    assert bare.name in not_covered and later.name not in not_covered
    assert later.name in waiting and "DAY-01" in waiting
    assert far.name not in going
    row = page.content.decode().split("Waiting for a kit")[1].split("</li>")[0]
    assert '<li class="ok' not in row


def test_what_is_out_is_counted_on_the_board_whenever_it_is_due(world: make.World) -> None:
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide, due_at=None)
    week = make.trip("Long walk", world.store, last=6)
    custody.check_out(
        make.act(world.keeper), world.day_02, person=world.guide, trip=week, emergency=True
    )

    page = text_of(board(world.keeper))

    assert "Out now (2)" in page
    out = page.split("Out now (2)")[1].split("Needs attention")[0]
    assert "DAY-01" in out and "No return time" in out
    assert "DAY-02" in out
    assert "No kits are out" not in page


def test_a_guide_sees_their_own_kits_first(world: make.World) -> None:
    trip = make.trip("Ridge walk", world.store, first=2, last=3, leader=world.guide)
    reservations.reserve(make.act(world.keeper), world.day_02, trip)
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide, trip=None)

    page = board(world.guide)

    mine = text_of(page).split("Going out")[0]
    assert mine.index("My kits") < mine.index("DAY-01") < mine.index("DAY-02")
    assert "Ridge walk" in mine
    assert marks(page)["DAY-01"] == expected(world.day_01)
    assert marks(page)["DAY-02"] == expected(world.day_02)
    assert "My kits" not in text_of(board(world.keeper))


@pytest.mark.parametrize("who", ["without a role", "of another room"])
def test_whoever_has_a_kit_of_a_room_that_is_not_theirs_sees_that(
    world: make.World, who: str
) -> None:
    person = make.person("Nia") if who == "without a role" else world.stranger
    custody.check_out(make.act(), world.day_01, person=person)

    page = board(person)

    mine = text_of(page).split("My kits from other gear rooms")[1]
    assert mine.index("DAY-01") < mine.index("Main store, due t")
    assert marks(page) == {}  # how it stands is not theirs to see
    may = who == "of another room"  # somebody without any role reports nothing themselves
    assert ("Hand back" in mine) == may
    assert ("take it to the hatch" in text_of(page)) != may
    assert browser(person).get("/kits/DAY-01/hand-back/").status_code == (200 if may else 403)
    assert ("Out now (0)" in text_of(page)) == (who == "of another room")


@pytest.mark.parametrize("who", ["guide", "keeper", "instructor"])
def test_whoever_belongs_to_a_room_sees_what_is_out_now(world: make.World, who: str) -> None:
    custody.check_out(make.act(), world.day_01, person=world.guide)
    assert "Out now (1)" in text_of(board(getattr(world, who)))


# ---------------------------------------------------------------------------------- trips and scans
def test_a_trip_says_of_its_kits_what_every_page_says_of_them_for_it(world: make.World) -> None:
    trip = make.trip("Ridge walk", world.store, first=1, last=3)
    for kit in (world.day_01, world.day_02):
        reservations.reserve(make.act(world.keeper), kit, trip)

    for path in ("/trips/", f"/trips/{trip.pk}/", "/"):
        page = browser(world.keeper).get(path)
        for kit in (world.day_01, world.day_02):
            assert marks(page)[kit.name] == expected(kit), path
    text = text_of(browser(world.keeper).get(f"/trips/{trip.pk}/"))
    assert "not fit" not in text.lower()
    assert verdict_texts.judged_for(make.days(3), "Ridge walk") in text


def test_a_scan_says_what_the_kits_page_says(world: make.World) -> None:
    trip = make.trip("Ridge walk", world.store, first=1, last=3, leader=world.guide)
    reservations.reserve(make.act(world.keeper), world.day_01, trip)
    client = browser(world.guide)

    for kit in (world.day_01, world.day_02):
        page = client.get("/scan/", {"text": kit.name})
        assert marks(page)[kit.name] == expected(kit)
    text = text_of(client.get("/scan/", {"text": "DAY-01"}))
    assert verdict_texts.judged_for(make.days(3), "Ridge walk") in text
    assert verdict_texts.first_expiry(make.fresh(world.day_01).first_expiry) in text


def test_a_kit_that_is_not_set_up_goes_out_from_the_board_as_any_other(world: make.World) -> None:
    unset = make.kit("DAY-05", world.version, world.store, entered=False)
    trip = make.trip("Crag walk", world.store, leader=world.guide)
    reservations.reserve(make.act(world.keeper), unset, trip)

    page = board(world.keeper)

    assert marks(page)["DAY-05"] == expected(unset)
    assert "Not set up yet" in text_of(page).split("Going out")[1].split("Out now")[0]
    fields = form_with(page, "Take out")
    assert post(browser(world.keeper), "/scan/", **fields).status_code == 200
    assert Checkout.objects.get(in_at=None).kit == unset


def test_a_line_without_a_minimum_is_optional(world: make.World) -> None:
    kit = every_word(world)["low"]

    def low_on() -> str:
        verdict = verdicts.judged_one(make.fresh(kit)).verdict
        return next(
            str(each["text"])
            for each in reason_texts.reasons(verdict.reasons)
            if each["code"] == "low"
        )

    assert low_on() == "Wound dressing 10 × 12: 5 of 6 in the kit, minimum 4."
    ListLine.objects.update(never_below=0)
    assert low_on() == "Wound dressing 10 × 12: 5 of 6 in the kit, optional."
