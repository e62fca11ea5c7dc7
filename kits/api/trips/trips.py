"""/api/v1/trips/: as the booking system tells them, and which kits to send with them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import NotFound
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from kits.api import answers
from kits.api.fields import HazardsField
from kits.models import Trip
from kits.rules.text.hazards import HAZARDS
from kits.rules.trips.trips import Coverage, Stand
from kits.services.lookup import find
from kits.services.text import reason_texts
from kits.services.trips import due_times, proposals, trip_readiness, trips
from kits.services.trips.trip_readiness import JudgedTrip, KitOfTrip
from kits.services.trips.trips import Clash, TripChange, TripFacts


# ------------------------------------------------------------------------------------------ shapes
class PromisedKit(serializers.Serializer[Any]):
    reservation = serializers.IntegerField()
    kit = serializers.CharField()
    person = answers.PersonAnswer(allow_null=True)
    stand = serializers.ChoiceField(
        [stand.value for stand in Stand],
        allow_null=True,
        help_text="How it stands to the trip; null once that is over or cancelled.",
    )
    verdict = answers.VerdictAnswer(
        allow_null=True, help_text="The kit's verdict through the last day, for this trip."
    )
    out_with = answers.CheckoutAnswer(
        allow_null=True, help_text="Who has it, on this trip or on something else."
    )


class TripWholeAnswer(answers.TripAnswer):
    room = serializers.CharField(allow_null=True, help_text="The gear room's slug.")
    departs_at = serializers.DateTimeField()
    returns_at = serializers.DateTimeField()
    people = serializers.IntegerField()
    hazards = serializers.ListField(child=serializers.ChoiceField(list(HAZARDS)))
    children = serializers.BooleanField()
    latex_free = serializers.BooleanField()
    leader = answers.PersonAnswer(allow_null=True)
    leader_name = serializers.CharField(allow_blank=True)
    leader_phone = serializers.CharField(allow_blank=True)
    cancelled_at = serializers.DateTimeField(allow_null=True)
    revision = serializers.IntegerField()
    coverage = serializers.ChoiceField(
        [coverage.value for coverage in Coverage],
        allow_null=True,
        help_text="Covered: every kit for it is ready or out on it. Waiting: one comes back in"
        " time. Null once it is over or cancelled.",
    )
    lacking = answers.ReasonAnswer(
        many=True, help_text="What the kits that count do not serve together."
    )
    kits = PromisedKit(many=True, help_text="Those reserved for it.")


class ClashAnswer(serializers.Serializer[Any]):
    kit = serializers.CharField()
    reservation = serializers.IntegerField()
    other_reservation = serializers.IntegerField()
    other_trip = answers.TripAnswer()


class PutAnswer(serializers.Serializer[Any]):
    told = serializers.ChoiceField(["created", "updated", "unchanged"])
    trip = TripWholeAnswer()
    clashes = ClashAnswer(
        many=True, help_text="Its kits that are reserved for another trip on the same days."
    )
    released = serializers.ListField(
        child=serializers.CharField(), help_text="Kits that a cancelled trip gave free."
    )
    due_changed = serializers.ListField(
        child=serializers.CharField(),
        help_text="Kits out on it that were due at its old return, and are due at the new one.",
    )


class ExtendBody(ActBody):
    example = {"returns_at": "2035-06-01T18:00:00+01:00"}
    returns_at = serializers.DateTimeField(help_text="When the trip returns after all.")


class ExtendedAnswer(serializers.Serializer[Any]):
    trip = TripWholeAnswer()
    checkouts = answers.CheckoutAnswer(many=True, help_text="What is out on it, due then.")
    clashes = ClashAnswer(many=True)


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
        required=False, allow_null=True, help_text="Left out: the day it departs, where the room is"
    )
    last_day = serializers.DateField(required=False, allow_null=True)
    hazards = HazardsField()
    children = serializers.BooleanField(default=False)
    latex_free = serializers.BooleanField(default=False, help_text="Kits without latex only.")
    leader = serializers.IntegerField(
        min_value=1, required=False, allow_null=True, help_text="A person by id; or else by name:"
    )
    leader_name = serializers.CharField(max_length=120, default="", allow_blank=True)
    leader_phone = serializers.CharField(max_length=40, default="", allow_blank=True)
    cancelled = serializers.BooleanField(default=False)


class TripQuery(PageQuery):
    room = serializers.CharField(required=False, max_length=80)
    source = serializers.CharField(required=False, max_length=40)
    on_or_after = serializers.DateField(required=False, help_text="Not over before this day.")
    on_or_before = serializers.DateField(required=False, help_text="Begun by this day.")
    cancelled = serializers.BooleanField(required=False)
    leader = serializers.IntegerField(required=False, min_value=1)


class PassedOverAnswer(serializers.Serializer[Any]):
    kit = serializers.CharField()
    reasons = answers.ReasonAnswer(many=True)


class ProposalAnswer(serializers.Serializer[Any]):
    trip = answers.TripAnswer()
    promised = serializers.ListField(child=serializers.CharField(), help_text="Kits by name.")
    proposed = serializers.ListField(child=serializers.CharField())
    suits = serializers.BooleanField(help_text="All of them together suit the trip.")
    lacking = answers.ReasonAnswer(many=True)
    passed_over = PassedOverAnswer(many=True)


# ----------------------------------------------------------------------------------------- showing
def shown(seen: JudgedTrip, actor: Actor | None) -> Any:
    """A trip with the kits reserved for it, and how it stands."""
    trip = seen.trip
    told = {
        **(answers.trip(trip) or {}),
        "room": trip.room.slug if trip.room else None,
        "departs_at": trip.departs_at.isoformat(),
        "returns_at": trip.returns_at.isoformat(),
        "people": trip.people,
        "hazards": trip.hazards,
        "children": trip.children,
        "latex_free": trip.latex_free,
        "leader": answers.person(trip.leader),
        "leader_name": trip.leader_name,
        "leader_phone": trip.leader_phone,
        "cancelled_at": trip.cancelled_at.isoformat() if trip.cancelled_at else None,
        "revision": trip.revision,
        "coverage": str(seen.coverage) if seen.coverage else None,
        "lacking": reason_texts.reasons(seen.lacking),
        "kits": [_kit(row, actor) for row in seen.kits if row.reservation is not None],
    }
    return answers.for_eyes_of(actor, [trip.room_id], told)


def _kit(row: KitOfTrip, actor: Actor | None) -> dict[str, Any]:
    assert row.reservation is not None  # those alone are shown
    held = row.went if row.on_it else row.elsewhere
    return {
        "reservation": row.reservation.pk,
        "kit": row.kit.name,
        "person": answers.person(row.reservation.person),
        "stand": str(row.stand) if row.stand else None,
        "verdict": answers.verdict(row.verdict) if row.verdict else None,
        "out_with": answers.for_eyes_of(actor, answers.rooms_of(row.kit), answers.checkout(held)),
    }


def all_shown(rows: list[Trip], actor: Actor | None) -> list[dict[str, Any]]:
    """Trips with their kits, in a number of queries that does not grow with them."""
    return [shown(seen, actor) for seen in trip_readiness.judge_trips(rows)]


def _clashes(of: Sequence[Clash]) -> list[dict[str, Any]]:
    return [
        {
            "kit": clash.other.kit.name,
            "reservation": clash.reservation.pk,
            "other_reservation": clash.other.pk,
            "other_trip": answers.trip(clash.other.trip),
        }
        for clash in of
    ]


def put_shown(done: TripChange, actor: Actor) -> dict[str, Any]:
    """What putting a trip did."""
    return {
        "told": done.outcome,
        "trip": all_shown([done.trip], actor)[0],
        "clashes": _clashes(done.clashes),
        "released": list(done.released),
        "due_changed": list(done.due_changed),
    }


def facts_from(act: Act, data: dict[str, Any]) -> TripFacts:
    """What a body says of a trip."""
    if data.get("room") is not None:
        data["room"] = find.room(act.actor, data["room"])
    if data.get("leader") is not None:
        data["leader"] = find.person(act.actor, data["leader"])
    return TripFacts(**data)


# ------------------------------------------------------------------------------------------- views
class Trips(ListView, UseCaseView):
    query = TripQuery
    shows = TripWholeAnswer
    ordering = ("departs_at", "id")
    use_case = "edit_trip"
    body = TripBody
    answers = {201: PutAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Trip]:
        """Trips from one's rooms, soonest departure first."""
        assert self.actor is not None
        found = find.trips_of(self.actor)
        if "room" in query:
            found = found.filter(room=find.room(self.actor, query["room"]))
        if "source" in query:
            found = found.filter(source=query["source"])
        if "on_or_after" in query:
            found = found.filter(last_day__gte=query["on_or_after"])
        if "on_or_before" in query:
            found = found.filter(first_day__lte=query["on_or_before"])
        if "cancelled" in query:
            found = found.filter(cancelled_at__isnull=not query["cancelled"])
        if "leader" in query:
            found = found.filter(leader=query["leader"])
        return found

    def show(self, page: list[Trip]) -> Any:
        """A page of them."""
        return all_shown(page, self.actor)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Make a trip by hand, under a reference of our own."""
        return 201, put_shown(trips.add_by_hand(act, facts_from(act, data)), act.actor)


class _TripView(UseCaseView):
    use_case = "edit_trip"

    def trip(self) -> Trip:
        """The trip that the address names, of one's rooms."""
        assert self.actor is not None
        found = (
            find.trips_of(self.actor)
            .filter(source=self.kwargs["source"], reference=self.kwargs["reference"])
            .first()
        )
        if found is None:
            raise NotFound("trip", self.kwargs["reference"])
        return found


class OneTrip(ReadView, _TripView):
    shows = TripWholeAnswer
    method = "put"
    body = TripBody
    answers = {200: PutAnswer, 201: PutAnswer}

    def read(self, query: dict[str, Any]) -> Any:
        """One trip with the kits reserved for it."""
        return all_shown([self.trip()], self.actor)[0]

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Say all there is to say of a trip: it is made, changed, or left as it is."""
        done = trips.put(
            act,
            self.kwargs["source"],
            self.kwargs["reference"],
            facts_from(act, data),
        )
        return 201 if done.outcome == "created" else 200, put_shown(done, act.actor)

    def whole(self, row: Trip) -> Any:
        """A trip as it is shown."""
        return all_shown([row], self.actor)[0]

    def whole_of(self, body: Any) -> Any:
        """The trip, out of what putting it did."""
        return body["trip"]


class Extend(_TripView):
    use_case = "set_due"
    body = ExtendBody
    answers = {200: ExtendedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Have a trip return at another time, and all that is out on it be due then."""
        done = due_times.extend(act, self.trip(), data["returns_at"])
        return 200, {
            "trip": all_shown([done.trip], act.actor)[0],
            "checkouts": [
                answers.for_eyes_of(act.actor, answers.rooms_of(held.kit), answers.checkout(held))
                for held in done.checkouts
            ],
            "clashes": _clashes(done.clashes),
        }


class Proposal(_TripView):
    use_case = "look"
    answers = {200: ProposalAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Propose the fewest free kits that suit the trip, and say why not the others."""
        found = proposals.proposal(act.actor, self.trip())
        return 200, {
            "trip": answers.trip(found.trip),
            "promised": [kit.name for kit in found.promised],
            "proposed": [kit.name for kit in found.proposed],
            "suits": not found.lacking,
            "lacking": found.lacking,
            "passed_over": [
                {"kit": row.kit.name, "reasons": row.reasons} for row in found.passed_over
            ],
        }

    def kept(self, body: Any) -> Any:
        """Nothing: it only asks."""
        return None
