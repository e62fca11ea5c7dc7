"""Trips, kits promised to them, and kits' time with people; who cleared one by telephone."""

from typing import Self

from django.db import models
from django.db.models import F, Q

from gearroom.core.models import Person, Room
from gearroom.core.models.append_only import InOrder, append_only
from kits.models.kits import Kit
from kits.models.ledger import Entry
from kits.models.stock.places import Place
from kits.rules.trips.trips import TripState


class Trip(models.Model):
    """A trip as its source (a booking system, or `by-hand`) last told it.

    `hours_to_care`: how long it may take to definitive care. `planned`: it is not certain yet.
    `youngest` and `oldest` are ages in years. `leader_email` is how a source named the leader;
    `leader` is who that is, once known. `changed_at` never goes back from one change of a trip to
    the next of any (`kits.services.trips.change_times`).
    """

    source = models.SlugField(max_length=40)
    reference = models.CharField(max_length=80)
    name = models.CharField(max_length=160)
    room = models.ForeignKey(Room, null=True, on_delete=models.PROTECT, related_name="trips")
    departs_at = models.DateTimeField()
    returns_at = models.DateTimeField()
    first_day = models.DateField()
    last_day = models.DateField()
    people = models.PositiveSmallIntegerField()
    hazards = models.JSONField(default=list)
    children = models.BooleanField(default=False)
    latex_free = models.BooleanField(default=False)
    planned = models.BooleanField(default=False)
    youngest = models.PositiveSmallIntegerField(null=True, blank=True)
    oldest = models.PositiveSmallIntegerField(null=True, blank=True)
    activity = models.ForeignKey(
        "kits.Activity", null=True, blank=True, on_delete=models.PROTECT, related_name="trips"
    )
    hours_to_care = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    leader = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="leads"
    )
    leader_name = models.CharField(max_length=120, blank=True)
    leader_phone = models.CharField(max_length=40, blank=True)
    leader_email = models.CharField(max_length=254, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["departs_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["source", "reference"], name="trip_once_a_source"),
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day"), returns_at__gte=F("departs_at")),
                name="trip_ends_after_it_begins",
            ),
            models.CheckConstraint(condition=Q(people__gte=1), name="trip_has_people"),
        ]
        indexes = [
            models.Index(fields=["room", "departs_at"]),
            models.Index(fields=["last_day"]),
            models.Index(fields=["changed_at", "id"]),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def state(self) -> TripState:
        """Whether it is planned, certain, or cancelled."""
        if self.cancelled_at is not None:
            return TripState.CANCELLED
        return TripState.PLANNED if self.planned else TripState.CONFIRMED


class LeaderAddress(models.Model):
    """Who is meant by an email address that a source names leaders by, in lower case, as somebody
    said once; a person's own address needs no row."""

    leader_email = models.CharField(max_length=254, unique=True)
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="leader_addresses")


class ReservationQuerySet(models.QuerySet["Reservation"]):
    """Kits promised to trips."""

    def promised(self) -> Self:
        """Those not released; their trips may have ended."""
        return self.filter(released__isnull=True)


class Reservation(InOrder):
    """A kit promised to a trip, and to whom of it, until released."""

    kit = models.ForeignKey(Kit, on_delete=models.PROTECT, related_name="reservations")
    trip = models.ForeignKey(Trip, on_delete=models.PROTECT, related_name="reservations")
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="reservations"
    )
    made = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="reservations_made")
    released = models.ForeignKey(
        Entry,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="reservations_released",
    )

    objects = ReservationQuerySet.as_manager()

    class Meta(InOrder.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["kit", "trip"],
                condition=Q(released__isnull=True),
                name="kit_reserved_once_a_trip",
            ),
        ]


class AsFound(models.TextChoices):
    """What a kit handed back looked like."""

    SEALED = "sealed-and-dry", "sealed and dry"
    CLOSED = "closed", "closed, nothing used"
    SORT_LATER = "sort-later", "sort later"
    OPENED = "opened", "opened"


class CheckoutQuerySet(models.QuerySet["Checkout"]):
    """Times that kits and sections are or were out."""

    def open(self) -> Self:
        """Those not handed back."""
        return self.filter(in_at__isnull=True)

    def of_whole_kits(self) -> Self:
        """Those of kits, not of a section on its own."""
        return self.filter(section__isnull=True)

    def not_undone(self) -> Self:
        """Those not taken back as a mistake."""
        return self.filter(undone__isnull=True)


class Checkout(InOrder):
    """A kit's (or one sealed section's) time with a person: out, due, in.

    `person` has it now, or had it last. `due_at` is None where nobody set a time: an emergency,
    a kit that lives in a vehicle. `undone` is the entry that took the whole checkout back as a
    mistake.
    """

    kit = models.ForeignKey(Kit, on_delete=models.PROTECT, related_name="checkouts")
    section = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="checkouts"
    )
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="checkouts"
    )
    trip = models.ForeignKey(
        Trip, null=True, blank=True, on_delete=models.PROTECT, related_name="checkouts"
    )
    reservation = models.ForeignKey(
        Reservation, null=True, blank=True, on_delete=models.PROTECT, related_name="checkouts"
    )
    out_at = models.DateTimeField()
    due_at = models.DateTimeField(null=True, blank=True)
    in_at = models.DateTimeField(null=True, blank=True)
    opened_by = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="checkouts_opened")
    closed_by = models.ForeignKey(
        Entry, null=True, blank=True, on_delete=models.PROTECT, related_name="checkouts_closed"
    )
    undone = models.ForeignKey(
        Entry, null=True, blank=True, on_delete=models.PROTECT, related_name="checkouts_undone"
    )
    as_found = models.CharField(max_length=16, choices=AsFound, blank=True)
    emergency = models.BooleanField(default=False)
    short_reason = models.CharField(max_length=300, blank=True)

    objects = CheckoutQuerySet.as_manager()

    class Meta(InOrder.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["kit"],
                condition=Q(in_at__isnull=True, section__isnull=True),
                name="one_open_checkout_a_kit",
            ),
            models.UniqueConstraint(
                fields=["section"],
                condition=Q(in_at__isnull=True, section__isnull=False),
                name="one_open_checkout_a_section",
            ),
            models.CheckConstraint(
                condition=Q(in_at__isnull=True, closed_by__isnull=True, undone__isnull=True)
                | Q(in_at__gte=F("out_at"))
                & (Q(closed_by__isnull=False) | Q(undone__isnull=False)),
                name="checkout_closed_by_an_entry",
            ),
        ]
        indexes = [
            models.Index(fields=["due_at"], condition=Q(in_at__isnull=True), name="open_by_due"),
            models.Index(fields=["kit", "-id"]),
        ]

    @property
    def what(self) -> str:
        """The name of what is out: the kit, or the kit and its section."""
        return f"{self.kit.name}, {self.section.name}" if self.section else self.kit.name


@append_only
class Handover(InOrder):
    """Who had a kit from when on, within one checkout; the first is who took it out."""

    checkout = models.ForeignKey(Checkout, on_delete=models.PROTECT, related_name="handovers")
    person = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    since = models.DateTimeField()
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="handovers")


@append_only
class Clearance(InOrder):
    """That a kit went out although it was stopped, because `person` is said to have cleared it by
    telephone. `entry` is the taking out; `reasons` is what stood against it, each with its code
    and what of which thing was lacking."""

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="clearance")
    checkout = models.ForeignKey(Checkout, on_delete=models.PROTECT, related_name="clearances")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="clearances")
    reasons = models.JSONField(default=list)


@append_only
class ClearanceAnswer(InOrder):
    """What the person says who is said to have cleared a kit: that they did, or that they did
    not. `entry` is that act of theirs."""

    clearance = models.OneToOneField(Clearance, on_delete=models.PROTECT, related_name="answer")
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="clearance_answer")
    confirmed = models.BooleanField()
