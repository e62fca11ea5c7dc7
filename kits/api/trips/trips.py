"""/api/v1/trips/: trips of the booking system, and which kits to send with them."""

from collections.abc import Iterable, Sequence
from functools import cache, partial
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _
from rest_framework import serializers

from gearroom.core.acts import Act, Actor, Invalid, NotFound
from gearroom.core.api.requests.serializers import ActBody, PageQuery, StrictSerializer
from gearroom.core.api.views import ListView, ReadView, UseCaseView, named, present
from kits.api import answers
from kits.api.fields import HAZARDS_HELP, hazards_field
from kits.api.problems import WRONG_SPAN
from kits.models import Trip
from kits.rules.text.hazards import HAZARDS
from kits.rules.trips.trips import TripState
from kits.services.lookup import find
from kits.services.planning import vocabulary
from kits.services.trips import due_times, leaders, trip_readiness, trips
from kits.services.trips.trip_facts import ADULT_FROM, MOST_PEOPLE, OLDEST, TripFacts
from kits.services.trips.trip_notices import Clash
from kits.services.trips.trip_readiness import JudgedTrip

STATE_HELP = (
    "Planned: it may still not take place; it needs its kits like any other. Confirmed. Cancelled:"
    " it gives its kits free."
)


# ------------------------------------------------------------------------------------------ shapes
@answers.Answer.of(trip_readiness.KitOfTrip)
class PromisedKit(answers.Answer):
    members = ["reservation", "kit", "person", "stand", "verdict", "out_with"]
    sources = {"kit": "kit.name", "person": "reservation.person", "out_with": "checkout"}
    help_texts = {
        "stand": "Its state for the trip; null once the trip is over or cancelled.",
        "verdict": "The kit's status for this trip, up to its last day.",
        "out_with": "The person who has it, for this trip or another reason.",
    }
    reservation = serializers.IntegerField(source="reservation.pk")


@answers.Answer.of(JudgedTrip)
class TripWholeAnswer(answers.WithPhones):
    """A trip with the kits reserved for it, and its coverage."""

    members = [
        "id", "source", "reference", "name", "first_day", "last_day", "room", "departs_at",
        "returns_at", "people", "hazards", "activity", "hours_to_care", "children", "youngest",
        "oldest", "latex_free", "leader", "leader_name", "leader_phone", "leader_email", "state",
        "cancelled_at", "changed_at", "revision", "coverage", "lacking", "kits",
    ]  # fmt: skip
    sources = {
        "id": "trip.pk", "source": "trip.source", "reference": "trip.reference",
        "name": "trip.name", "first_day": "trip.first_day", "last_day": "trip.last_day",
        "room": "trip.room.slug", "departs_at": "trip.departs_at", "returns_at": "trip.returns_at",
        "people": "trip.people", "children": "trip.children", "latex_free": "trip.latex_free",
        "leader": "trip.leader", "leader_name": "trip.leader_name",
        "leader_phone": "trip.leader_phone", "leader_email": "trip.leader_email",
        "youngest": "trip.youngest", "oldest": "trip.oldest", "state": "trip.state",
        "cancelled_at": "trip.cancelled_at", "changed_at": "trip.changed_at",
        "revision": "trip.revision", "kits": "promised",
    }  # fmt: skip
    help_texts = {
        "room": "The gear room's slug.",
        "youngest": "The age of the youngest, in years; null if nobody gave one.",
        "oldest": "The age of the oldest, in years; null if nobody gave one.",
        "leader": "The person who leads it, if known. Always null for programs if the leader was"
        " named by email address.",
        "leader_email": "The address that the leader was named by; empty for whoever may not see"
        " people.",
        "state": STATE_HELP,
        "changed_at": "When the trip itself last changed, its reservations not counted: what"
        " `changed_since` compares.",
        "coverage": "Covered: every kit for it is ready, or out on this trip. Waiting: a kit is"
        " out but due back in time. Null once the trip is over or cancelled.",
        "lacking": "The needs of the trip that its kits together do not cover.",
        "kits": "The kits reserved for it.",
    }

    hazards = serializers.ListField(
        source="trip.hazards",
        child=serializers.ChoiceField(list(HAZARDS)),
        help_text=HAZARDS_HELP,
    )
    activity = serializers.CharField(
        source="trip.activity.key",
        default=None,
        allow_null=True,
        help_text="By its key: one of those of `GET /plans/vocabulary/`.",
    )

    hours_to_care = serializers.DecimalField(4, 1, source="trip.hours_to_care", allow_null=True)

    def rooms(self, row: JudgedTrip) -> Iterable[int | None]:
        """The trip's."""
        return [row.trip.room_id]

    def to_representation(self, row: Any) -> Any:
        """The trip, without the leader where whose address it is may not be seen."""
        visible = super().to_representation(row)
        if not leaders.shows_leader(self.context["actor"], row.trip):
            visible["leader"] = None
        return visible


@answers.Answer.of(Clash)
class ClashAnswer(answers.Answer):
    members = ["kit", "reservation", "other_reservation", "other_trip"]
    sources = {
        "kit": "other.kit.name", "reservation": "reservation.pk", "other_reservation": "other.pk",
        "other_trip": "other.trip",
    }  # fmt: skip


class KitsOfTrip(serializers.ListField):
    """Kits of a trip by name."""

    child = serializers.CharField()

    def to_representation(self, kits: Iterable[trip_readiness.KitOfTrip]) -> list[str]:
        """In the order given."""
        return [each.kit.name for each in kits]


@answers.Answer.of(trips.TripChange)
class PutAnswer(answers.Answer):
    members = [
        "told", "trip", "clashes", "released", "due_changed", "no_longer_fit", "no_longer_served",
    ]  # fmt: skip
    help_texts = {
        "clashes": "Kits that are also reserved for another trip on the same days.",
        "released": "Kits that are available again because the trip was cancelled.",
        "due_changed": "Kits out on the trip whose return time was moved with the trip's. Whoever"
        " has them, and their keepers, are notified.",
    }
    told = serializers.ChoiceField(
        ["created", "updated", "unchanged"],
        source="outcome",
        help_text="What this did. An unchanged trip was left as it is.",
    )
    trip = TripWholeAnswer()
    no_longer_fit = KitsOfTrip(
        help_text="Kits of the trip that were fit for it before this change and are not now; what"
        " stands against each is in `trip.kits`."
    )
    no_longer_served = answers.ReasonAnswer(
        many=True,
        source="lacking",
        help_text="What all of its kits together covered before this change and do not now.",
    )


class ExtendBody(ActBody):
    example = {"returns_at": "2035-06-01T18:00:00+01:00"}
    returns_at = serializers.DateTimeField(help_text="The trip's new return time.")


@answers.Answer.of(due_times.Extension)
class ExtendedAnswer(answers.Answer):
    members = ["trip", "checkouts", "clashes"]
    help_texts = {"checkouts": "The kits out on it, due at the new time."}
    trip = TripWholeAnswer()


class TripMembers(StrictSerializer):
    """What a source says of a trip."""

    name = serializers.CharField(max_length=160)
    departs_at = serializers.DateTimeField()
    returns_at = serializers.DateTimeField()
    people = serializers.IntegerField(
        min_value=1, max_value=MOST_PEOPLE, help_text="How many go, leaders included."
    )
    room = serializers.CharField(
        max_length=80, required=False, allow_null=True, help_text="A gear room: name or slug."
    )
    first_day = serializers.DateField(
        required=False,
        allow_null=True,
        help_text="Default: the day it departs, in the gear room's time zone",
    )
    last_day = serializers.DateField(required=False, allow_null=True)
    hazards = hazards_field()
    activity = serializers.SlugField(
        required=False, allow_null=True, max_length=40,
        help_text="What the trip does, by its key: one of those of `GET /plans/vocabulary/`. If"
        " this is left out, it stays as it is.",
    )  # fmt: skip
    hours_to_care = serializers.DecimalField(
        4, 1, required=False, allow_null=True, min_value=0,
        help_text="Hours to definitive care; if this is left out, they stay as they are.",
    )  # fmt: skip
    children = serializers.BooleanField(
        required=False,
        help_text=f"Default: whether the youngest is under {ADULT_FROM}.",
    )
    youngest = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=OLDEST,
        help_text="The age of the youngest, in years. Null: not known.",
    )  # fmt: skip
    oldest = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=OLDEST,
        help_text="The age of the oldest, in years. Null: not known.",
    )  # fmt: skip
    latex_free = serializers.BooleanField(default=False, help_text="Only latex-free kits.")
    leader = serializers.IntegerField(
        min_value=1, required=False, allow_null=True,
        help_text="A person by id, or by email address and name, or by name and phone alone.",
    )  # fmt: skip
    leader_name = serializers.CharField(max_length=120, default="", allow_blank=True)
    leader_phone = serializers.CharField(max_length=40, default="", allow_blank=True)
    leader_email = serializers.EmailField(
        max_length=254, default="", allow_blank=True,
        help_text="If one person here has this address, they lead the trip. The answer does not"
        " say whether somebody has; if nobody does, keepers are asked who it is.",
    )  # fmt: skip
    state = serializers.ChoiceField(
        list(TripState), required=False, help_text=f"{STATE_HELP} Default: confirmed."
    )
    cancelled = serializers.BooleanField(
        default=False, help_text="The older way to say that its state is `cancelled`."
    )


class TripBody(TripMembers, ActBody):
    example = {
        "name": "Beck walk", "departs_at": "2035-05-31T08:00:00+01:00",
        "returns_at": "2035-05-31T18:00:00+01:00", "people": 10, "room": "main-store",
        "hazards": ["hill"], "leader_name": "Robin Example", "leader_phone": "01632 960 001",
    }  # fmt: skip


class TripQuery(PageQuery):
    room = serializers.CharField(required=False, max_length=80)
    source = serializers.CharField(required=False, max_length=40)  # type: ignore[assignment]  # so the API names it
    on_or_after = serializers.DateField(
        required=False, help_text="Trips that end on or after this day."
    )
    on_or_before = serializers.DateField(
        required=False, help_text="Trips that begin on or before this day."
    )
    cancelled = serializers.BooleanField(required=False)
    leader = serializers.IntegerField(required=False, min_value=1)
    changed_since = serializers.DateTimeField(
        required=False,
        help_text="Trips that changed at this time or later, cancelled ones too, in the order in"
        " which they changed. Ask again from the last `changed_at` that you were given on:"
        " nothing is missed, and what changed at that very time comes twice. Reservations and"
        " coverage are not changes of a trip.",
    )


# ----------------------------------------------------------------------------------------- showing
def with_kits(trip: Trip) -> JudgedTrip:
    """A trip with the kits reserved for it, and its coverage."""
    return trip_readiness.judge_trips([trip])[0]


class Named:
    """The rooms, people and activities that trips of one request name; each is looked up once."""

    def __init__(self, actor: Actor) -> None:
        self.room = cache(partial(find.room, actor))
        self.person = cache(partial(find.person, actor))
        self.activity = cache(vocabulary.activity_of)

    def facts_from(self, data: dict[str, Any]) -> TripFacts:
        """What a body says of a trip."""
        if data.get("room") is not None:
            data["room"] = self.room(data["room"])
        if data.get("leader") is not None:
            data["leader"] = self.person(data["leader"])
        if data.get("activity") is not None:
            data["activity"] = self.activity(data["activity"])
        state = data.pop("state", None)
        if data["cancelled"] and state not in (None, TripState.CANCELLED):
            raise Invalid(
                _("This trip cannot be cancelled and %(state)s.") % {"state": state}, field="state"
            )
        data["cancelled"] = data["cancelled"] or state == TripState.CANCELLED
        return TripFacts(**data, planned=state == TripState.PLANNED)


def _led_by(actor: Actor, person: int) -> Q:
    """Trips that somebody leads, as far as whoever asks may see that."""
    if actor.may("see_people"):
        return Q(leader=person)
    return Q(leader=person, leader_email="")


# ------------------------------------------------------------------------------------------- views


class Trips(ListView, UseCaseView):
    query = TripQuery
    shows = TripWholeAnswer
    ordering = ("departs_at", "id")
    filters = {
        "room": named(find.room, "room"),
        "source": "source",
        "on_or_after": "last_day__gte",
        "on_or_before": "first_day__lte",
        "cancelled": present("cancelled_at"),
        "leader": _led_by,
        "changed_since": "changed_at__gte",
    }
    use_case = "edit_trip"
    body = TripBody
    answers = {201: PutAnswer}
    problems = WRONG_SPAN

    def rows(self, query: dict[str, Any]) -> QuerySet[Trip]:
        """Trips from your gear rooms, soonest departure first, or those that changed since a
        time, in the order of their changes."""
        if "changed_since" in query:
            self.ordering = ("changed_at", "id")
        return find.trips_of(self.actor)

    def whole_page(self, page: list[Trip]) -> Sequence[JudgedTrip]:
        """Trips with their kits, in a number of queries that does not grow with them."""
        return trip_readiness.judge_trips(page)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add a trip by hand; it gets a reference of ours."""
        done = trips.add_by_hand(act, Named(act.actor).facts_from(data))
        return 201, {**vars(done), "trip": with_kits(done.trip)}


class TripView(UseCaseView):
    use_case = "edit_trip"

    def trip(self) -> Trip:
        """The trip that the address names, of one's rooms."""
        result = (
            find.trips_of(self.actor)
            .filter(source=self.kwargs["source"], reference=self.kwargs["reference"])
            .first()
        )
        if result is None:
            raise NotFound("trip", self.kwargs["reference"])
        return result


class OneTrip(ReadView, TripView):
    shows = TripWholeAnswer
    method = "put"
    body = TripBody
    answers = {200: PutAnswer, 201: PutAnswer}
    problems = (*WRONG_SPAN, "trip-of-calendar")

    def read(self, query: dict[str, Any]) -> Any:
        """One trip with the kits reserved for it."""
        return with_kits(self.trip())

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Create or replace a trip; if nothing has changed, it is left as it is."""
        done = trips.put(act, **self.kwargs, facts=Named(act.actor).facts_from(data))
        status = 201 if done.outcome == "created" else 200
        return status, {**vars(done), "trip": with_kits(done.trip)}

    def whole(self, row: Trip) -> JudgedTrip:
        """A trip with its kits."""
        return with_kits(row)

    def whole_of(self, body: Any) -> Any:
        """The trip, out of what putting it did."""
        return body["trip"]


class Extend(TripView):
    use_case = "set_due"
    body = ExtendBody
    answers = {200: ExtendedAnswer}
    problems = ("trip-cancelled", "due-in-the-past", *WRONG_SPAN)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change a trip's return time, and the return time of all kits out on it."""
        done = due_times.extend(act, self.trip(), data["returns_at"])
        return 200, {**vars(done), "trip": with_kits(done.trip)}
