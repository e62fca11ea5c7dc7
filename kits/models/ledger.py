"""The stock book: entries (one act each), their legs, and the holdings that follow from them."""

from typing import Self, TypeVar, cast

from django.db import models
from django.db.models import F, Q

from gearroom.core.models import Person, Room
from gearroom.core.models.append_only import InOrder, append_only
from gearroom.core.rules.names import LONGER
from gearroom.core.services.people.names import WordsField, WordsJSONField
from kits.models.stock.places import Place

_Shape = TypeVar("_Shape")


class EntryKind(models.TextChoices):
    """What kind of act an entry records."""

    RECEIVE = "receive"
    BUILD = "build"
    STRIP = "strip"
    EMPTY = "empty"
    CHECK_OUT = "check-out"
    CHECK_IN = "check-in"
    PASS = "pass"
    EMERGENCY = "emergency"
    CLEARANCE = "clearance"
    USE = "use"
    UNMET_NEED = "unmet-need"
    NOT_OURS = "not-ours"
    COME_BACK = "come-back"
    WRITE_OFF = "write-off"
    LOOK_INSIDE = "look-inside"
    COUNT = "count"
    RESTOCK = "restock"
    RESEAL = "reseal"
    CHECK = "check"
    WITHHOLD = "withhold"
    RELEASE = "release"
    LAY_UP = "lay-up"
    WAKE = "wake"
    TAKE_OUT = "take-out"
    DISPOSE = "dispose"
    LEAVE = "leave"
    MOVE = "move"
    ARRIVE = "arrive"
    BORROW = "borrow"
    WEATHER_OUT = "weather-out"
    WEATHER_BACK = "weather-back"
    OPEN = "open"
    LOST = "lost"
    FOUND = "found"
    RECALL = "recall"
    RECALL_ANSWER = "recall-answer"
    RECALL_CLOSE = "recall-close"
    CORRECT_LOT = "correct-lot"
    REVERSE = "reverse"
    RESERVE = "reserve"
    UNRESERVE = "unreserve"
    TRIP = "trip"
    FOLLOW_LIST = "follow-list"
    KIT = "kit"
    LABEL = "label"


@append_only
class Entry(InOrder):
    """One act. `occurred_at` is when it is taken to have happened, `recorded_at` when we wrote it.

    `claimed_at` is the device's claim, put right for its clock and not kept within the kit's last
    entry as `occurred_at` is; None where nobody claimed a time. `clock_offset_s` is how far the
    claiming device's clock stood from ours, in seconds. `irregular` lists the codes of rules that
    the reported fact broke; empty when none was. `key` and `part` tell which request it came from.
    """

    kind = models.CharField(max_length=16, choices=EntryKind)
    kit = models.ForeignKey("kits.Kit", null=True, on_delete=models.PROTECT, related_name="entries")
    lot = models.ForeignKey("kits.Lot", null=True, on_delete=models.PROTECT, related_name="+")
    room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="+")
    trip = models.ForeignKey(
        "kits.Trip", null=True, on_delete=models.PROTECT, related_name="entries"
    )
    checkout = models.ForeignKey(
        "kits.Checkout", null=True, on_delete=models.PROTECT, related_name="entries"
    )
    person = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="entries")
    key = models.UUIDField()
    part = models.PositiveSmallIntegerField(default=0)
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    claimed_at = models.DateTimeField(null=True)
    clock_offset_s = models.IntegerField(default=0)
    reason = WordsField(max_length=LONGER * 500, blank=True)
    incident = WordsField(max_length=LONGER * 80, blank=True)
    irregular = models.JSONField(default=list)
    detail = WordsJSONField(default=dict)
    reverses = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="reversed_by"
    )

    class Meta(InOrder.Meta):
        verbose_name_plural = "entries"
        constraints = [
            models.UniqueConstraint(fields=["key", "part"], name="entry_key_once"),
            models.CheckConstraint(
                condition=Q(occurred_at__lte=F("recorded_at")), name="entry_not_in_the_future"
            ),
            models.CheckConstraint(
                condition=Q(kind="reverse", reverses__isnull=False)
                | (~Q(kind="reverse") & Q(reverses__isnull=True)),
                name="entry_reverse_names_what",
            ),
        ]
        indexes = [
            models.Index(fields=["kit", "-id"]),
            models.Index(fields=["kind", "-id"]),
            models.Index(fields=["room", "-id"]),
            models.Index(fields=["recorded_at"]),
        ]

    def detail_as(self, shape: type[_Shape]) -> _Shape:
        """Its detail, of the shape in `kits.models.details` that entries of its kind have."""
        return cast(_Shape, self.detail)


@append_only
class Movement(InOrder):
    """One leg of an entry: units of a lot from a place to a place, rooms stamped as they were."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="movements")
    lot = models.ForeignKey("kits.Lot", on_delete=models.PROTECT, related_name="movements")
    from_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_out")
    to_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="movements_in")
    from_room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="+")
    to_room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="+")
    units = models.PositiveIntegerField()
    lot_assumed = models.BooleanField(default=False)

    class Meta(InOrder.Meta):
        constraints = [
            models.CheckConstraint(condition=Q(units__gte=1), name="movement_of_a_unit"),
            models.CheckConstraint(
                condition=~Q(from_place=F("to_place")), name="movement_goes_somewhere"
            ),
        ]
        indexes = [
            models.Index(fields=["lot", "from_place"]),
            models.Index(fields=["lot", "to_place"]),
        ]


class HoldingQuerySet(models.QuerySet["Holding"]):
    """Units in places."""

    def on_hand(self) -> Self:
        """Those with units; a row of nothing stays when all is gone."""
        return self.filter(units__gt=0)


class Holding(models.Model):
    """How many units of a lot an inner place holds: what the movements add up to."""

    lot = models.ForeignKey("kits.Lot", on_delete=models.PROTECT, related_name="holdings")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="holdings")
    units = models.IntegerField()

    objects = HoldingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["lot", "place"], name="holding_once"),
            models.CheckConstraint(condition=Q(units__gte=0), name="holding_never_below_zero"),
        ]
        indexes = [models.Index(fields=["place"])]
