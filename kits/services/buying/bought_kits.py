"""A filled kit that might be bought: what would become of what is in it, and what so many of them
come to beside kits built from parts. Nothing is written; whoever strips the kit decides."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Actor, Invalid
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped, summed
from kits.models import Entry, EntryKind, Item, Kit, ListLine, PackingListVersion, Substitute
from kits.models.details import StripDetail
from kits.rules.buying import bought_kit as rules, buy_or_build
from kits.rules.buying.bought_kit import Fate, KitLine, Past
from kits.rules.buying.buy_or_build import BoughtKit, Way
from kits.rules.ledger import usable_through
from kits.rules.restocking.picking import restock
from kits.services.buying.kit_costs import part_offers
from kits.services.ledger import readiness
from kits.services.stock.order_levels import stock_levels
from kits.services.stock.receiving import check_price
from kits.services.text.amounts import units as whole

LASTS_DAYS = 365
"""What is kept of a bought kit lasts so long, unless a day is given."""
MOST_OFFERS, MOST_LINES = 6, 200


@dataclass(frozen=True)
class Content:
    """Units of an item in a filled kit as its seller lists them: None where it is no item of ours,
    with its expiry date where that is known."""

    name: str
    item: Item | None
    units: int
    expiry: date | None = None


@dataclass(frozen=True)
class FilledKit:
    """A filled kit that is offered, with its price and contents."""

    name: str
    price: Decimal
    contents: Sequence[Content]


@dataclass(frozen=True)
class ComparedKit:
    """A filled kit with what is likely to become of its lines; what a unit that is kept of it costs
    in parts (None: not all have a price); from how many kits on parts cost no more (None: they
    never do, or something has no price)."""

    bought: BoughtKit
    in_parts: Decimal | None
    parts_win_from: int | None


@dataclass(frozen=True)
class Compared:
    """The filled kits in order; ways to come by so many kits, what costs least first; `minutes`
    that breaking a bought kit down took last time, where that is on record."""

    filled: Sequence[ComparedKit]
    ways: Sequence[Way]
    minutes: int | None


def stripped() -> list[StripDetail]:
    """What was written of kits stripped before, the latest last; what was undone is left out."""
    entries = Entry.objects.filter(kind=EntryKind.STRIP, reversed_by__isnull=True).order_by("id")
    return [entry.detail_as(StripDetail) for entry in entries]


def habits(before: Iterable[StripDetail]) -> dict[int, Past]:
    """What was done most with each item (id) in kits stripped before, and why."""
    past = grouped(
        (thing["item"], (Fate(thing["fate"]), thing["reason"]))
        for detail in before
        for thing in detail["things"]
    )
    return {item: found for item, rows in past.items() if (found := rules.habit(rows))}


def compare(
    actor: Actor,
    room: Room,
    version: PackingListVersion,
    filled: Sequence[FilledKit],
    *,
    kits: int,
    currency: str,
    through: date | None = None,
) -> Compared:
    """Filled kits beside parts for so many kits that follow a list in a room, in one currency; what
    is kept is good `through` a day, a year from today unless given. Raises Invalid; NotAllowed for
    whoever may not strip kits there."""
    actor.require("strip", room.pk)
    count = whole(kits, field="kits")
    if count > buy_or_build.MOST_KITS:
        raise Invalid(
            _("Compare at most %(most)d kits.") % {"most": buy_or_build.MOST_KITS}, field="kits"
        )
    _check(filled, currency)
    through = through or clock.today(room.time_zone) + timedelta(days=LASTS_DAYS)
    lines = ListLine.objects.filter(section__version=version)
    listed = summed(lines.values_list("item", "carry"))
    wanted = dict(summed(lines.filter(item__by_eye=False).values_list("item", "carry")))
    will_do = grouped(
        Substitute.objects.filter(item__in=listed).values_list("instead", "item").order_by("id")
    )
    before = stripped()
    lacking, there, past = *_beyond_shelves(room, through), habits(before)
    bought = [
        BoughtKit(
            each.name,
            each.price,
            currency,
            tuple(
                rules.fates(
                    [_line(content) for content in each.contents],
                    wanted=listed,
                    extras=lacking,
                    past=past,
                    through=through,
                    will_do=will_do,
                )
            ),
        )
        for each in filled
    ]
    parts = part_offers({*wanted, *_kept(bought)}, currency)
    return Compared(
        [
            ComparedKit(
                kit,
                buy_or_build.kept_in_parts(kit, count, parts),
                buy_or_build.parts_win_from(wanted, kit, parts, extras=there),
            )
            for kit in bought
        ],
        buy_or_build.ways(count, wanted, bought, parts, currency, there),
        next((took for each in reversed(before) if (took := each.get("minutes"))), None),
    )


def _kept(bought: Iterable[BoughtKit]) -> set[int]:
    return {item for kit in bought for item in kit.kept}


def _check(filled: Sequence[FilledKit], currency: str) -> None:
    if len(filled) > MOST_OFFERS or any(len(each.contents) > MOST_LINES for each in filled):
        raise Invalid(
            _("Compare at most %(kits)d filled kits, with at most %(lines)d lines each.")
            % {"kits": MOST_OFFERS, "lines": MOST_LINES},
            field="filled",
        )
    for each in filled:
        check_price(each.price, currency)
        for content in each.contents:
            whole(content.units, field="contents")


def _line(content: Content) -> KitLine:
    thing = readiness.thing_of(content.item) if content.item else None
    return KitLine(content.name, thing, content.units, content.expiry)


def _beyond_shelves(room: Room, through: date) -> tuple[dict[int, int], dict[int, int]]:
    """Units by item, good through a day: those that the kits at home in a room lack beyond what its
    shelves have; and extras, which its shelves have beyond what these kits lack and beyond what is
    kept there for use, which is the order level."""
    today = clock.today(room.time_zone)
    kits = Kit.objects.filter(home_room=room, retired_on=None, training=False)
    states = readiness.states(kits.values_list("pk", flat=True)).values()
    missing = summed(
        (row.thing.id, row.count)
        for state in states
        for row in restock(state, (), through=through, today=today).missing
    )
    held = stock_levels.on_shelves([room.pk])[0].get(room.pk, [])
    there = summed(
        (row.batch.thing.id, row.count) for row in held if usable_through(row.batch, through)
    )
    lacking = {item: max(0, units - there[item]) for item, units in missing.items()}
    levels = {row.item.pk: row.level.units for row in stock_levels.stocked([room]).get(room.pk, ())}
    return lacking, {
        item: max(0, units - missing[item] - levels.get(item, 0)) for item, units in there.items()
    }
