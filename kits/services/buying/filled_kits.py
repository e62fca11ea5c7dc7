"""Filled kits that might be bought for a room: stated once, judged against any kit list, and
broken down with what is likely to become of each line filled in."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Invalid, one
from gearroom.core.models import Room
from gearroom.core.services.people import rooms
from kits.models import FilledKit, FilledKitLine, PackingListVersion
from kits.rules.buying.bought_kit import Part
from kits.services.buying import bought_kits
from kits.services.buying.bought_kits import MOST_LINES, Compared, Content
from kits.services.stock import offers
from kits.services.stock.receiving import check_expiry, check_price
from kits.services.text.amounts import units as whole

MOST_NAME, MOST_TEXT = 120, 200


@dataclass(frozen=True)
class Choice:
    """Filled kits beside parts for so many kits that follow a list."""

    version: PackingListVersion
    kits: int
    filled: Sequence[FilledKit]
    compared: Compared


def filled_kits(actor: Actor) -> QuerySet[FilledKit]:
    """Those of the rooms in which somebody may strip kits, by name."""
    theirs = [room.pk for room in rooms.visible_to(actor) if actor.may("strip", room.pk)]
    found = FilledKit.objects.filter(room__in=theirs).select_related("room", "supplier")
    return found.prefetch_related("lines__item")


def in_question(actor: Actor, room: Room) -> QuerySet[FilledKit]:
    """Those of a room that may still be bought."""
    return filled_kits(actor).filter(room=room, closed_on=None)


def filled_kit(actor: Actor, pk: int) -> FilledKit:
    """One by its id. Raises NotFound."""
    return one(filled_kits(actor).filter(pk=pk), "filled kit", pk)


@transaction.atomic
def add(
    act: Act,
    room: Room,
    *,
    name: str,
    price: Decimal,
    currency: str,
    contents: Sequence[Content],
    supplier: str = "",
) -> FilledKit:
    """State a filled kit that might be bought, with what is in it. Raises Invalid."""
    act.actor.require("strip", room.pk)
    tidy = " ".join(name.split())
    if not 0 < len(tidy) <= MOST_NAME:
        raise Invalid(
            _("Enter a name for the filled kit, with at most %(most)d characters.")
            % {"most": MOST_NAME},
            field="name",
        )
    check_price(price, currency)
    if not 0 < len(contents) <= MOST_LINES:
        raise Invalid(
            _("Enter what is in the kit, in at most %(most)d lines.") % {"most": MOST_LINES},
            field="contents",
        )
    today = clock.today(room.time_zone)
    for content in contents:
        whole(content.units, field="contents")
        check_expiry(content.expiry, today)
    filled = FilledKit.objects.create(
        room=room,
        name=tidy,
        supplier=offers.add_supplier(act, supplier) if supplier.strip() else None,
        price=price,
        currency=currency,
        stated_by=act.person,
        stated_at=act.received_at,
    )
    FilledKitLine.objects.bulk_create(
        FilledKitLine(
            filled=filled,
            name=content.name[:MOST_TEXT],
            item=content.item,
            units=content.units,
            expiry=content.expiry,
            position=n,
        )
        for n, content in enumerate(contents)
    )
    return filled


@transaction.atomic
def close(act: Act, filled: FilledKit) -> FilledKit:
    """No longer think of buying it; what it taught stays."""
    act.actor.require("strip", filled.room_id)
    if filled.closed_on is None:
        filled.closed_on = clock.today(filled.room.time_zone)
        filled.save(update_fields=["closed_on"])
    return filled


def choice(
    actor: Actor, room: Room, version: PackingListVersion, filled: Iterable[FilledKit], kits: int
) -> dict[str, Choice]:
    """Filled kits beside parts for so many kits that follow a list, apart for each currency."""
    found: dict[str, Choice] = {}
    every = list(filled)
    for currency in dict.fromkeys(each.currency for each in every):
        those = [each for each in every if each.currency == currency]
        found[currency] = Choice(
            version,
            kits,
            those,
            bought_kits.compare(
                actor, room, version, [_offered(f) for f in those], kits=kits, currency=currency
            ),
        )
    return found


def likely(actor: Actor, filled: FilledKit, version: PackingListVersion) -> Sequence[Part]:
    """What is likely to become of each line, in the order of its lines."""
    found = choice(actor, filled.room, version, [filled], 1)[filled.currency]
    return found.compared.filled[0].bought.parts


def _offered(filled: FilledKit) -> bought_kits.FilledKit:
    return bought_kits.FilledKit(
        filled.name,
        filled.price,
        [Content(row.name, row.item, row.units, row.expiry) for row in filled.lines.all()],
    )
