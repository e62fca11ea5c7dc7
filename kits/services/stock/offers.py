"""What is offered by whom, at which price: typed, pasted, or from deliveries.

Suppliers and offers are the organisation's, not a room's. An offer is never changed: a new one of
the same item, supplier and size of pack takes its place, and what was before is its history. Prices
are as they were typed; `with_tax` says what is paid. Currencies are never mixed.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db import transaction
from django.db.models import Max, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Invalid, Refused, one
from kits.models import (
    Item,
    Offer,
    OfferPrice,
    Receipt,
    Supplier,
    SupplierName,
    SupplierTerms,
)
from kits.rules.buying import season as rules
from kits.services.lookup import find
from kits.services.stock.receiving import check_price
from kits.services.text.amounts import units as whole

MOST_NAME, MOST_PRICES, MOST_LINES = 120, 10, 500
MOST_TAX = Decimal(100)


@dataclass(frozen=True)
class PackPrice:
    """What a pack costs each where at least so many `packs` (1 or more) are bought."""

    packs: int
    each: Decimal


# ------------------------------------------------------------------------------------- suppliers
def suppliers() -> QuerySet[Supplier]:
    """All of them, by name, each with how its name is written elsewhere and its terms."""
    return Supplier.objects.prefetch_related("names", "terms").order_by("name")


def supplier_named(name: str) -> Supplier | None:
    """The supplier of that name, however it is written; None where nobody matched it."""
    tidy = " ".join(name.split())
    known = Supplier.objects.filter(name__iexact=tidy).first()
    other = SupplierName.objects.select_related("supplier").filter(name__iexact=tidy).first()
    return known or (other.supplier if other else None)


def unmatched_names(actor: Actor) -> list[str]:
    """Names of suppliers, on deliveries that somebody may see, that mean none on record yet, by
    name."""
    named = {name.casefold() for name in names_of_suppliers()}
    rows = Receipt.objects.filter(entry__in=find.entries_of(actor))
    typed = {" ".join(name.split()) for name in rows.values_list("supplier", flat=True)}
    return sorted(name for name in typed if name and name.casefold() not in named)


def names_of_suppliers() -> dict[str, str]:
    """The name of the supplier that each name means, in whatever case, by the name."""
    rows = SupplierName.objects.values_list("name", "supplier__name")
    own = Supplier.objects.values_list("name", "name")
    return {written.casefold(): name for written, name in [*rows, *own]}


@transaction.atomic
def add_supplier(act: Act, name: str) -> Supplier:
    """Add a supplier, or find the one of that name. Raises Invalid."""
    act.actor.require("edit_item")
    tidy = _name(name)
    return supplier_named(tidy) or Supplier.objects.create(name=tidy)


@transaction.atomic
def match_name(act: Act, name: str, supplier: Supplier) -> Supplier:
    """Record that a name means a supplier. Raises Invalid, Refused (`name-taken`)."""
    act.actor.require("edit_item")
    tidy = _name(name)
    known = supplier_named(tidy)
    if known is not None and known != supplier:
        raise Refused(
            "name-taken",
            _("“%(name)s” is already the name of %(supplier)s.")
            % {"name": tidy, "supplier": known.name},
        )
    if known is None:
        SupplierName.objects.create(supplier=supplier, name=tidy)
    return supplier


def _name(name: str) -> str:
    tidy = " ".join(name.split())
    if not 0 < len(tidy) <= MOST_NAME:
        raise Invalid(
            _("Enter the supplier’s name, with at most %(most)d characters.") % {"most": MOST_NAME},
            field="name",
        )
    return tidy


def state_terms(
    act: Act,
    supplier: Supplier,
    *,
    currency: str,
    delivery: Decimal = Decimal(0),
    free_from: Decimal | None = None,
    least_order: Decimal = Decimal(0),
) -> SupplierTerms:
    """State what a supplier's deliveries cost, tax included. Raises Invalid."""
    act.actor.require("edit_item")
    for amount in (delivery, least_order, *([] if free_from is None else [free_from])):
        check_price(amount, currency)
    return SupplierTerms.objects.create(
        supplier=supplier,
        currency=currency,
        delivery=delivery,
        free_from=free_from,
        least_order=least_order,
        stated_by=act.person,
        stated_at=act.received_at,
    )


# ---------------------------------------------------------------------------------------- offers
@transaction.atomic
def state_offer(
    act: Act,
    *,
    item: Item,
    supplier: Supplier,
    units: int,
    prices: Sequence[PackPrice],
    currency: str,
    tax_percent: Decimal = Decimal(0),
    offered_on: date | None = None,
) -> Offer:
    """State what packs of so many units of an item cost at a supplier, from a day on (today unless
    given). `prices` in rising order of packs; the first one's is the least that may be ordered.
    Raises Invalid."""
    act.actor.require("edit_item")
    whole(units)
    packs = [whole(price.packs, field="prices") for price in prices]
    if packs != sorted(set(packs)) or not 0 < len(packs) <= MOST_PRICES:
        raise Invalid(
            _("Enter one price, or up to %(most)d prices for different numbers of packs.")
            % {"most": MOST_PRICES},
            field="prices",
        )
    for price in prices:
        check_price(price.each, currency)
    if not 0 <= tax_percent <= MOST_TAX or tax_percent != round(tax_percent, 2):
        raise Invalid(_("Enter a tax from 0 to 100 per cent."), field="tax_percent")
    made = Offer.objects.create(
        item=item,
        supplier=supplier,
        units=units,
        currency=currency,
        tax_percent=tax_percent,
        offered_on=offered_on or clock.today(settings.TIME_ZONE),
        stated_by=act.person,
        stated_at=act.received_at,
    )
    OfferPrice.objects.bulk_create(
        OfferPrice(offer=made, packs=price.packs, each=price.each) for price in prices
    )
    return made


@transaction.atomic
def offer_of_supplier(
    act: Act,
    name: str,
    *,
    item: Item,
    units: int,
    prices: Sequence[PackPrice],
    currency: str,
    tax_percent: Decimal = Decimal(0),
    offered_on: date | None = None,
) -> Offer:
    """As `state_offer`, at the supplier of that name, who is added where nobody goes by it."""
    return state_offer(
        act,
        item=item,
        supplier=add_supplier(act, name),
        units=units,
        prices=prices,
        currency=currency,
        tax_percent=tax_percent,
        offered_on=offered_on,
    )


@transaction.atomic
def end_offer(act: Act, offer: Offer) -> Offer:
    """State that something is no longer offered; ending it twice changes nothing."""
    act.actor.require("edit_item")
    latest = _of_pack(offer).latest("id")
    if latest.ended:
        return latest
    return Offer.objects.create(
        item=offer.item,
        supplier=offer.supplier,
        units=offer.units,
        currency=offer.currency,
        tax_percent=offer.tax_percent,
        offered_on=clock.today(settings.TIME_ZONE),
        ended=True,
        stated_by=act.person,
        stated_at=act.received_at,
    )


def offer(pk: int) -> Offer:
    """An offer by id. Raises NotFound."""
    return one(in_full(Offer.objects.filter(pk=pk)), "offer", pk)


def in_full(rows: QuerySet[Offer]) -> QuerySet[Offer]:
    """With what is shown of them."""
    return rows.select_related("item", "supplier").prefetch_related("prices")


def in_force() -> QuerySet[Offer]:
    """The latest of each item, supplier and size of pack, but what is no longer offered."""
    latest = (
        Offer.objects.values("item", "supplier", "units").annotate(last=Max("id")).values("last")
    )
    return in_full(Offer.objects.filter(pk__in=latest.order_by(), ended=False))


def history(offer: Offer) -> list[Offer]:
    """All that was stated of the same pack, the latest first."""
    return list(in_full(_of_pack(offer).order_by("-id")))


def _of_pack(offer: Offer) -> QuerySet[Offer]:
    return Offer.objects.filter(item=offer.item, supplier=offer.supplier, units=offer.units)


def as_rule(offer: Offer) -> rules.Offer:
    """An offer with its prices, tax included, as rules judge it."""
    return rules.Offer(
        id=offer.pk,
        item=offer.item_id,
        supplier=offer.supplier_id,
        units=offer.units,
        currency=offer.currency,
        prices=tuple(
            rules.Price(price.packs, rules.with_tax(price.each, offer.tax_percent))
            for price in sorted(offer.prices.all(), key=lambda price: price.packs)
        ),
    )


def terms_in(currency: str, of: Iterable[int]) -> tuple[rules.Supplier, ...]:
    """What deliveries from these suppliers (ids) cost in a currency: nothing where nobody stated
    it."""
    latest = {
        terms.supplier_id: terms
        for terms in SupplierTerms.objects.filter(currency=currency, supplier__in=set(of))
    }
    return tuple(
        rules.Supplier(pk, terms.delivery, terms.free_from, terms.least_order)
        if (terms := latest.get(pk))
        else rules.Supplier(pk)
        for pk in sorted(set(of))
    )


def usual_currency() -> str:
    """The currency of the latest offer, else of the latest delivery with a price; empty: none."""
    latest = Offer.objects.order_by("-id").values_list("currency", flat=True).first()
    paid = Receipt.objects.exclude(currency="").order_by("-id").values_list("currency", flat=True)
    return latest or paid.first() or ""
