"""Orders to suppliers, what became of them, and order levels that somebody set for a room.

A draft may change and may be dropped. Once it is ordered its lines stay as they are: what is
cancelled, expected again or arrives is written beside them, and what is still to come follows from
that. So an arrival that is undone is on order again without anything being written anew.
"""

from typing import Self

from django.db import models
from django.db.models import F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce

from gearroom.core.models import Person, Room
from gearroom.core.models.append_only import InOrder, append_only
from kits.models.buying import CURRENCY, Offer, Supplier
from kits.models.stock.catalogue import Item
from kits.models.stock.lots import Receipt
from kits.rules.buying.order_lines import Basis
from kits.rules.ledger.facts import Criticality


class OrderQuerySet(models.QuerySet["Order"]):
    """Orders by how far they are."""

    def drafts(self) -> Self:
        """Those not ordered yet, and not dropped."""
        return self.filter(ordered_at__isnull=True, dropped_at__isnull=True)

    def placed(self) -> Self:
        """Those that were ordered, whatever came of them."""
        return self.filter(ordered_at__isnull=False)


class Order(models.Model):
    """What a room orders from a supplier, in one currency; needs were worked out `through` a day.

    `delivery` is what delivery is expected to cost. What its lines are for was last worked out at
    `worked_out_at` (None: before that was noted). While `ordered_at` is None it is a draft, which
    may be dropped.
    """

    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="orders")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    currency = models.CharField(max_length=3)
    through = models.DateField()
    delivery = models.DecimalField(max_digits=12, decimal_places=2, default=0)
    made_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    worked_out_at = models.DateTimeField(null=True)
    ordered_on = models.DateField(null=True)
    expected_on = models.DateField(null=True)
    ordered_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    ordered_at = models.DateTimeField(null=True)
    dropped_at = models.DateTimeField(null=True)
    revision = models.PositiveIntegerField(default=1)

    objects = OrderQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["room", "supplier", "currency"],
                condition=Q(ordered_at__isnull=True, dropped_at__isnull=True),
                name="order_one_draft",
            ),
            models.CheckConstraint(
                condition=Q(ordered_at__isnull=True, ordered_on__isnull=True, expected_on=None)
                | Q(ordered_at__isnull=False, dropped_at=None, expected_on__gte=F("ordered_on")),
                name="order_has_its_days",
            ),
            models.CheckConstraint(
                condition=Q(delivery__gte=0, currency__regex=CURRENCY), name="order_in_bounds"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.supplier}, {self.room}"


class OrderLineQuerySet(models.QuerySet["OrderLine"]):
    """Lines with what became of them."""

    def with_progress(self) -> Self:
        """Each with the units that `arrived` (by receipts not undone) and were `cancelled`."""
        arrived = OrderArrival.objects.filter(
            line=OuterRef("pk"), receipt__entry__reversed_by__isnull=True
        )
        cancelled = OrderFact.objects.filter(line=OuterRef("pk"))
        return self.annotate(arrived=_sum(arrived), cancelled=_sum(cancelled))

    def open(self) -> Self:
        """Those ordered of which units are still to come, with their progress, the oldest first."""
        left = F("packs") * F("pack_units") - F("arrived") - F("cancelled")
        return self.placed().annotate(left=left).filter(left__gt=0)

    def placed(self) -> Self:
        """Those ordered, with their progress, the oldest first."""
        return (
            self.with_progress()
            .filter(order__ordered_at__isnull=False)
            .order_by("order__ordered_on", "order", "id")
        )


def _sum(rows: models.QuerySet[models.Model]) -> Coalesce:
    of_line = rows.order_by().values("line").annotate(sum=Sum("units")).values("sum")
    return Coalesce(Subquery(of_line, output_field=models.IntegerField()), 0)


class OrderLine(models.Model):
    """Packs of an offer in an order. `each` is what a pack costs, tax included. Of its units so
    many are `for_kits` that are short, so many `for_use` in the season (`basis`: what that was
    worked out from), so many `for_class`, the rest because packs are whole or somebody chose so.
    `wanted_by`: from then on they are needed. Without the line so many units are lacked:
    `without_kits` by kits and `without_use` in the season on average; it `matters` as the gravest
    line with the item says.
    None and empty: not worked out."""

    order = models.ForeignKey(Order, on_delete=models.CASCADE, related_name="lines")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="order_lines")
    offer = models.ForeignKey(Offer, on_delete=models.PROTECT, related_name="order_lines")
    packs = models.PositiveIntegerField()
    pack_units = models.PositiveIntegerField()
    each = models.DecimalField(max_digits=12, decimal_places=2)
    for_kits = models.PositiveIntegerField(default=0)
    for_use = models.PositiveIntegerField(default=0)
    for_class = models.PositiveIntegerField(default=0)
    basis = models.CharField(max_length=12, choices=[(b.value, b.value) for b in Basis])
    wanted_by = models.DateField(null=True)
    without_kits = models.PositiveIntegerField(null=True)
    without_use = models.FloatField(null=True)
    matters = models.CharField(
        max_length=10, blank=True, choices=[(c.value, c.value) for c in Criticality]
    )

    objects = OrderLineQuerySet.as_manager()

    class Meta:
        ordering = ["order", "id"]
        constraints = [
            models.UniqueConstraint(fields=["order", "offer"], name="order_line_once_an_offer"),
            models.CheckConstraint(
                condition=Q(packs__gte=1, pack_units__gte=1, each__gte=0),
                name="order_line_in_bounds",
            ),
        ]
        indexes = [models.Index(fields=["item"])]

    @property
    def units(self) -> int:
        """Units ordered."""
        return self.packs * self.pack_units

    @property
    def more(self) -> int:
        """Units for which nothing was worked out: packs are whole, or somebody chose so."""
        return max(0, self.units - self.for_kits - self.for_use - self.for_class)


class OrderChange(models.TextChoices):
    """What was done with an order."""

    PLACED = "placed"
    TAKEN_BACK = "taken-back"
    CANCELLED = "cancelled"
    AWAITED = "awaited"


@append_only
class OrderFact(InOrder):
    """What was done with an order, by whom and when: ordered, as a day and the day it is expected;
    taken back to a draft; of a line, `units` that do not come any more, or (below 0) that do."""

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="facts")
    line = models.ForeignKey(OrderLine, null=True, on_delete=models.PROTECT, related_name="facts")
    what = models.CharField(max_length=10, choices=OrderChange)
    units = models.IntegerField(default=0)
    ordered_on = models.DateField(null=True)
    expected_on = models.DateField(null=True)
    person = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()


@append_only
class OrderArrival(InOrder):
    """Units of a receipt that came for a line of an order; in packs of `pack_units`, where that is
    known."""

    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="arrivals")
    receipt = models.ForeignKey(Receipt, on_delete=models.PROTECT, related_name="arrivals")
    units = models.PositiveIntegerField()
    pack_units = models.PositiveIntegerField(null=True)

    class Meta(InOrder.Meta):
        constraints = [
            models.UniqueConstraint(fields=["receipt", "line"], name="order_arrival_once"),
            models.CheckConstraint(condition=Q(units__gte=1), name="order_arrival_of_a_unit"),
        ]


@append_only
class RoomOrderLevel(InOrder):
    """At how many units a room orders an item, as somebody set it for this room; the latest row
    counts. None: as it is for all rooms."""

    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="order_levels")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="order_levels")
    units = models.PositiveIntegerField(null=True)
    stated_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    stated_at = models.DateTimeField()

    class Meta(InOrder.Meta):
        indexes = [models.Index(fields=["room", "item", "-id"])]
