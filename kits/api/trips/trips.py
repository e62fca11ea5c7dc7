"""/api/v1/trips/: trips of the booking system, and which kits to send with them."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act, NotFound
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView, named, present
from kits.api import answers
from kits.api.fields import hazards_field
from kits.models import Kit, Trip
from kits.rules.text.hazards import HAZARDS
from kits.services.lookup import find
from kits.services.planning import vocabulary
from kits.services.trips import due_times, proposals, trip_readiness, trips
from kits.services.trips.trip_readiness import JudgedTrip
from kits.services.trips.trips import TripFacts


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
        "returns_at", "people", "hazards", "activity", "hours_to_care", "children", "latex_free",
        "leader", "leader_name", "leader_phone", "cancelled_at", "revision", "coverage", "lacking",
        "kits",
    ]  # fmt: skip
    sources = {
        "id": "trip.pk", "source": "trip.source", "reference": "trip.reference",
        "name": "trip.name", "first_day": "trip.first_day", "last_day": "trip.last_day",
        "room": "trip.room.slug", "departs_at": "trip.departs_at", "returns_at": "trip.returns_at",
        "people": "trip.people", "children": "trip.children", "latex_free": "trip.latex_free",
        "leader": "trip.leader", "leader_name": "trip.leader_name",
        "leader_phone": "trip.leader_phone", "cancelled_at": "trip.cancelled_at",
        "revision": "trip.revision", "kits": "promised",
    }  # fmt: skip
    help_texts = {
        "room": "The gear room's slug.",
        "coverage": "Covered: every kit for it is ready, or out on this trip. Waiting: a kit is"
        " out but due back in time. Null once the trip is over or cancelled.",
        "lacking": "The needs of the trip that its kits together do not cover.",
        "kits": "The kits reserved for it.",
    }

    hazards = serializers.ListField(
        source="trip.hazards", child=serializers.ChoiceField(list(HAZARDS))
    )
    activity = serializers.CharField(
        source="trip.activity.key", default=None, allow_null=True, help_text="By its key."
    )

    hours_to_care = serializers.DecimalField(4, 1, source="trip.hours_to_care", allow_null=True)

    def rooms(self, row: JudgedTrip) -> Iterable[int | None]:
        """The trip's."""
        return [row.trip.room_id]


@answers.Answer.of(trips.Clash)
class ClashAnswer(answers.Answer):
    members = ["kit", "reservation", "other_reservation", "other_trip"]
    sources = {
        "kit": "other.kit.name", "reservation": "reservation.pk", "other_reservation": "other.pk",
        "other_trip": "other.trip",
    }  # fmt: skip


@answers.Answer.of(trips.TripChange)
class PutAnswer(answers.Answer):
    members = ["told", "trip", "clashes", "released", "due_changed"]
    help_texts = {
        "clashes": "Kits that are also reserved for another trip on the same days.",
        "released": "Kits that are available again because the trip was cancelled.",
        "due_changed": "Kits out on the trip whose return time was moved with the trip's.",
    }
    told = serializers.ChoiceField(["created", "updated", "unchanged"], source="outcome")
    trip = TripWholeAnswer()


class ExtendBody(ActBody):
    example = {"returns_at": "2035-06-01T18:00:00+01:00"}
    returns_at = serializers.DateTimeField(help_text="The trip's new return time.")


@answers.Answer.of(due_times.Extension)
class ExtendedAnswer(answers.Answer):
    members = ["trip", "checkouts", "clashes"]
    help_texts = {"checkouts": "The kits out on it, due at the new time."}
    trip = TripWholeAnswer()


class TripBody(ActBody):
    example = {
        "name": "Beck walk", "departs_at": "2035-05-31T08:00:00+01:00",
        "returns_at": "2035-05-31T18:00:00+01:00", "people": 10, "room": "main-store",
        "hazards": ["hill"], "leader_name": "Robin Example", "leader_phone": "01632 960 001",
    }  # fmt: skip
    name = serializers.CharField(max_length=160)
    departs_at = serializers.DateTimeField()
    returns_at = serializers.DateTimeField()
    people = serializers.IntegerField(min_value=1, max_value=trips.MOST_PEOPLE)
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
        help_text="What the trip does, by its key; if this is left out, it stays as it is.",
    )  # fmt: skip
    hours_to_care = serializers.DecimalField(
        4, 1, required=False, allow_null=True, min_value=0,
        help_text="Hours to definitive care; if this is left out, they stay as they are.",
    )  # fmt: skip
    children = serializers.BooleanField(default=False)
    latex_free = serializers.BooleanField(default=False, help_text="Only latex-free kits.")
    leader = serializers.IntegerField(
        min_value=1, required=False, allow_null=True, help_text="A person by id, or by name:"
    )
    leader_name = serializers.CharField(max_length=120, default="", allow_blank=True)
    leader_phone = serializers.CharField(max_length=40, default="", allow_blank=True)
    cancelled = serializers.BooleanField(default=False)


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


class KitNames(serializers.ListField):
    """Kits by name."""

    child = serializers.CharField()

    def to_representation(self, kits: Iterable[Kit]) -> list[str]:
        """In the order given."""
        return [kit.name for kit in kits]


@answers.Answer.of(proposals.PassedOverKit)
class PassedOverAnswer(answers.Answer):
    sources = {"kit": "kit.name"}
    reasons = answers.ReasonAnswer(many=True)


@answers.Answer.of(proposals.TripProposal)
class ProposalAnswer(answers.Answer):
    members = ["trip", "promised", "proposed", "suits", "lacking", "passed_over"]
    promised = KitNames(help_text="Kits by name.")
    proposed = KitNames()
    suits = answers.made(
        serializers.BooleanField,
        lambda proposal: not proposal.lacking,
        help_text="True if all of them together suit the trip.",
    )
    lacking = answers.ReasonAnswer(many=True)


# ----------------------------------------------------------------------------------------- showing
def with_kits(trip: Trip) -> JudgedTrip:
    """A trip with the kits reserved for it, and its coverage."""
    return trip_readiness.judge_trips([trip])[0]


def facts_from(act: Act, data: dict[str, Any]) -> TripFacts:
    """What a body says of a trip."""
    if data.get("room") is not None:
        data["room"] = find.room(act.actor, data["room"])
    if data.get("leader") is not None:
        data["leader"] = find.person(act.actor, data["leader"])
    if data.get("activity") is not None:
        data["activity"] = vocabulary.activity_of(data["activity"])
    return TripFacts(**data)


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
        "leader": "leader",
    }
    use_case = "edit_trip"
    body = TripBody
    answers = {201: PutAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Trip]:
        """Trips from your gear rooms, soonest departure first."""
        return find.trips_of(self.actor)

    def whole_page(self, page: list[Trip]) -> Sequence[JudgedTrip]:
        """Trips with their kits, in a number of queries that does not grow with them."""
        return trip_readiness.judge_trips(page)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add a trip by hand; it gets a reference of ours."""
        done = trips.add_by_hand(act, facts_from(act, data))
        return 201, {**vars(done), "trip": with_kits(done.trip)}


class _TripView(UseCaseView):
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


class OneTrip(ReadView, _TripView):
    shows = TripWholeAnswer
    method = "put"
    body = TripBody
    answers = {200: PutAnswer, 201: PutAnswer}

    def read(self, query: dict[str, Any]) -> Any:
        """One trip with the kits reserved for it."""
        return with_kits(self.trip())

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Create or replace a trip; if nothing has changed, it is left as it is."""
        done = trips.put(act, **self.kwargs, facts=facts_from(act, data))
        status = 201 if done.outcome == "created" else 200
        return status, {**vars(done), "trip": with_kits(done.trip)}

    def whole(self, row: Trip) -> JudgedTrip:
        """A trip with its kits."""
        return with_kits(row)

    def whole_of(self, body: Any) -> Any:
        """The trip, out of what putting it did."""
        return body["trip"]


class Extend(_TripView):
    use_case = "set_due"
    body = ExtendBody
    answers = {200: ExtendedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change a trip's return time, and the return time of all kits out on it."""
        done = due_times.extend(act, self.trip(), data["returns_at"])
        return 200, {**vars(done), "trip": with_kits(done.trip)}


class Proposal(_TripView):
    use_case = "look"
    answers = {200: ProposalAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Propose the fewest free kits that suit the trip, with reasons against the others."""
        return 200, proposals.proposal(act.actor, self.trip())

    def kept(self, body: Any) -> Any:
        """Nothing: it only asks."""
        return None
