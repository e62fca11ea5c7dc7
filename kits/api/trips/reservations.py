"""/api/v1/reservations/: kits reserved for trips."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView, named, one_of, present
from kits.api import answers
from kits.api.problems import NAMED_KIT, NOT_FREE, NOT_OPEN, SWAPPING
from kits.models import Reservation
from kits.services.lookup import find
from kits.services.trips import reservations


@answers.Answer.of(Reservation)
class ReservationAnswer(answers.WithPhones):
    members = ["id", "kit", "trip", "person", "made_at", "released_at"]
    sources = {
        "kit": "kit.name", "made_at": "made.occurred_at", "released_at": "released.occurred_at",
    }  # fmt: skip

    def rooms(self, row: Reservation) -> Iterable[int | None]:
        """The kit's."""
        return answers.rooms_of(row.kit)


@answers.Answer.of(reservations.ReservedKit)
class ReservedAnswer(answers.Answer):
    members = ["reservation", "verdict", "out_beyond"]
    help_texts = {
        "verdict": "The kit's status as it is now, up to the trip's last day.",
        "out_beyond": "The person who, as things are, will still have the kit when the trip"
        " departs.",
    }


@answers.Answer.of(reservations.SwapResult)
class SwappedAnswer(answers.Answer):
    help_texts = {"instead": "What the first kit has now taken over from the other."}


class ReservationQuery(PageQuery):
    kit = serializers.CharField(required=False, max_length=60, help_text="Label code or name.")
    trip = serializers.CharField(
        required=False, max_length=130, help_text="By id or as source:reference."
    )
    person = serializers.IntegerField(required=False, min_value=1)
    released = serializers.BooleanField(
        required=False,
        default=False,
        help_text="Only released reservations, instead of current ones.",
    )


class ReserveBody(ActBody):
    example = {"kit": "DAY-02", "trip": "bookings:118", "person": "7"}
    kit = serializers.CharField(max_length=60, help_text="Label code or name.")
    trip = serializers.CharField(max_length=130, help_text="By id or as source:reference.")
    person = serializers.CharField(
        required=False,
        max_length=40,
        help_text="The person on the trip who is taking it, by id or tag.",
    )


class SwapBody(ActBody):
    example = {"kit": "DAY-02"}
    kit = serializers.CharField(max_length=60, help_text="The kit to take: label code or name.")


class _ReservationView(UseCaseView):
    use_case = "reserve"
    answers = {200: ReservationAnswer}

    def visible(self) -> QuerySet[Reservation]:
        """Reservations of the kits of one's rooms, and for trips from there."""
        rows = Reservation.objects.select_related("kit", "trip", "person", "made", "released")
        mine = self.actor.room_ids
        near = Q(kit__home_room__in=mine) | Q(trip__room__in=mine)
        return rows if self.actor.everywhere else rows.filter(near)

    def reservation(self) -> Reservation:
        """The one that the address names."""
        return one_of(self.visible(), "reservation", self.kwargs["id"])


class Reservations(ListView, _ReservationView):
    query = ReservationQuery
    shows = ReservationAnswer
    filters = {
        "kit": named(find.kit, "kit"),
        "trip": named(find.trip, "trip"),
        "person": "person",
        "released": present("released"),
    }
    body = ReserveBody
    problems = ("wrong-label", *NAMED_KIT, *NOT_FREE, *NOT_OPEN)
    read_problems = NAMED_KIT
    answers = {200: ReservedAnswer, 201: ReservedAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Reservation]:
        """Which kits are reserved for which trips, newest first."""
        return self.visible()

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Reserve a kit for a trip.

        This also works for a kit that will not be ready; the answer gives the reasons.
        """
        done = reservations.reserve(
            act,
            find.kit(act.actor, data["kit"]),
            find.trip(act.actor, data["trip"]),
            person=find.person(act.actor, data["person"]) if "person" in data else None,
        )
        return 201 if done.entry else 200, done


class OneReservation(ReadView, _ReservationView):
    shows = ReservationAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """One reservation."""
        return self.reservation()


class Release(_ReservationView):
    problems = ("released-already",)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Release a reservation."""
        reservations.release(act, self.reservation())
        return 200, self.reservation()


class Swap(_ReservationView):
    use_case = "check_out"
    body = SwapBody
    problems = (*NAMED_KIT, *SWAPPING)
    answers = {200: SwappedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Send another kit on the trip instead of the reserved one."""
        planned = self.reservation()
        return 200, reservations.swap(
            act, planned.kit, find.kit(act.actor, data["kit"]), planned.trip
        )
