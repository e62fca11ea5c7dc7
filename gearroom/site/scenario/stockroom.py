"""Keeping the store through the seasons: fresh batches, old ones thrown out, instruments checked,
and what is left lying as any store leaves it."""

from datetime import timedelta

from django.db.models import Sum

from gearroom.core import clock
from gearroom.site.scenario.school import THINGS, ZONE, School, receive
from kits.models import Holding, Lot, PlaceKind
from kits.rules.ledger.facts import Kind
from kits.services.labelling import labelling
from kits.services.lookup import find
from kits.services.recalls import recalls
from kits.services.stock import counting, disposing, instruments, receiving
from kits.services.stock.counting import CountLine


def resupply(school: School) -> None:
    """Order in whatever is down to two packs, in the hut to one, on the shelves of a room."""
    today = clock.today(ZONE)
    lasting = (
        Holding.objects.filter(place__kind=PlaceKind.SHELF)
        .exclude(lot__expiry__lt=today + timedelta(days=90))
        .values("lot__item__name", "place__room__slug")
        .annotate(units=Sum("units"))
    )
    held = {(row["lot__item__name"], row["place__room__slug"]): row["units"] for row in lasting}
    for n, thing in enumerate(THINGS.values()):
        for slug, packs in (("main-store", 2), ("cave-hut", 1)):
            few = held.get((thing.name, slug), 0) <= packs * max(thing.pack, 4)
            if few and thing.kind != Kind.INSTRUMENT:
                receive(school, thing.name, slug, packs, shelf=n)


def throw_out_what_went_off(school: School) -> None:
    """Throw out what went out of date on the shelves, each thing into its own bin."""
    today = clock.today(ZONE)
    for holding in (
        Holding.objects.on_hand()
        .filter(place__kind=PlaceKind.SHELF, lot__expiry__lt=today)
        .select_related("lot__item", "place__room")
    ):
        disposing.dispose(
            school.act(),
            place=holding.place,
            lot=holding.lot,
            units=holding.units,
        )


def check_instruments(school: School) -> None:
    """Buy instruments for the kits that carry them, and check each one that is due."""
    wanted = (("head torch", 5), ("digital thermometer", 5), ("oxygen cylinder, small", 1))
    for name, count in wanted:
        item = school.items[name]
        for n in range(Lot.objects.filter(item=item).count(), count):
            slug = "cave-hut" if n == count - 1 and count > 1 else "main-store"
            receiving.receive(
                school.act(),
                item=item,
                units=1,
                serial=f"{name[0].upper()}{1001 + n}",
                shelf=school.shelves[slug][0],
                supplier="Fellside Medical Supplies",
            )
        today = clock.today(ZONE)
        for lot in Lot.objects.filter(item=item).select_related("item"):
            last = lot.checks.order_by("-id").first()
            if last is None or last.due_on is None or last.due_on < today + timedelta(days=120):
                instruments.check(school.act(), lot, passed=True, answer="yes")


def leave_as_found(school: School) -> None:
    """What makes today's store a believable one: something out of date on a shelf, something
    without a date, something recalled, and a kit whose eye wash ends before its trip."""
    today = clock.today(ZONE)
    receive(school, "eye pad", "main-store", 1, shelf=3, expiry=today - timedelta(days=1))
    receive(
        school,
        "burn gel dressing 10 × 10 cm",
        "main-store",
        1,
        shelf=3,
        expiry=today + timedelta(days=40),
    )
    undated = receiving.receive(
        school.act(),
        item=school.items["skin closure strips"],
        units=6,
        number="",
        expiry=None,
        shelf=school.shelves["main-store"][2],
    )
    labelling.label_for(school.act(), undated.lot, school.rooms["main-store"])
    recalled = receive(school, "antiseptic wipes", "main-store", 1, shelf=4, number="AW77R")
    recalls.start(
        school.act(),
        item=school.items["antiseptic wipes"],
        scope="number",
        number=recalled.lot.number,
        reference="FSN-0031",
        advice="Do not use; the maker found packs that were not sealed.",
    )
    _short_dated_eye_wash(school)
    for lot in Lot.objects.filter(holdings__place__kind=PlaceKind.SHELF, holdings__units__gt=0):
        if labelling.live(lot) is None:
            labelling.label_for(school.act(), lot, school.rooms["main-store"])


def _short_dated_eye_wash(school: School) -> None:
    """DAY-04 carries eye wash that ends tomorrow: a count found it so."""
    eye_wash = school.items["eye wash 20 ml"]
    old = receive(
        school,
        "eye wash 20 ml",
        "main-store",
        1,
        shelf=5,
        expiry=clock.today(ZONE) + timedelta(days=4),
        number="EW2207",
    )
    kit = find.any_kit("DAY-04")
    main = find.section(kit, "main")
    inside = Holding.objects.on_hand().filter(place=main).select_related("lot__item")
    found = [CountLine(main, h.units, lot=h.lot) for h in inside if h.lot.item_id != eye_wash.pk]
    found.append(CountLine(main, 2, lot=old.lot))
    counting.count(school.act(), [main], found, complete=True)
