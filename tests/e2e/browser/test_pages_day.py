"""A day at the hatch in a real browser: the morning's queue, two phones at once, a kit that the
book shows elsewhere, the evening's pile. Taps are counted: they cost most with cold hands."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import pytest
from django.test import override_settings
from playwright.sync_api import Browser

from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from kits.models import Checkout, Entry, Kit, Lot, Movement, Seal
from kits.services.custody import custody
from kits.services.ledger import audit
from kits.services.restocking import sealing
from kits.services.trips import reservations
from tests.e2e.hatch import PHONE, Phone, phone
from tests.e2e.pages import give_password, served
from tests.engines import Engine
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.waiting import until

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@dataclass
class Hatch:
    """The small school with kits for a day, a server over it and a browser."""

    school: scanned.Labelled
    browser: Browser
    url: str
    keeper: str
    colleague: str

    def phone(self, who: str = "keeper", to: str = "/scan/") -> Phone:
        return phone(self.browser, self.url, getattr(self, who), to)

    def label_of(self, on: Kit | Person | Lot, world: make.World | None = None) -> bytes:
        """A printed label, as a picture."""
        with override_settings(PUBLIC_URL=scanned.ADDRESS):
            return scanned.png_of(scanned.label(on, world))

    def kit(self, name: str) -> Kit:
        return scanned.filled(name, self.school.world)


@pytest.fixture(scope="module")
def hatch(
    need: Callable[[str], str],
    _engines: dict[str, Engine],
    django_db_blocker: Any,
) -> Iterator[Hatch]:
    """One server and one browser for the whole day; each flow has kits of its own."""
    with served(need("chromium"), _engines["sqlite"], django_db_blocker) as (browser, url):
        school = scanned.labelled()
        keeper = give_password(school.world.keeper)
        colleague = give_password(school.world.instructor)
        yield Hatch(school, browser, url, keeper, colleague)


def out_with(person: Person) -> set[Any]:
    return set(
        Checkout.objects.filter(in_at=None, person=person).values_list("kit__name", flat=True)
    )


def in_the_book(true: Callable[[], bool] | Callable[[], Any], what: str) -> None:
    until(true, what)
    assert list(audit.findings()) == []


# -------------------------------------------------------------------------------------- the morning
def test_ten_guides_take_ten_kits_five_by_one_tap_and_five_by_none(
    engine: str, hatch: Hatch
) -> None:
    world = hatch.school.world
    names = [f"MORN-{number:02}" for number in range(1, 11)]
    guides = [make.person(f"Guide {number}", Role.GUIDE, world.store) for number in range(1, 11)]
    kits = [hatch.kit(name) for name in names]
    for kit, guide in zip(kits[:5], guides[:5], strict=True):
        trip = make.trip(f"Hill day {guide.name}", world.store, leader=guide)
        reservations.reserve(make.act(), kit, trip, person=guide)
    pictures = [hatch.label_of(kit) for kit in kits]
    tags = [hatch.label_of(guide, world) for guide in guides[5:]]
    at = hatch.phone()

    def promised() -> None:
        for name, guide, picture in zip(names[:5], guides[:5], pictures[:5], strict=True):
            at.hold_up(picture, f"{name} is for {guide.name}")
            at.press("Take it out for")
            at.says(f"{name} is out with {guide.name}")

    def by_tag() -> None:
        for name, guide, picture, tag in zip(
            names[5:], guides[5:], pictures[5:], tags, strict=True
        ):
            at.hold_up(tag, f"The next kit is for {guide.name}")
            at.hold_up(picture, f"{name} is out with {guide.name}")

    def it_was_really_another() -> None:
        other = hatch.kit("MORN-11")
        at.press("Another kit")
        at.press(other.name)
        at.says("Corrected: the kit was MORN-11")

    assert at.counted(promised) == 5
    assert at.counted(by_tag) == 0
    assert at.counted(it_was_really_another) == 2
    in_the_book(
        lambda: all(out_with(g) == {n} for n, g in zip(names[:9], guides[:9], strict=True)),
        "nine kits with their guides",
    )
    assert out_with(guides[9]) == {"MORN-11"}
    assert at.faults == []


def test_where_codes_are_typed_the_first_reserved_kit_takes_three_taps_and_each_further_one_one(
    engine: str, hatch: Hatch
) -> None:
    world = hatch.school.world
    kits = [hatch.kit(f"TYPE-{number:02}") for number in (1, 2, 3)]
    guides = [make.person(f"Typed {number}", Role.GUIDE, world.store) for number in (1, 2, 3)]
    for kit, guide in zip(kits, guides, strict=True):
        trip = make.trip(f"Typed day {guide.name}", world.store, leader=guide)
        reservations.reserve(make.act(), kit, trip, person=guide)
    at = hatch.phone(to="/")

    def type_and_take(kit: Kit, guide: Person) -> None:
        at.page.keyboard.type(f"{kit.name}\n")  # into the field that has the focus
        at.says(f"{kit.name} is for {guide.name}")
        at.press("Take it out for")
        at.says(f"{kit.name} is out with {guide.name}")

    def first() -> None:
        at.press("Scan")
        at.page.wait_for_url("**/scan/")
        at.tap(at.page.locator("#text"))
        type_and_take(kits[0], guides[0])

    assert at.counted(first) == 3
    for number in (1, 2):
        assert at.counted(partial(type_and_take, kits[number], guides[number])) == 1
    in_the_book(lambda: all(out_with(guide) for guide in guides), "three kits with their guides")
    assert at.faults == []


# ------------------------------------------------------------------------------- two phones at once
def test_of_two_phones_at_once_one_wins_and_the_other_is_told_and_goes_on(
    engine: str, hatch: Hatch
) -> None:
    world = hatch.school.world
    kit = hatch.kit("BOTH-01")
    sealing.reseal(make.act(), kit, "BOTH-0417", anyway=True)
    trip = make.trip("Gorge day", world.store, leader=world.guide)
    reservations.reserve(make.act(), kit, trip)
    phones = [hatch.phone(), hatch.phone("colleague")]
    for at in phones:
        at.scanner(kit.name)
        at.says("BOTH-01 is for Gil")

    for at in phones:  # neither waits for the other
        at.page.evaluate(
            "() => [...document.querySelectorAll('#answer button')]"
            ".find((button) => button.textContent.includes('Take it out')).click()"
        )
    answer = "[data-outcome=taken-out], [data-outcome=kit-is-out]"
    told = [present(at.page.locator(answer).first.get_attribute("data-outcome")) for at in phones]

    assert sorted(told) == ["kit-is-out", "taken-out"]
    loser = phones[told.index("kit-is-out")]

    def take_it_back() -> None:
        loser.press("The kit is here and sealed")
        loser.press("Take out for Gil")
        loser.says("BOTH-01 is out with Gil")

    assert loser.counted(take_it_back) == 2
    assert list(Checkout.objects.filter(kit=kit).values_list("trip", flat=True)) == [trip.pk] * 2
    in_the_book(lambda: out_with(world.guide) >= {"BOTH-01"}, "the kit out again")


# ---------------------------------------------------------------------------------- shown elsewhere
def test_a_kit_in_the_hand_that_the_book_shows_elsewhere_is_two_taps(
    engine: str, hatch: Hatch
) -> None:
    world = hatch.school.world
    kit = hatch.kit("ELSE-01")
    sealing.reseal(make.act(), kit, "ELSE-0418", anyway=True)
    custody.check_out(make.act(), kit, person=world.instructor)
    guide = make.person("Wanda", Role.GUIDE, world.store)
    at = hatch.phone()

    at.hold_up(hatch.label_of(guide, world), "The next kit is for Wanda")
    at.hold_up(hatch.label_of(kit), "ELSE-01 is out with Ines")

    def take_it_back() -> None:
        at.press("Sealed and dry")
        at.press("Take out for Wanda")
        at.says("ELSE-01 is out with Wanda")

    assert at.counted(take_it_back) == 2
    in_the_book(lambda: out_with(guide) == {"ELSE-01"}, "the kit out with who has it in the hand")


# -------------------------------------------------------------------------------------- the evening
def test_kits_come_back_sealed_to_sort_later_and_opened(engine: str, hatch: Hatch) -> None:
    world = hatch.school.world
    sealed, later, opened, four = (hatch.kit(f"EVE-{number:02}") for number in (1, 2, 3, 4))
    sealing.reseal(make.act(), sealed, "EVE-0501", anyway=True)
    sealing.reseal(make.act(), opened, "EVE-0502", anyway=True)
    driver = Person.objects.get(pk=world.guide.pk)
    for kit in (sealed, later, opened, four):
        custody.check_out(make.act(), kit, person=driver)
    at = hatch.phone()

    def one_sealed_and_dry() -> None:
        at.hold_up(hatch.label_of(sealed), "EVE-01 is out with Gil")
        at.says("501")  # the last three digits, to compare
        at.press("Sealed and dry")
        at.says("EVE-01 is back: sealed and dry")

    def one_to_sort_later() -> None:
        at.hold_up(hatch.label_of(later), "EVE-02 is out with Gil")
        at.press("Sort later")
        at.says("EVE-02 is back: to be sorted later")

    def whoever_had_it_tells_what_they_used() -> None:
        at.press("Ask what was used")
        theirs = hatch.browser.new_context(viewport=PHONE).new_page()  # no account, no sign-in
        theirs.goto(at.page.locator("#link").input_value())
        theirs.get_by_role("button", name="+1 Shears").click()
        theirs.get_by_role("button", name="Send (1 used)").click()
        theirs.get_by_text("What you used from EVE-02 has been recorded.").wait_for()
        theirs.context.close()
        at.page.goto(f"{hatch.url}/scan/")

    def one_opened() -> None:
        at.hold_up(hatch.label_of(opened), "EVE-03 is out with Gil")
        at.press("Opened")
        at.press("No")  # sharps or blood?
        at.says("What was used?")
        at.press("+1 Pain tablets")
        at.press("+1 Pain tablets")
        at.tap(at.page.get_by_text("Which batch, if you know"))
        at.press("Scan a batch label")  # only now the camera is asked for
        at.hold_up(hatch.label_of(world.lots["d1"], world), "batch D1")
        assert at.page.locator(".camera.on").count() == 0  # and off again
        at.press("Hand back (3 used)")
        at.says("EVE-03 has been handed back as opened. 3 items used.")

    def one_with_four_used() -> None:
        at.hold_up(hatch.label_of(four), "EVE-04 is out with Gil")
        at.press("Opened")
        at.press("No")
        for thing in ("Wound dressing", "Pain tablets", "Pain tablets", "Shears"):
            at.press(f"+1 {thing}")
        at.press("Hand back (4 used)")
        at.says("EVE-04 has been handed back as opened. 4 items used.")

    def restock_and_seal() -> None:
        at.press("All put in as listed")
        at.says("Seal it now")
        at.press("Seal kit")
        at.says("Seal EVE-0503 is on the kit.")

    assert at.counted(one_sealed_and_dry) == 1
    assert at.counted(one_to_sort_later) == 1
    whoever_had_it_tells_what_they_used()
    assert at.counted(one_opened) == 7  # two ways, a tap a thing, two for the very batch, done
    assert at.counted(restock_and_seal) == 2
    at.page.goto(f"{hatch.url}/scan/")
    assert at.counted(one_with_four_used) <= 9
    in_the_book(
        lambda: Seal.objects.filter(number="EVE-0503", broken=None).exists(), "the kit sealed"
    )
    used = Movement.objects.filter(entry__kind="use", entry__kit=opened).order_by("units")
    assert list(used.values_list("lot__item__name", "units", "lot_assumed")) == [
        ("Wound dressing 10 × 12", 1, False),
        ("Pain tablets", 2, True),
    ]
    assert Checkout.objects.get(kit=sealed).as_found == "sealed-and-dry"
    assert Kit.objects.get(pk=later.pk).to_sort_since is not None
    assert Entry.objects.get(kit=later, kind="use").person == driver
    assert Kit.objects.get(pk=opened.pk).fit_until is not None
    assert Entry.objects.filter(kit=opened, kind="restock").exists()
    assert at.faults == []


def test_going_back_and_pressing_again_records_what_was_used_once(
    engine: str, hatch: Hatch
) -> None:
    kit = hatch.kit("EVE-05")
    custody.check_out(make.act(), kit, person=Person.objects.get(pk=hatch.school.world.guide.pk))
    at = hatch.phone(to="/kits/EVE-05/hand-back/")
    says = "EVE-05 has been handed back as opened. 2 items used."

    at.press("Opened")
    at.press("No")  # sharps or blood?
    for _ in range(2):
        at.press("+1 Pain tablets")
    at.press("Hand back (2 used)")
    at.says(says)
    at.page.go_back()
    at.press("Hand back (2 used)")  # what was typed stands there again, and the button says so
    at.says(says)
    used = Entry.objects.filter(kit=kit, kind="use")
    in_the_book(lambda: used.count() == 1, "used once")

    at.page.go_back()
    at.press("+1 Pain tablets")
    at.press("Hand back (3 used)")
    at.says("This form has been sent before, with other content.")
    in_the_book(lambda: used.count() == 1, "still once")
