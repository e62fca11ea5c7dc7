"""The pages of planning in a browser, with a school that has trips, use, prices and rates."""

from collections.abc import Callable
from decimal import Decimal

import pytest

from kits.models import Activity, ItemNeed, Need, NotCarried, WhyNotCarried
from kits.services.custody.use import UseLine
from kits.services.lists import drafts
from kits.services.planning.records import priors
from kits.services.restocking import sorting
from kits.services.stock import receiving
from tests.e2e.pages import AXE, chromium, give_password, sign_in
from tests.kits import factories as make
from tests.kits.planning.school import past, serve
from tests.site.every_page import change_lists
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]

PAGES = (
    "/lists/1/1/plan/",
    "/lists/1/1/plan/?people=0",
    "/lists/1/1/costs/",
    "/lists/1/2/replay/",
    "/kits/DAY-01/plan/?people=16&days=3&activity=caving",
    "/kits/DAY-01/costs/",
    "/past-use/",
    "/season/",
    "/lists/1/1/handout/",
    "/rooms/main-store/wall-calendar/",
    "/past-use/?need=small-wound&activity=caving",
    "/back-test/",
    "/rates/",
    "/rates/small-wound/",
    "/needs/",
    "/needs/hazards/",
    "/lists/1/2/",
    "/stock/1/serves/",
    "/lists/draft/?draft=1&people=12&children=6&days=3&hazard=sharp-tools&season=winter&like=1",
    "/lists/draft/?draft=1&people=1&children=6&days=3",
    "/lists/paste/",
    "/lists/1/1/copy/",
    "/lists/changes/",
    "/lists/changes/1/",
    "/lists/changes/new/?thing=Shears&what=swap",
)
_RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
_CONTRAST = {"type": "rule", "values": ["color-contrast"]}
_AXE = """(runOnly) => axe.run(document, {runOnly, resultTypes: ['violations']}).then((told) =>
  told.violations.map((each) => `${each.id}: ${each.nodes[0].html.slice(0, 160)}`))"""
_TOO_WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


def school() -> make.World:
    """Trips with and without use, deliveries with prices, stated rates, something that is not
    carried, a draft with fewer."""
    world = make.world()
    serve(world)
    ItemNeed.objects.create(item=world.shears, need=Need.objects.get(key="large-wound"))
    for item, units, price in ((world.dressing, 10, "21.50"), (world.tablets, 48, "9.60")):
        receiving.receive(
            make.act(world.keeper),
            item=item,
            shelf=world.shelf,
            units=units,
            number="P1",
            expiry=make.days(500),
            price=Decimal(price),
            currency="GBP",
        )
    state(world, "small-wound", "12")
    state(world, "headache", None)
    caving = Activity.objects.get(key="caving")
    past(world, UseLine(world.dressing, 5), activity=caving)
    sorting.restock(make.act(world.keeper), make.fresh(world.day_01))
    past(world, activity=caving)
    past(world, UseLine(world.tablets, 2))
    NotCarried.objects.create(
        version=world.version,
        need=Need.objects.get(key="severe-bleeding"),
        why=WhyNotCarried.NO_TRAINING,
        instead="Pressure and a bandage.",
        hazards=["sharp-tools"],
        hours_to_care=Decimal(4),
        look_again_on=make.days(-3),
        look_again_after="the spring course",
    )
    draft = drafts.new_draft(make.act(world.keeper), world.version.packing_list)
    draft.sections.get(key="main").lines.filter(item=world.dressing).update(carry=3, never_below=1)
    change_lists(world)
    return world


def state(world: make.World, need: str, per_1000: str | None) -> None:
    """The adviser states a rate, or leaves it blank."""
    priors.state(
        make.act(world.adviser),
        Need.objects.get(key=need),
        None,
        per_1000=Decimal(per_1000) if per_1000 else None,
    )


def test_the_pages_of_planning_are_for_all_eyes_and_screens(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    program = need("chromium")
    need("axe-core")
    adviser = give_password(school().adviser)
    server = make_web().start()
    axe = AXE.read_text()
    found: list[str] = []
    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 360, "height": 740}, reduced_motion="reduce")
        sign_in(page, server.url, adviser)
        for path in PAGES:
            page.goto(server.url + path)
            page.evaluate("document.querySelectorAll('main details').forEach((e) => e.open = 1)")
            page.evaluate(axe)
            found += [f"{path} 360: {each}" for each in page.evaluate(_AXE, _RULES)]
            page.emulate_media(color_scheme="dark")
            found += [f"{path} dark: {each}" for each in page.evaluate(_AXE, _CONTRAST)]
            page.emulate_media(color_scheme="light")
            for width in (1280, 360):
                page.set_viewport_size({"width": width, "height": 740})
                if width == 1280:
                    found += [f"{path} 1280: {each}" for each in page.evaluate(_AXE, _RULES)]
                if wide := page.evaluate(_TOO_WIDE):
                    found.append(f"{path}: {wide} px too wide at {width} px")
    assert not found, "\n".join(found)
