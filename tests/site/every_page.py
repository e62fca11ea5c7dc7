"""Every page's address, for the tests that go through all of them on the small school.

A new page adds its line here: `AT_DAWN` are those used with cold hands in bad light (contrast 7:1),
`AT_THE_DESK` all others. `furnished` makes what they show, in a database of the test's own, where
the first of everything has the number 1; what has no such number stands in braces, and `address`
puts it in.
"""

import re
from collections.abc import Callable
from decimal import Decimal

from django.core import signing
from django.utils import timezone

from gearroom.core.acts import store
from gearroom.core.models import Person, User
from gearroom.core.rules.roles import Role
from gearroom.core.services.accounts import sign_ins
from gearroom.core.services.installation import claiming, installation
from kits.models import (
    Checkout,
    Clearance,
    Item,
    Label,
    ListChange,
    PackingListVersion,
    Place,
    What,
    WithheldKind,
)
from kits.rules.events.facts import KitChanged
from kits.rules.lookup import label_codes
from kits.services import events
from kits.services.buying import drafting, filled_kits, ordering
from kits.services.buying.bought_kits import Content
from kits.services.calendars import calendars, versions
from kits.services.calendars.calendars import CalendarFacts
from kits.services.custody import custody, use_requests
from kits.services.kits import holds, kits
from kits.services.lists import drafts, list_changes
from kits.services.lists.list_changes import ChangeDraft, SourceDraft
from kits.services.notices.notice_text import clearance_token, signature_token
from kits.services.recalls import recalls
from kits.services.restocking import sealing, sorting
from kits.services.stock import offers
from kits.services.trips import reservations
from kits.services.weather import locations
from kits.services.webhooks import webhooks
from tests.kits import factories as make
from tests.kits.advice.school import three, turn_on
from tests.kits.calendars.ics import far, ics
from tests.labels.scan import scanned
from tests.present import present

AT_DAWN = (
    "/scan/",
    "/scan/?text=DAY-01",
    "/scan/?text=DAY-03",
    "/offline/",
    "/offline/?text=DAY-01",
    "/kits/DAY-01/",
    "/kits/DAY-02/",
    "/kits/DAY-02/sort/",
    "/kits/DAY-02/swap/",
    "/kits/DAY-02/count/",
    "/kits/DAY-01/count/",
    "/kits/DAY-01/checked/",
    "/kits/DAY-02/checked/",
    "/kits/DAY-01/history/",
    "/kits/DAY-01/hand-back/",
    "/kits/DAY-01/hand-back/?opened=1",
    "/kits/DAY-01/hand-back/?opened=1&sharps=yes",
    "/kits/DAY-01/ask/",
    "/ask/",
    "/away/",
    "/clearances/",
    "/kits/DAY-02/used/",
    "/undo/{taken_out}/",
    "/undo/{taken_out}/really/",
    "/used/{link}/",
    "/used/{answered_link}/",
)
AT_THE_DESK = (
    "/",
    "/kits/",
    "/kits/?sort=-verdict&out=in",
    "/chosen-kits/",
    "/chosen-kits/?kit=DAY-01&kit=DAY-02",
    "/search/",
    "/search/?q=dress",
    "/search/?q=nothing of the kind",
    "/kits/DAY-03/as-of/",
    "/trips/",
    "/trips/calendar/",
    "/trips/kits/",
    "/trips/season/",
    "/trips/season/?changes=1",
    "/trips/calendars/",
    "/trips/calendars/1/",
    "/trips/add/",
    "/trips/1/",
    "/trips/1/edit/",
    "/lists/",
    "/lists/changes/",
    "/lists/changes/new/",
    "/lists/changes/1/",
    "/lists/draft/",
    "/lists/draft/?draft=1&people=12&days=3&hazard=water&like=1",
    "/lists/paste/",
    "/lists/1/1/",
    "/lists/1/1/copy/",
    "/lists/1/2/",
    "/lists/1/2/compare/",
    "/lists/1/1/handout/",
    "/lists/1/2/effect/",
    "/lists/1/2/edit/",
    "/lists/1/2/instead/",
    "/lists/1/1/plan/",
    "/lists/1/1/costs/",
    "/lists/1/2/replay/",
    "/kits/DAY-01/plan/",
    "/kits/DAY-01/costs/",
    "/past-use/",
    "/season/",
    "/back-test/",
    "/rates/",
    "/rates/small-wound/",
    "/needs/",
    "/needs/hazards/",
    "/stock/1/serves/",
    "/stock/order/",
    "/stock/order/?weeks=52&currency=GBP",
    "/stock/order/1/",
    "/stock/order/2/",
    "/strip/",
    "/kits/DAY-02/empty/",
    "/kits/DAY-01/leave/",
    "/kits/DAY-01/papers/",
    "/kits/DAY-02/strip/",
    "/kits/DAY-02/strip/?text=Shears",
    "/kits/DAY-02/strip/?text=nothing of the kind",
    "/kits/DAY-02/strip/1/",
    "/bought-kits/",
    "/bought-kits/?kits=3",
    "/bought-kits/add/",
    "/bought-kits/1/buy/",
    "/stock/prices/",
    "/stock/prices/?search=dress",
    "/stock/prices/paste/",
    "/stock/prices/suppliers/1/",
    "/notices/",
    "/notices/weekly/",
    "/notices/1/",
    "/notices/settings/",
    "/people/",
    "/people/?left=1",
    "/people/1/",
    "/people/1/merge/",
    "/people/1/merge/?into=2",
    "/people/1/erase/",
    "/people/names/",
    "/rooms/",
    "/rooms/main-store/",
    "/rooms/main-store/wall-calendar/",
    "/rooms/main-store/locations/",
    "/rooms/main-store/weather/",
    "/tokens/",
    "/webhooks/",
    "/webhooks/1/",
    "/settings/",
    "/settings/installation/",
    "/settings/address/",
    "/settings/mail/",
    "/settings/advice/",
    "/advice/",
    "/advice/1/",
    "/advice/2/",
    "/advice/3/",
    "/advice/3/copies/1/",
    "/trip-advice/advice-waiting/",
    "/trip-advice/advice-draft/",
    "/trip-advice/advice-sent/",
    "/labels/",
    "/labels/?for=pouches",
    "/labels/?for=shelves",
    "/labels/?for=batches",
    "/labels/?for=people",
    "/labels/?for=blanks",
    "/labels/{kit_code}/",
    "/labels/{blank_code}/bind/",
    "/labels/print/",
    "/labels/printer/",
    "/labels/sheets/",
    "/help/",
    "/help/keeper/",
    "/first-day/",
    "/first-day/kit/",
    "/first-day/kit/?from=example",
    "/first-day/kits/DAY-01/",
    "/first-day/workbook/",
    "/tables/",
    "/tables/contents/",
    "/tables/record/",
    "/add-kit/",
    "/stock/",
    "/stock/?sort=expiry&unused=1",
    "/stock/batches/?tick=all",
    "/stock/chosen/",
    "/stock/chosen/?on={shelf}:1:1",
    "/stock/1/",
    "/stock/1/edit/",
    "/stock/expiry/",
    "/stock/rotation/",
    "/stock/receive/",
    "/stock/receive/?item=1",
    "/stock/receive/?text=(01)09506000134352(17)300531(10)D9",
    "/stock/count/",
    "/stock/count/{shelf}/",
    "/stock/count/{shelf}/paper/",
    "/stock/out-of-date/",
    "/stock/at/{shelf}/1/",
    "/stock/at/{shelf}/1/leave/",
    "/stock/spare-kits/",
    "/stock/undated/",
    "/stock/recalls/",
    "/stock/recalls/1/",
    "/kits/DAY-02/keeping/",
    "/devices/",
    "/signed-in/",
    "/sign-in/forgotten/",
    "/nowhere/",
)
PAGES = AT_DAWN + AT_THE_DESK
BY_LINK = (
    "/sign-in/",
    "/sign-in/new/{new_password}/",
    "/L/{kit_code}/",
    "/cleared/{clearance}/",
    "/sign/{signature}/",
    "/reached/{reached}/",
)
"""Pages of whoever is not signed in, most of them by a link; `with_links` makes what they need."""
AT_THE_HATCH = ("/hatch/?to=/kits/", "/hatch/pin/?to=/kits/")
"""Pages of a shared device."""
AT_THE_START = ("/begin/", "/begin/{claim}/")
"""Pages of an installation that is nobody's yet."""
NO_PAGES = {
    "used-of": "the same page as “used”, for one of several times",
    "list": "leads to the newest version",
    "board-lines": "a part of the board",
    "sign-out-sheet": "a PDF",
    "patient-note": "a PDF",
    "test-page": "a PDF",
    "labels-picture": "a picture",
    "label-picture": "a picture",
    "kit-tag": "a PDF",
    "lid-card": "a PDF",
    "order-sheet": "a PDF",
    "order-csv": "a spreadsheet",
    "photo": "a picture",
    "manifest": "the web application manifest",
    "worker": "the service worker",
    "offline-ready": "JSON",
    "offline-kits": "JSON",
    "blank-workbook": "a workbook",
    "table-file": "a file",
    "export-person": "JSON",
}
"""Addresses that are read and show no page of their own."""


def address(path: str) -> str:
    """A page's address, with what `furnished` made in the place of what stands in braces."""
    return re.sub(r"\{(\w+)\}", lambda found: str(_FILLS[found[1]]()), path)


def _checkout(kit: str) -> Checkout:
    return Checkout.objects.get(kit__name=kit)


def _user(name: str) -> User:
    return present(Person.objects.get(name=name).user)


def _code(**of: object) -> str:
    return label_codes.shown(Label.objects.get(**of).code)


def _signature() -> str:
    version = PackingListVersion.objects.exclude(signed_by=None).get()
    return signature_token(version.pk, version.signed_by_id or 0, make.days(20))


_PUBLIC = "https://gear.example.org"
_FILLS: dict[str, Callable[[], object]] = {
    "taken_out": lambda: _checkout("DAY-01").opened_by_id,
    "link": lambda: use_requests.token(_checkout("DAY-01")),
    "answered_link": lambda: use_requests.token(_checkout("DAY-03")),
    "shelf": lambda: Place.objects.get(name="C2").pk,
    "kit_code": lambda: _code(kind="kit", kit__name="DAY-01"),
    "blank_code": lambda: _code(kind="blank"),
    "new_password": lambda: "/".join(sign_ins.link_of(_user("Gil"))),
    "clearance": lambda: clearance_token(Clearance.objects.get().pk),
    "signature": _signature,
    "reached": lambda: signing.dumps(_PUBLIC, salt=installation._SALT),
    "claim": claiming.code,
}


def change_lists(world: make.World) -> ListChange:
    """Other dressings on the list, by a source for it and one against it."""
    sources = [
        SourceDraft(True, "They stick less.", "Adviser"),
        SourceDraft(False, "They soak up less.", "Trial pack", dated=make.days(-40)),
    ]
    other = make.item("Non-stick dressing 10 × 12", sterile=True)
    return list_changes.make(
        make.act(world.keeper),
        ChangeDraft(
            What.SWAP,
            world.dressing,
            "They come off without pain.",
            make.days(200),
            [world.version.packing_list],
            sources,
            instead=other,
            by_day=make.days(90),
            anyway=True,
        ),
    )


def _order(world: make.World) -> None:
    """An order of which half arrived, and a draft."""
    offer = offers.offer_of_supplier(
        make.act(), "North Medical", item=world.tablets, units=16,
        prices=[offers.PackPrice(1, Decimal(4))], currency="GBP",
    )  # fmt: skip
    for packs in (2, 1):
        (made,) = drafting.draft(
            make.act(world.keeper), world.store, packs={offer.pk: packs}, through=make.days(180),
            currency="GBP",
        )  # fmt: skip
        if packs == 2:
            ordering.place(make.act(world.keeper), made.order)
    make.some(world.tablets, world.shelf, 16, "T1", make.days(300))


def furnished() -> make.World:
    """The small school with something on every page."""
    world = scanned.labelled().world
    day_03 = scanned.filled("DAY-03", world)
    sealing.reseal(make.act(world.keeper), world.day_01, "0417")
    custody.check_out(make.act(world.keeper), world.day_01, person=world.guide)
    custody.check_out(make.act(world.keeper), day_03, person=world.guide)
    custody.check_in(make.act(world.keeper), day_03, wet=True)
    use_requests.answer(Checkout.objects.get(kit=day_03), [])
    holds.release(make.act(world.keeper), day_03, WithheldKind.DRYING)
    sorting.look_inside(make.act(world.keeper), day_03)
    reservations.reserve(make.act(), day_03, make.trip("Crag walk", world.store, 1, 2))
    drafts.new_draft(make.act(world.keeper), world.version.packing_list)
    change_lists(world)
    make.some(world.dressing, world.shelf, 3, "OLD", make.days(-2))
    make.some(world.dressing, world.shelf, 2, "RUBBED")
    make.put_in(world.day_02, world.lots["d2"], world.upper, 1)
    recalls.start(make.act(world.keeper), item=world.dressing, scope="number", number="D2")
    _frost(world)
    turn_on([world.keeper.pk])
    three(world.keeper)
    _priced(world)
    _order(world)
    _webhook()
    _calendar(world)
    return world


def _calendar(world: make.World) -> None:
    """A calendar with a trip that is no longer in it, and an event that is none."""
    act = make.act(world.keeper)
    calendar = calendars.add(act, CalendarFacts("Season", world.store, 8))
    for lines in ([far("a"), far("b")], [far("a"), far("c") + "\nRRULE:FREQ=DAILY"]):
        versions.take(act, calendar, ics(*lines))


def _webhook() -> None:
    """A webhook that fails."""
    act, now = make.act(make.person("Wilma", Role.ADMINISTRATOR)), timezone.now()
    webhook, _secret = webhooks.add(
        act, name="Bookings", address="https://booking.example/events", types=[], room=None
    )
    changed = KitChanged(1, 1)
    first, second = events.write(
        [events.Draft("kit.changed", changed.kit, changed, now) for _each in range(2)]
    )
    for event, status, failure in ((first, 200, ""), (second, 500, ""), (second, None, "too-slow")):
        webhook.attempts.create(
            event=event, message_id=event.message_id, at=now, status=status, failure=failure
        )
    store(webhook, position=first.pk, tries=2, failing_since=now)
    webhooks.test(act, webhook)


def _frost(world: make.World) -> None:
    """A van in which it freezes this month, with a kit in it."""
    van = locations.add_location(
        make.act(world.keeper),
        world.store,
        name="Van 2",
        frost_months=[make.today().month],
        coldest_c=-8,
    )
    kits.edit_kit(make.act(world.keeper), make.fresh(world.day_02), location=van)
    Item.objects.filter(pk=world.dressing.pk).update(min_temp_c=5)


def _priced(world: make.World) -> None:
    """A price of a supplier with terms, and a filled kit that might be bought."""
    offer = offers.offer_of_supplier(
        make.act(world.keeper),
        "North Medical",
        item=world.dressing,
        units=10,
        prices=[offers.PackPrice(1, Decimal(4)), offers.PackPrice(5, Decimal("3.50"))],
        currency="GBP",
        tax_percent=Decimal(20),
    )
    offers.state_terms(make.act(world.keeper), offer.supplier, currency="GBP", delivery=Decimal(5))
    filled_kits.add(
        make.act(world.keeper),
        world.store,
        name="Day kit, filled",
        price=Decimal(12),
        currency="GBP",
        contents=[Content("Dressing", world.dressing, 4), Content("Tiny tape", None, 2)],
        supplier="North Medical",
    )


def with_links(world: make.World) -> None:
    """What the pages of `BY_LINK` need besides: a must-have cleared by phone, a public address."""
    installation.change(make.act(), public_url=_PUBLIC)
    short = make.kit("ROPE-01", world.version, world.store, responsible=world.keeper)
    custody.check_out(make.act(world.guide), short, person=world.guide, cleared_by=world.instructor)
