"""What is bought from whom: suppliers, what their deliveries cost, and what they offer at which
price; and filled kits that might be bought. Terms and offers are never changed: the latest row
counts, those before are the history."""

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from gearroom.core.models import Person, Room
from gearroom.core.models.append_only import InOrder, append_only
from kits.models.stock.catalogue import Item

CURRENCY = r"^[A-Z]{3}$"


class Supplier(models.Model):
    """Who sells things to us."""

    name = models.CharField(max_length=120)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(Lower("name"), name="supplier_name_once")]

    def __str__(self) -> str:
        return self.name


class SupplierName(models.Model):
    """Another way in which a supplier's name is written, matched once by somebody."""

    supplier = models.ForeignKey(Supplier, on_delete=models.CASCADE, related_name="names")
    name = models.CharField(max_length=120)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(Lower("name"), name="supplier_written_once")]

    def __str__(self) -> str:
        return self.name


@append_only
class SupplierTerms(InOrder):
    """What a delivery from a supplier costs, from which value of goods on it is free (None: never),
    and the least value of goods in an order; tax included."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="terms")
    currency = models.CharField(max_length=3)
    delivery = models.DecimalField(max_digits=12, decimal_places=2, default=0)
    free_from = models.DecimalField(max_digits=12, decimal_places=2, null=True)
    least_order = models.DecimalField(max_digits=12, decimal_places=2, default=0)
    stated_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    stated_at = models.DateTimeField()

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(delivery__gte=0, least_order__gte=0, currency__regex=CURRENCY)
                & (Q(free_from__isnull=True) | Q(free_from__gte=0)),
                name="supplier_terms_in_bounds",
            ),
        ]


@append_only
class Offer(InOrder):
    """Packs of so many units of an item at a supplier, as of a day. `tax_percent` is what is added
    to its prices; 0 where they have it in them. `ended`: no longer offered."""

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="offers")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="offers")
    units = models.PositiveIntegerField()
    currency = models.CharField(max_length=3)
    tax_percent = models.DecimalField(max_digits=5, decimal_places=2, default=0)
    offered_on = models.DateField()
    ended = models.BooleanField(default=False)
    stated_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    stated_at = models.DateTimeField()

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(
                condition=Q(units__gte=1, currency__regex=CURRENCY)
                & Q(tax_percent__gte=0, tax_percent__lte=100),
                name="offer_in_bounds",
            ),
        ]
        indexes = [models.Index(F("item"), F("supplier"), F("units"), name="offer_of_a_pack")]


@append_only
class OfferPrice(InOrder):
    """What a pack costs each, without the tax that is added, where at least so many are bought."""

    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="prices")
    packs = models.PositiveIntegerField(default=1)
    each = models.DecimalField(max_digits=12, decimal_places=2)

    class Meta(InOrder.Meta):
        constraints = [
            models.UniqueConstraint(fields=["offer", "packs"], name="offer_price_once"),
            models.CheckConstraint(
                condition=Q(packs__gte=1, each__gte=0), name="offer_price_in_bounds"
            ),
        ]


class FilledKit(models.Model):
    """A filled kit that might be bought for a room, at a price for one, tax included; what is in
    it, its lines say. `closed_on`: no longer thought of."""

    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="filled_kits")
    name = models.CharField(max_length=120)
    supplier = models.ForeignKey(
        Supplier, null=True, blank=True, on_delete=models.PROTECT, related_name="filled_kits"
    )
    price = models.DecimalField(max_digits=12, decimal_places=2)
    currency = models.CharField(max_length=3)
    stated_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    stated_at = models.DateTimeField()
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(price__gte=0, currency__regex=CURRENCY), name="filled_kit_price"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class FilledKitLine(models.Model):
    """Units of something in a filled kit, as its seller lists it; None where it is no item here."""

    filled = models.ForeignKey(FilledKit, on_delete=models.CASCADE, related_name="lines")
    name = models.CharField(max_length=200)
    item = models.ForeignKey(
        Item, null=True, blank=True, on_delete=models.PROTECT, related_name="filled_kit_lines"
    )
    units = models.PositiveIntegerField()
    expiry = models.DateField(null=True, blank=True)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(units__gte=1), name="filled_kit_line_of_a_unit"),
        ]

    def __str__(self) -> str:
        return self.name
