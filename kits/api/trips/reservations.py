"""/api/v1/reservations/: kits promised to trips."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import NotFound
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from kits.api import answers
from kits.models import Reservation
from kits.services.lookup import find
from kits.services.trips import reservations
from kits.services.trips.reservations import ReservedKit


class ReservationAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    kit = serializers.CharField()
    trip = answers.TripAnswer()
    person = answers.PersonAnswer(allow_null=True)
    made_at = serializers.DateTimeField()
    released_at = serializers.DateTimeField(allow_null=True)


class ReservedAnswer(serializers.Serializer[Any]):
    reservation = ReservationAnswer()
    verdict = answers.VerdictAnswer(help_text="As the kit stands, through the trip's last day.")
    out_beyond = answers.CheckoutAnswer(
        allow_null=True, help_text="Who has the kit past the departure, as things are."
    )


class SwappedAnswer(serializers.Serializer[Any]):
    goes = ReservedAnswer()
    instead = ReservedAnswer(
        allow_null=True, help_text="What the first kit took over from the one that goes."
    )


class ReservationQuery(PageQuery):
    kit = serializers.CharField(required=False, max_length=60, help_text="Label code or name.")
    trip = serializers.CharField(
        required=False, max_length=130, help_text="By id or as source:reference."
    )
    person = serializers.IntegerField(required=False, min_value=1)
    released = serializers.BooleanField(
        required=False, default=False, help_text="Those released, rather than those that stand."
    )


class ReserveBody(ActBody):
    example = {"kit": "DAY-02", "trip": "bookings:118", "person": "7"}
    kit = serializers.CharField(max_length=60, help_text="Label code or name.")
    trip = serializers.CharField(max_length=130, help_text="By id or as source:reference.")
    person = serializers.CharField(
        required=False, max_length=40, help_text="Who of the trip takes it, by id or tag."
    )


class SwapBody(ActBody):
    example = {"kit": "DAY-02"}
    kit = serializers.CharField(max_length=60, help_text="The kit in hand: label code or name.")


def shown(row: Reservation, actor: Actor | None) -> Any:
    """A promise."""
    told = {
        "id": row.pk,
        "kit": row.kit.name,
        "trip": answers.trip(row.trip),
        "person": answers.person(row.person),
        "made_at": row.made.occurred_at.isoformat(),
        "released_at": row.released.occurred_at.isoformat() if row.released else None,
    }
    return answers.for_eyes_of(actor, answers.rooms_of(row.kit), told)


def reserved_shown(of: ReservedKit | None, actor: Actor) -> dict[str, Any] | None:
    """A promise with how the kit stands."""
    if of is None:
        return None
    return {
        "reservation": shown(of.reservation, actor),
        "verdict": answers.verdict(of.verdict),
        "out_beyond": answers.for_eyes_of(
            actor, answers.rooms_of(of.reservation.kit), answers.checkout(of.out_beyond)
        ),
    }


class _ReservationView(UseCaseView):
    use_case = "reserve"
    answers = {200: ReservationAnswer}

    def seen(self) -> QuerySet[Reservation]:
        """Promises of the kits of one's rooms, and to trips from there."""
        assert self.actor is not None
        rows = Reservation.objects.select_related("kit", "trip", "person", "made", "released")
        if self.actor.everywhere:
            return rows
        mine = self.actor.room_ids
        return rows.filter(Q(kit__home_room__in=mine) | Q(trip__room__in=mine))

    def reservation(self) -> Reservation:
        """The one that the address names."""
        found = self.seen().filter(pk=self.kwargs["id"]).first()
        if found is None:
            raise NotFound("reservation", self.kwargs["id"])
        return found


class Reservations(ListView, _ReservationView):
    query = ReservationQuery
    shows = ReservationAnswer
    body = ReserveBody
    answers = {200: ReservedAnswer, 201: ReservedAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Reservation]:
        """Which kits are promised to which trips, newest first."""
        assert self.actor is not None
        rows = self.seen().filter(released__isnull=not query["released"])
        if "kit" in query:
            rows = rows.filter(kit=find.kit(self.actor, query["kit"]))
        if "trip" in query:
            rows = rows.filter(trip=find.trip(self.actor, query["trip"]))
        if "person" in query:
            rows = rows.filter(person=query["person"])
        return rows

    def show(self, page: list[Reservation]) -> Any:
        """A page of them."""
        return [shown(row, self.actor) for row in page]

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Promise a kit to a trip; one that will not be ready too, with its reasons."""
        done = reservations.reserve(
            act,
            find.kit(act.actor, data["kit"]),
            find.trip(act.actor, data["trip"]),
            person=find.person(act.actor, data["person"]) if "person" in data else None,
        )
        return 201 if done.entry else 200, reserved_shown(done, act.actor)


class OneReservation(ReadView, _ReservationView):
    shows = ReservationAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """One promise."""
        return shown(self.reservation(), self.actor)


class Release(_ReservationView):
    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Take a promise back."""
        reservations.release(act, self.reservation())
        return 200, shown(self.reservation(), act.actor)


class Swap(_ReservationView):
    use_case = "check_out"
    body = SwapBody
    answers = {200: SwappedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Let the kit in hand go with the trip instead of the one reserved."""
        planned = self.reservation()
        in_hand = find.kit(act.actor, data["kit"])
        done = reservations.swap(act, planned.kit, in_hand, planned.trip)
        goes, instead = (reserved_shown(one, act.actor) for one in (done.goes, done.instead))
        return 200, {"goes": goes, "instead": instead}
