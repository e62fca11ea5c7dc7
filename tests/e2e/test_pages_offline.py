"""A phone at a trailhead: no network, a browser that dies, a sign-in that ran out, and nothing
lost; and how little goes over the wire where the network is poor."""

import os
import random
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import BrowserContext, Error, Page, expect, sync_playwright
from pytest_django import Settings

from gearroom.core import clock
from kits.models import Checkout, Closing, Entry, Movement, Notice, Seal
from kits.rules.lookup import label_codes
from kits.services.custody import custody, returns
from kits.services.restocking import sealing
from kits.services.trips import reservations
from tests.e2e.pages import PASSWORD, QUIET, chromium, crossing, give_password, sign_in
from tests.e2e.postroom import until
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.program import Server

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]
CAMERA = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
# On a busy machine a question of the phone's can take the 10 s after which there is no network for
# it; it asks again after 15 s.
SEEN_MS = 90_000
RIGHT_CODES = """(codes) => import('/static/site/offline/copy.js').then(
  ({ isCode }) => codes.filter(isCode))"""
KEPT = """() => Promise.all([caches.match('/offline/'), gearQueue.kept('book'),
  caches.match('/static/reading/zxing_reader.wasm')]).then((found) => found.every(Boolean))"""
KEPT_WITHOUT_CAMERA = """() => Promise.all([caches.match('/offline/'), gearQueue.kept('book')])
  .then((found) => found.every(Boolean))"""
STANDS = """([name, days]) => Promise.all([
  import('/static/site/offline/copy.js'), gearQueue.kept('book')]).then(([{ standing }, book]) => {
    const kit = book.kits.find((each) => each.name === name);
    return days.map((day) => standing(kit, day, book.judged_until));
  })"""
LATE_OR_NEVER = """
  const register = navigator.serviceWorker.register.bind(navigator.serviceWorker);
  globalThis.registered = 0;
  navigator.serviceWorker.register = async (...facts) => {
    globalThis.registered += 1;
    if (FAILS) throw new TypeError('a file of it did not come');
    await new Promise((goOn) => { globalThis.goOn = goOn; });
    return register(...facts);
  };"""
READER_IS_HERE = """() => performance.getEntriesByType('resource').some(
  (each) => each.name.endsWith('.wasm') && each.responseEnd)"""
AFTER = """([name, ways]) => Promise.all([
  import('/static/site/offline/copy.js'), gearQueue.kept('book')]).then(([books, book]) =>
    ways.map((way) => {
      const acts = way.map(([kind, body]) => ({ kit: name, state: 'waits', at: '', kind, body }));
      const kit = books.kitsNow(book, acts).get(name);
      const { verdict, why } = books.standing(kit, kit.verdicts[0].from, null);
      return [verdict, why ?? null];
    }))"""


@pytest.fixture(autouse=True)
def _database_beside_the_browser(monkeypatch: pytest.MonkeyPatch) -> None:
    """Playwright's loop runs in the test's thread, which Django otherwise takes for async code."""
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")


@contextmanager
def phone(program: str, profile: Path, *flags: str) -> Iterator[BrowserContext]:
    """A browser that keeps what it keeps in a folder, as a phone's does."""
    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            profile,
            executable_path=program,
            args=[*QUIET, *CAMERA, *flags],
            viewport={"width": 360, "height": 740},
            locale="en-GB",
        )
        context.set_default_timeout(SEEN_MS)
        yield context
        with suppress(Error):
            context.close()


def kill(profile: Path) -> None:
    """End the browser over a profile as a phone's system does: at once."""
    for process in Path("/proc").glob("[0-9]*/cmdline"):
        with suppress(OSError):
            words = process.read_bytes().split(b"\0")
            ours = f"--user-data-dir={profile}".encode() in words
            if ours and not any(word.startswith(b"--type=") for word in words):
                os.kill(int(process.parent.name), signal.SIGKILL)


def entries_of(page: Page) -> list[str]:
    """The states of the acts on the phone, in order."""
    return list(page.evaluate("gearQueue.acts().then((acts) => acts.map((act) => act.state))"))


def test_what_was_done_without_a_network_is_in_the_book_once_and_explained(
    need: Callable[[str], str],
    open_database: str,
    make_server: Callable[..., Server],
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
    server = make_server().start()

    # Once with the network, the camera allowed: all that is needed stays on the phone.
    with phone(program, profile) as context:
        page = context.pages[0]
        sign_in(page, server.url, keeper, "/scan/")
        page.wait_for_load_state()
        until(lambda: page.evaluate(KEPT), "what is kept on the phone")
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


def test_a_camera_that_is_quicker_than_the_worker_keeps_its_reader_all_the_same(
    need: Callable[[str], str],
    open_database: str,
    make_server: Callable[..., Server],
    tmp_path: Path,
) -> None:
    program = need("chromium")
    need("barcode-detector")
    keeper = give_password(scanned.labelled().world.keeper)
    server = make_server().start()

    with phone(program, tmp_path / "phone") as context:
        context.add_init_script(LATE_OR_NEVER.replace("FAILS", "false"))
        page = context.pages[0]
        sign_in(page, server.url, keeper, "/scan/")
        until(lambda: page.evaluate(READER_IS_HERE), "the camera's reader")
        page.evaluate("goOn()")
        until(lambda: page.evaluate(KEPT), "what is kept on the phone")


def test_what_did_not_come_the_first_time_is_asked_for_again_before_long(
    need: Callable[[str], str],
    open_database: str,
    make_server: Callable[..., Server],
    tmp_path: Path,
) -> None:
    program = need("chromium")
    keeper = give_password(scanned.labelled().world.keeper)
    server = make_server().start()

    with phone(program, tmp_path / "phone") as context:
        context.add_init_script(LATE_OR_NEVER.replace("FAILS", "globalThis.registered === 1"))
        context.route("**/offline/kits/", lambda route: route.abort(), times=1)
        page = context.pages[0]
        sign_in(page, server.url, keeper, "/kits/")
        until(lambda: page.evaluate("registered === 2"), "a second try")
        page.evaluate("goOn()")
        until(lambda: page.evaluate(KEPT_WITHOUT_CAMERA), "what is kept on the phone")


def test_without_a_network_a_kit_stands_as_the_gear_room_said_for_the_day(
    need: Callable[[str], str], open_database: str, make_server: Callable[..., Server]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    gorge = make.trip("Gorge", world.store, first=9, last=12)
    reservations.reserve(make.act(world.keeper), world.day_01, gorge)
    keeper = give_password(world.keeper)
    server = make_server().start()

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
    need: Callable[[str], str], open_database: str, make_server: Callable[..., Server]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    plain = scanned.filled("DAY-03", world)
    sealing.reseal(make.act(world.keeper), world.day_01, "0417")
    for kit in (world.day_01, plain):
        custody.check_out(make.act(world.keeper), kit, person=world.guide)
    keeper = give_password(world.keeper)
    server = make_server().start()

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
            card.get_by_role("button", name="Checked now: everything as on record")
        ).to_be_visible()
        # Handed back to be sorted later, then checked: nothing is in its way any more.
        card = page.locator("article[data-kit=DAY-01]")
        card.get_by_text("Handed back", exact=True).click()
        card.get_by_role("button", name="Sort later").click()
        expect(card.locator("[data-verdict]")).to_have_text("Do not take: needs sorting")
        card.get_by_role("button", name="Checked now: everything is there").click()
        expect(card.locator("[data-verdict]")).to_have_text("Ready")
        expect(card).to_contain_text("contents checked on this phone, not yet recorded")

        page.context.set_offline(False)
        page.get_by_text("Nothing is waiting").wait_for(timeout=SEEN_MS)

    done = Entry.objects.filter(kit=world.day_01).order_by("-pk")[:3]
    assert [each.kind for each in done] == ["look-inside", "check-in", "check-in"]
    assert make.fresh(world.day_01).to_sort_since is None
    assert make.fresh(plain).to_sort_since is None


def test_what_was_not_carried_and_what_is_not_ours_is_said_without_a_network(
    need: Callable[[str], str], open_database: str, make_server: Callable[..., Server]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide)
    returns.report_own(make.act(world.guide), world.day_01, inside=True)
    keeper = give_password(world.keeper)
    server = make_server().start()

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
    need: Callable[[str], str], open_database: str, make_server: Callable[..., Server]
) -> None:
    program = need("chromium")
    world = scanned.labelled().world
    keeper = give_password(world.keeper)
    server = make_server().start()

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
        page.get_by_text("DAY-01: sealed with 0417.").wait_for(timeout=SEEN_MS)
        assert not Closing.objects.exists()

        page.context.set_offline(False)
        page.get_by_text("Nothing is waiting").wait_for(timeout=SEEN_MS)

    [closing] = Closing.objects.all()
    assert (closing.closed, closing.mass_g) == (False, 1850)
    assert Seal.objects.get(number="0417").put_on == closing.entry
