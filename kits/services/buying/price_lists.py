"""A supplier's price list as somebody pasted it: which items its lines may mean, and what is wrong
with those that cannot be kept; and keeping the others, all at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid
from kits.models import Item, Offer, Supplier
from kits.rules.buying.pasted_offers import PastedOffer, offers as pasted_offers
from kits.rules.lists import pasting
from kits.rules.lists.pasting import Likeness
from kits.services.stock import offers
from kits.services.stock.offers import MOST_LINES, PackPrice


@dataclass(frozen=True)
class ReadOffer:
    """A pasted line with the items that it may mean, the likeliest first, and whether the first
    surely is meant."""

    pasted: PastedOffer
    items: Sequence[Item]
    sure: bool


@dataclass(frozen=True)
class NewPrice:
    """What a pack of so many units (1 or more) of an item costs, as the list says it."""

    item: Item
    units: int
    price: Decimal


@dataclass(frozen=True)
class KeptList:
    """The offers that were stated, and how many were the same as before."""

    supplier: Supplier
    stated: Sequence[Offer]
    unchanged: int


def read_offers(text: str) -> list[ReadOffer]:
    """What each line of a text offers. Nothing is written. Raises Invalid where there are too many
    lines or none."""
    lines = pasted_offers(text)
    if not 0 < len(lines) <= MOST_LINES:
        raise Invalid(
            _("Paste between 1 and %(most)d lines at a time.") % {"most": MOST_LINES}, field="text"
        )
    items = {item.pk: item for item in Item.objects.active()}
    names = {pk: item.name for pk, item in items.items()}
    return [_read(line, items, names) for line in lines]


def _read(line: PastedOffer, items: Mapping[int, Item], names: Mapping[int, str]) -> ReadOffer:
    found = pasting.matches(line.name, names)
    best = found[0].likeness if found else None
    alone = sum(match.likeness is best for match in found) == 1
    sure = best is Likeness.EXACT or (alone and best is Likeness.ALL_WORDS)
    return ReadOffer(line, [items[match.item] for match in found], sure)


@transaction.atomic
def keep(
    act: Act,
    prices: Sequence[NewPrice],
    *,
    supplier: str,
    same_as: Supplier | None = None,
    currency: str,
    tax_percent: Decimal = Decimal(0),
    offered_on: date | None = None,
) -> KeptList:
    """State what a supplier's list says, in place of its offers before; what is the same as before
    is left as it is. `same_as` is the supplier whom another name means, which is remembered. Raises
    Invalid, Refused (`name-taken`)."""
    act.actor.require("edit_item")
    if not prices:
        raise Invalid(
            _("There is nothing to save yet: choose an item for at least one line."), field="text"
        )
    twice = [each for n, each in enumerate(prices) if _pack(each) in map(_pack, prices[:n])]
    if twice:
        raise Invalid(
            _("%(item)s in packs of %(units)d is listed twice. Remove one of the two lines.")
            % {"item": twice[0].item.name, "units": twice[0].units},
            field="text",
        )
    who = (
        offers.add_supplier(act, supplier)
        if same_as is None
        else offers.match_name(act, supplier, same_as)
    )
    before = {
        (offer.item_id, offer.units): offer
        for offer in offers.in_force().filter(supplier=who, currency=currency)
    }
    stated = []
    for each in prices:
        known = before.get(_pack(each))
        if known and _says(known) == ([(1, each.price)], tax_percent):
            continue
        stated.append(
            offers.state_offer(
                act,
                item=each.item,
                supplier=who,
                units=each.units,
                prices=[PackPrice(1, each.price)],
                currency=currency,
                tax_percent=tax_percent,
                offered_on=offered_on,
            )
        )
    return KeptList(who, stated, len(prices) - len(stated))


def _pack(of: NewPrice) -> tuple[int, int]:
    return of.item.pk, of.units


def _says(offer: Offer) -> tuple[list[tuple[int, Decimal]], Decimal]:
    return [(price.packs, price.each) for price in offer.prices.all()], offer.tax_percent
