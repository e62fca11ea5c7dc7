"""What a phone without a network says of kits, and what may be done to them there."""

from collections.abc import Callable

import pytest
from playwright.sync_api import expect

from kits.models import Closing, Entry, Movement, Seal
from kits.services.custody import custody, returns
from kits.services.restocking import sealing
from kits.services.trips import reservations
from tests.e2e.pages import chromium, give_password, sign_in
from tests.e2e.pocket import SEEN_MS
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
STANDS = """([name, days]) => Promise.all([
  import('/static/site/offline/copy.js'), gearQueue.kept('book')]).then(([{ standing }, book]) => {
    const kit = book.kits.find((each) => each.name === name);
    return days.map((day) => standing(kit, day, book.judged_until));
  })"""
AFTER = """([name, ways]) => Promise.all([
  import('/static/site/offline/copy.js'), gearQueue.kept('book')]).then(([books, book]) =>
    ways.map((way) => {
      const acts = way.map(([kind, body]) => ({ kit: name, state: 'waits', at: '', kind, body }));
      const kit = books.kitsNow(book, acts).get(name);
      const { verdict, why } = books.standing(kit, kit.verdicts[0].from, null);
      return [verdict, why ?? null];
    }))"""


def test_without_a_network_a_kit_stands_as_the_gear_room_said_for_the_day(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    gorge = make.trip("Gorge", world.store, first=9, last=12)
    reservations.reserve(make.act(world.keeper), world.day_01, gorge)
    keeper = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        sign_in(page, server.url, keeper, "/offline/")
        rows = page.locator("#kits > li")
        expect(rows.filter(has_text="DAY-01")).to_contain_text("Ready", timeout=SEEN_MS)
        expect(rows.filter(has_text="DAY-02")).to_contain_text("Do not take: no Wound dressing")
        mark = rows.filter(has_text="DAY-01").locator("[data-verdict]")
        assert mark.get_attribute("data-kit") == "DAY-01"
        assert mark.get_attribute("data-through") == make.days(0).isoformat()
        assert mark.get_attribute("data-trip") == ""

        days = [make.days(n).isoformat() for n in range(36)]
        said = page.evaluate(STANDS, ["DAY-01", days])
        assert said[35] is None
        for day, each in zip(days[:35], said[:35], strict=True):
            on_it = make.days(2).isoformat() <= day <= gorge.last_day.isoformat()
            assert each["trip"] == (gorge.pk if on_it else None), day
            assert each["through"] == (gorge.last_day.isoformat() if on_it else day), day

        # What was done on this phone since is counted where that takes no list.
        card = page.locator("article[data-kit=DAY-01]")
        rows.filter(has_text="DAY-01").get_by_role("button").click()
        card.get_by_text("Something was used").click()
        tile = card.locator(".tile").filter(has_text="Wound dressing")
        tile.get_by_role("button", name="one more").click()
        page.context.set_offline(True)
        card.get_by_role("button", name="Used", exact=True).click()
        expect(card).to_contain_text("items used here are not included yet")
        card.get_by_text("Handed back", exact=True).click()
        card.get_by_role("button", name="Sort later").click()
        expect(card.locator("[data-verdict]")).to_have_text("Do not take: needs sorting")
        expect(card.locator("[data-verdict]")).to_have_attribute("data-verdict", "do-not-take")


def test_without_a_network_a_kit_that_nobody_opened_needs_no_sorting(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    plain = scanned.filled("DAY-03", world)
    sealing.reseal(make.act(world.keeper), world.day_01, "0417")
    for kit in (world.day_01, plain):
        custody.check_out(make.act(world.keeper), kit, person=world.guide)
    keeper = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        sign_in(page, server.url, keeper, "/offline/")
        rows = page.locator("#kits > li")
        expect(rows.filter(has_text="DAY-03")).to_be_visible(timeout=SEEN_MS)
        page.context.set_offline(True)

        # Its seal is broken once something was used, and a wet kit dries first, whatever its seal.
        used = ["use", {"used": [{"item": world.dressing.pk, "units": 1}]}]
        dry, closed, wet, later = (
            ["hand-back", {"as_found": found, "wet": wet}]
            for found, wet in (
                ("sealed-and-dry", False),
                ("closed", False),
                ("closed", True),
                ("sort-later", False),
            )
        )
        ways = [[dry], [closed], [used, dry], [wet], [later, ["look-inside", {}]], [later, dry]]
        assert page.evaluate(AFTER, ["DAY-01", ways]) == [
            ["ready", None],
            ["ready", None],
            ["do-not-take", "sorting"],
            ["do-not-take", "drying"],
            ["ready", None],
            ["do-not-take", "sorting"],
        ]

        # Where no seal is on record: closed; where one is: sealed and dry.
        for name, way, other in (
            ("DAY-01", "Sealed and dry", "Closed, nothing used"),
            ("DAY-03", "Closed, nothing used", "Sealed and dry"),
        ):
            rows.filter(has_text=name).get_by_role("button").click()
            card = page.locator(f"article[data-kit={name}]")
            expect(card.get_by_role("button", name=other)).to_be_hidden()
            card.get_by_role("button", name=way).click()
            expect(card.locator("[data-verdict]")).to_contain_text("Ready")

        # What the book knows to be missing is not all there.
        expect(
            card.get_by_role("button", name="Checked just now: everything matches the record")
        ).to_be_visible()
        # Handed back to be sorted later, then checked: nothing is in its way any more.
        card = page.locator("article[data-kit=DAY-01]")
        card.get_by_text("Handed back", exact=True).click()
        card.get_by_role("button", name="Sort later").click()
        expect(card.locator("[data-verdict]")).to_have_text("Do not take: needs sorting")
        card.get_by_role("button", name="Checked just now: everything is there").click()
        expect(card.locator("[data-verdict]")).to_have_text("Ready")
        expect(card).to_contain_text("contents checked on this phone, not yet recorded")

        page.context.set_offline(False)
        page.get_by_text("Nothing is waiting").wait_for(timeout=SEEN_MS)

    done = Entry.objects.filter(kit=world.day_01).order_by("-pk")[:3]
    assert [each.kind for each in done] == ["look-inside", "check-in", "check-in"]
    assert make.fresh(world.day_01).to_sort_since is None
    assert make.fresh(plain).to_sort_since is None


def test_what_was_not_carried_and_what_is_not_ours_is_said_without_a_network(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide)
    returns.report_own(make.act(world.guide), world.day_01, inside=True)
    keeper = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        sign_in(page, server.url, keeper, "/offline/")
        row = page.locator("#kits > li").filter(has_text="DAY-01")
        expect(row).to_be_visible(timeout=SEEN_MS)
        page.context.set_offline(True)

        row.get_by_role("button").click()
        card = page.locator("article[data-kit=DAY-01]")
        card.get_by_text("Something was used", exact=True).click()
        card.locator(f"[name=used-{world.dressing.pk}]").fill("1")
        card.get_by_label("Used in class").check()
        card.get_by_role("button", name="Used", exact=True).click()
        expect(card.get_by_text("Give it back to its owner")).to_be_visible()
        card.get_by_label("Given back").check()
        card.get_by_label("Needed but not in the kit").fill("tick remover\n\n crutch ")
        card.get_by_role("button", name="Opened", exact=True).click()
        page.get_by_text("2 records are waiting to be sent.").wait_for(timeout=SEEN_MS)

        page.context.set_offline(False)
        page.get_by_text("Nothing is waiting").wait_for(timeout=SEEN_MS)

    assert [need.words for need in returns.needs_in_force()] == ["crutch", "tick remover"]
    assert not returns.has_own(world.day_01)
    assert Movement.objects.get(entry__kind="use").to_place.kind == "class"


def test_a_kit_is_sealed_without_a_network_and_says_whether_its_bag_closed(
    need: Callable[[str], str], open_database: str, make_web: Callable[[], Web]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    keeper = give_password(world.keeper)
    server = make_web().start()

    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740})
        sign_in(page, server.url, keeper, "/offline/")
        row = page.locator("#kits > li").filter(has_text="DAY-01")
        expect(row).to_be_visible(timeout=SEEN_MS)
        page.context.set_offline(True)

        row.get_by_role("button").click()
        card = page.locator("article[data-kit=DAY-01]")
        card.locator("[data-for=seal] summary").click()
        card.get_by_label("Number on the new seal").fill("0417")
        card.get_by_label("it did not close").check()
        card.get_by_label("Weight on a scale").fill("1850")
        card.get_by_role("button", name="Sealed", exact=True).click()
        page.get_by_text("DAY-01: sealed with seal 0417.").wait_for(timeout=SEEN_MS)
        assert not Closing.objects.exists()

        page.context.set_offline(False)
        page.get_by_text("Nothing is waiting").wait_for(timeout=SEEN_MS)

    [closing] = Closing.objects.all()
    assert (closing.closed, closing.mass_g) == (False, 1850)
    assert Seal.objects.get(number="0417").put_on == closing.entry
