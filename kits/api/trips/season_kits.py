"""/api/v1/plans/trips/: kits for all open trips together."""

from typing import Any

from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, QuerySerializer, StrictSerializer
from gearroom.core.api.views import ReadView, UseCaseView
from kits.api import answers, bodies
from kits.api.problems import NAMED_KIT, NOT_FREE, NOT_OPEN
from kits.api.trips.proposals import KitNames
from kits.api.trips.reservations import ReservationAnswer
from kits.rules.trips.season_kits import Found
from kits.services.buying.kit_costs import contents_costs
from kits.services.lookup import find
from kits.services.trips.season import season_kits


class SeasonKitsQuery(QuerySerializer):
    room = serializers.CharField(
        max_length=80, required=False, help_text="Only trips of this gear room: name or slug."
    )
    changes = serializers.BooleanField(
        required=False,
        default=False,
        help_text="Kits that are reserved, but have not gone, may go to other trips, where more"
        " trips have what they need then.",
    )


class KitForTripAnswer(answers.Answer):
    kit = serializers.CharField(source="kit.name")
    to_restock = serializers.BooleanField(
        help_text="It is ready through the trip's last day only once it has been restocked."
    )
    from_elsewhere = serializers.BooleanField(help_text="Its gear room is not the trip's.")
    not_back = serializers.BooleanField(
        help_text="It is out on something else, and not back in time as things are."
    )


class TripKitsAnswer(answers.Answer):
    trip = serializers.IntegerField(source="trip.pk")
    source = serializers.CharField(source="trip.source")  # type: ignore[assignment]  # so the API names it
    reference = serializers.CharField(source="trip.reference")
    name = serializers.CharField(source="trip.name")
    first_day = serializers.DateField(source="trip.first_day")
    last_day = serializers.DateField(source="trip.last_day")
    promised = KitForTripAnswer(
        many=True, help_text="Kits that are reserved for it already; they stay so."
    )
    released = KitForTripAnswer(
        many=True,
        help_text="Kits that are reserved for it, and go to other trips: only with `changes`.",
    )
    chosen = KitForTripAnswer(many=True, help_text="Kits to reserve for it.")
    lacking = answers.ReasonAnswer(
        many=True, help_text="What all of these kits together do not cover."
    )
    ways = serializers.ListField(
        child=serializers.CharField(),
        help_text="Ways to cover it after all, in sentences: on other days, with"
        " kits to be made ready, or with one more, and what its contents cost as far as prices are"
        " known.",
    )
    why = serializers.CharField(help_text="Why its kits go to other trips, in a sentence.")


class SeasonKitsAnswer(answers.Answer):
    trips = TripKitsAnswer(many=True, help_text="Trips that have still to depart, soonest first.")
    quality = serializers.ChoiceField(
        [each.value for each in Found],
        source="found",
        help_text="`best`: no other choice is noticeably better; `stopped`: the best one found in"
        " the time; `one-by-one`: one trip after the other.",
    )
    within = serializers.FloatField(
        help_text="By what share, at most, another choice could be better."
    )
    not_counted_on = KitNames(help_text="Kits that are not back, or out without a return time.")


class SeasonKits(ReadView):
    reads_as = "look"
    query = SeasonKitsQuery
    shows = SeasonKitsAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """Kits for all open trips together: worked out as things are now, nothing is reserved."""
        room = find.room(self.actor, query["room"]) if "room" in query else None
        return season_kits.season_kits(
            self.actor, room, changes=query["changes"], costs_of=contents_costs
        )


class KitAndTripBody(StrictSerializer):
    kit = serializers.CharField(max_length=60, help_text="Label code or name.")
    trip = serializers.CharField(max_length=130, help_text="By id or as source:reference.")


class ReserveAllBody(ActBody):
    example = {"reserve": [{"kit": "DAY-02", "trip": "bookings:118"}]}
    reserve = bodies.lines(KitAndTripBody, 1000, allow_empty=False)
    release = bodies.lines(
        KitAndTripBody,
        1000,
        required=False,
        help_text="Kits that are reserved for these trips and shall no longer be: those in"
        " `released`. A kit that has gone with the trip meanwhile, or is reserved for it no longer,"
        " refuses all.",
    )


class ReservedAllAnswer(answers.Answer):
    reservations = ReservationAnswer(many=True)


class ReserveAll(UseCaseView):
    use_case = "reserve"
    body = ReserveAllBody
    problems = ("kit-is-out", "not-reserved", *NAMED_KIT, *NOT_FREE, *NOT_OPEN)
    answers = {201: ReservedAllAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Reserve several kits for their trips, and release others first, all or nothing."""
        reserve, release = (
            [
                (find.trip(act.actor, row["trip"]), find.kit(act.actor, row["kit"]))
                for row in data.get(name, ())
            ]
            for name in ("reserve", "release")
        )
        done = season_kits.reserve(act, reserve, release)
        return 201, {"reservations": [each.reservation for each in done]}
