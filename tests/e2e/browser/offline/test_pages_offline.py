"""A phone at a trailhead: no network, a browser that dies, a sign-in that ran out, and nothing
lost; and how little goes over the wire where the network is poor."""

import random
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import Page, expect
from pytest_django import Settings

from gearroom.core import clock
from kits.models import Checkout, Entry, Notice
from kits.rules.lookup import label_codes
from kits.services.custody import custody
from tests.e2e.pages import PASSWORD, crossing, give_password, sign_in
from tests.e2e.pocket import READER_IS_HERE, SEEN_MS, kill, phone, until_kept
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.waiting import until
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
RIGHT_CODES = """(codes) => import('/static/site/offline/copy.js').then(
  ({ isCode }) => codes.filter(isCode))"""
NOT_CLAIMED = """
  Object.defineProperty(navigator.serviceWorker, 'controller', { get: () => null });
  navigator.serviceWorker.addEventListener = () => {};"""
LATE_OR_NEVER = """
  const register = navigator.serviceWorker.register.bind(navigator.serviceWorker);
  globalThis.registered = 0;
  navigator.serviceWorker.register = async (...facts) => {
    globalThis.registered += 1;
    if (FAILS) throw new TypeError('a file of it did not come');
    await new Promise((goOn) => { globalThis.goOn = goOn; });
    return register(...facts);
  };"""


def entries_of(page: Page) -> list[str]:
    """The states of the acts on the phone, in order."""
    return list(page.evaluate("gearQueue.acts().then((acts) => acts.map((act) => act.state))"))


def test_what_was_done_without_a_network_is_in_the_book_once_and_explained(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    settings: Settings,
    tmp_path: Path,
) -> None:
    program = need("chromium")
    need("barcode-detector")
    settings.PUBLIC_URL = scanned.ADDRESS
    school = scanned.labelled()
    world = school.world
    day_03 = scanned.filled("DAY-03", world)
    keeper = give_password(world.keeper)
    film = crossing(
        [scanned.png_of(each) for each in (school.kit, school.tag, scanned.label(day_03))],
        tmp_path / "labels.mjpeg",
    )
    profile = tmp_path / "phone"
    server = make_web().start()

    # Once with the network, the camera allowed: all that is needed stays on the phone.
    with phone(program, profile) as context:
        page = context.pages[0]
        sign_in(page, server.url, keeper, "/scan/")
        page.wait_for_load_state()
        until_kept(page)
        # What is a code of ours on the phone is one in the book.
        draw = random.Random(7).choice
        drawn = [label_codes.new_code(draw) for _ in range(60)]
        wrong = [
            code[:place] + other + code[place + 1 :]
            for code in drawn
            for place, other in ((0, "2"), (3, "B"), (7, "X"))
        ]
        told = page.evaluate(RIGHT_CODES, [*drawn, *wrong])
        assert told == [code for code in (*drawn, *wrong) if label_codes.is_valid(code)]

    server.kill()
    before = Entry.objects.latest("id").pk
    left = clock.now()
    with phone(program, profile, f"--use-file-for-fake-video-capture={film}") as context:
        page = context.pages[0]
        page.goto(f"{server.url}/scan/")
        page.get_by_text("The server cannot be reached.").wait_for()

        # By the camera alone: a kit and a tag, then, for the same guide, the next kit.
        done = page.locator("#acts > li")
        done.filter(has_text="DAY-01: taken out by Gil.").wait_for(timeout=SEEN_MS)
        done.filter(has_text="DAY-03: taken out by Gil.").wait_for(timeout=SEEN_MS)

        # What the camera brings up again, with a tap or two.
        card = page.locator("article[data-kit=DAY-01]")
        card.get_by_text("Something was used").click()
        tile = card.locator(".tile").filter(has_text="Wound dressing")
        tile.get_by_role("button", name="one more").click()
        card.get_by_role("button", name="Used", exact=True).click()
        done.filter(has_text="DAY-01: 1 × Wound dressing 10 × 12 used.").wait_for()
        card.get_by_text("Borrowed from another kit").click()
        card.get_by_label("From which kit").select_option("DAY-03")
        card.locator("[name=thing]").select_option(str(world.dressing.pk))
        card.get_by_label("How many").fill("2")
        card.get_by_role("button", name="Borrowed").click()
        done.filter(has_text="DAY-01: 2 × Wound dressing 10 × 12 borrowed from DAY-03.").wait_for()
        card.get_by_text("Passed on to somebody else").click()
        card.get_by_label("Who the kit is passed to").select_option("Ines")
        card.get_by_role("button", name="Passed on").click()
        done.filter(has_text="DAY-01: passed on to Ines.").wait_for()
        card.get_by_role("button", name="Sort later").click()
        done.filter(has_text="DAY-01: handed back, to be sorted later.").wait_for()

        assert entries_of(page) == ["waits"] * 6
        page.get_by_text("6 records are waiting to be sent.").wait_for()
        kill(profile)

    # Meanwhile the book heard otherwise of DAY-03, and the sign-in ran out.
    taken = make.act(world.keeper)
    custody.check_out(taken, day_03, person=world.instructor)
    Session.objects.all().delete()
    server.start()

    with phone(program, profile) as context:
        page = context.pages[0]
        page.goto(f"{server.url}/kits/")
        page.wait_for_url("**/sign-in/**")
        page.get_by_text("6 records are waiting on this phone.").wait_for()
        assert Entry.objects.filter(pk__gt=before).count() == 1
        page.fill("#username", keeper)
        page.fill("#password", PASSWORD)
        page.click("main button")
        page.wait_for_url("**/kits/")
        expect(page.locator("#pocket")).to_have_text("1 record needs attention.", timeout=SEEN_MS)
        assert entries_of(page) == ["done", "irregular", *["done"] * 4]

        page.locator("#pocket a").click()
        page.get_by_text("The server is responding.").wait_for()
        row = page.locator("#acts > li[data-state=irregular]")
        expect(row).to_contain_text("Recorded, but against the rules")
        expect(row).to_contain_text("The kit has changed hands again since then")
        assert row.get_by_role("link", name="View the kit").get_attribute("href") == "/kits/DAY-03/"
        page.reload()  # sends again what it has: nothing
        page.get_by_text("The server is responding.").wait_for()
        page.get_by_text("Nothing is waiting").wait_for()
        row.get_by_role("button", name="Done", exact=True).click()
        expect(row).to_have_count(0)

        # Whoever signs out takes the kits with them.
        page.goto(f"{server.url}/kits/")
        page.locator(".who summary").click()
        page.get_by_role("button", name="Log out").click()
        page.wait_for_url("**/sign-in/")
        page.wait_for_load_state()
        assert page.evaluate("gearQueue.kept('book')") is None

    told = list(Entry.objects.filter(pk__gt=before).exclude(key=taken.key).order_by("pk"))
    assert [(each.kind, each.kit.name) for each in told] == [
        ("check-out", "DAY-01"),
        ("check-out", "DAY-03"),
        ("use", "DAY-01"),
        ("borrow", "DAY-01"),
        ("pass", "DAY-01"),
        ("check-in", "DAY-01"),
    ]
    assert [each.irregular for each in told] == [[], ["out-of-order"], [], [], [], []]
    assert len({each.key for each in told}) == 6
    assert all(each.person == world.keeper for each in told)
    times = [each.occurred_at for each in told if each.kit.name == "DAY-01"]
    assert times == sorted(times)
    assert left < times[0] < told[0].recorded_at - timedelta(seconds=2)
    assert make.units(world.dressings, make.section(world.day_01)) == 6 - 1 + 2
    assert Notice.objects.filter(kind="irregular", kit=day_03).exists()
    assert Checkout.objects.get(in_at=None).kit == day_03


@pytest.mark.parametrize("claims", ["", NOT_CLAIMED], ids=["taken over late", "never taken over"])
def test_a_camera_that_is_quicker_than_the_worker_keeps_its_reader_all_the_same(
    claims: str,
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    tmp_path: Path,
) -> None:
    program = need("chromium")
    need("barcode-detector")
    keeper = give_password(scanned.labelled().world.keeper)
    server = make_web().start()

    with phone(program, tmp_path / "phone") as context:
        context.add_init_script(claims + LATE_OR_NEVER.replace("FAILS", "false"))
        page = context.pages[0]
        sign_in(page, server.url, keeper, "/scan/")
        until(lambda: page.evaluate(READER_IS_HERE), "the camera's reader")
        page.evaluate("goOn()")
        until_kept(page)


def test_what_did_not_come_the_first_time_is_asked_for_again_before_long(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    tmp_path: Path,
) -> None:
    program = need("chromium")
    keeper = give_password(scanned.labelled().world.keeper)
    server = make_web().start()

    with phone(program, tmp_path / "phone") as context:
        context.add_init_script(LATE_OR_NEVER.replace("FAILS", "globalThis.registered === 1"))
        context.route("**/offline/kits/", lambda route: route.abort(), times=1)
        page = context.pages[0]
        sign_in(page, server.url, keeper, "/kits/")
        until(lambda: page.evaluate("registered === 2"), "a second try")
        page.evaluate("goOn()")
        until_kept(page, reader=False)
