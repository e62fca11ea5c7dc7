"""/api/v1/trips/batch/: many trips of a source at once."""

from typing import Any

from rest_framework import serializers

from gearroom.core.acts import Act, Problem
from gearroom.core.api.problems import as_problem
from gearroom.core.api.requests.serializers import ActBody, ProblemDocument
from gearroom.core.api.views import UseCaseView
from kits.api import answers, bodies
from kits.api.problems import WRONG_SPAN
from kits.api.trips.trips import ClashAnswer, KitsOfTrip, Named, TripMembers, TripWholeAnswer
from kits.services.trips import trip_batches, trip_readiness
from kits.services.trips.trip_batches import MOST_TRIPS, TripResult, WantedTrip


class EachTrip(serializers.ListSerializer[Any]):
    """Trips, each read by itself: one that is not in its form is a problem, not a refusal of
    all."""

    def run_child_validation(self, data: Any) -> Any:
        """What a trip says, under its reference, or what is wrong with it."""
        reference = data.get("reference") if isinstance(data, dict) else None
        if not isinstance(reference, str):
            return super().run_child_validation(data)
        try:
            return super().run_child_validation(data)
        except (serializers.ValidationError, Problem) as error:
            return {"reference": reference, "problem": as_problem(error) or error}


class TripOfBatchBody(TripMembers):
    class Meta:
        list_serializer_class = EachTrip

    reference = serializers.CharField(
        max_length=80, help_text="The source's own reference, with a letter or digit and no slash."
    )


class TripBatchBody(ActBody):
    example = {
        "source": "bookings",
        "trips": [
            {
                "reference": "B-2001", "name": "Beck walk", "room": "main-store", "people": 10,
                "departs_at": "2035-05-31T08:00:00+01:00",
                "returns_at": "2035-05-31T18:00:00+01:00", "state": "planned",
            },
            {
                "reference": "B-2002", "name": "Night walk", "room": "main-store", "people": 6,
                "departs_at": "2035-06-01T20:00:00+01:00",
                "returns_at": "2035-06-01T23:30:00+01:00",
            },
        ],
    }  # fmt: skip
    source = serializers.SlugField(  # type: ignore[assignment]  # so the API names it
        max_length=40, help_text="The source of all of these trips."
    )
    trips = bodies.lines(
        TripOfBatchBody,
        MOST_TRIPS,
        help_text="As in the PUT of one trip. A trip that is not in order is refused alone.",
    )


class TripResultAnswer(answers.Answer):
    reference = serializers.CharField()
    told = serializers.ChoiceField(
        ["created", "updated", "unchanged", "refused"],
        help_text="What was done. An unchanged trip was left as it is.",
    )
    problem = ProblemDocument(
        allow_null=True,
        help_text="Why it was refused, as the PUT of the one trip would be; null if it was not."
        " Codes that are particular to it: "
        + ", ".join(
            f"`{code}`" for code in ("trip-more-than-once", "trip-of-calendar", *WRONG_SPAN)
        ),
    )
    trip = TripWholeAnswer(
        allow_null=True, help_text="The trip as it is now; null if it is unchanged or refused."
    )
    clashes = ClashAnswer(
        many=True, help_text="Kits that are also reserved for another trip on the same days."
    )
    released = serializers.ListField(
        child=serializers.CharField(),
        help_text="Kits that are available again because the trip was cancelled.",
    )
    due_changed = serializers.ListField(
        child=serializers.CharField(),
        help_text="Kits out on the trip whose return time was moved with the trip's.",
    )
    no_longer_fit = KitsOfTrip(
        help_text="Kits of the trip that were fit for it before this change and are not now."
    )
    no_longer_served = answers.ReasonAnswer(
        many=True, help_text="What its kits together covered before this change and do not now."
    )


class TripBatchAnswer(answers.Answer):
    results = TripResultAnswer(many=True, help_text="One for each trip, in the order sent.")


class PutTrips(UseCaseView):
    use_case = "edit_trip"
    body = TripBatchBody
    answers = {200: TripBatchAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Create or replace up to 1,000 trips of one source, each with its own result; trips that
        are not in it stay as they are. To change many trips, this is faster than one PUT each.
        A kit that two of these trips change is judged once all of them are as sent."""
        named = Named(act.actor)
        done = trip_batches.put_all(
            act, data["source"], [_wanted(named, row) for row in data["trips"]]
        )
        changed = [
            each.change.trip
            for each in done
            if each.change is not None and each.change.outcome != "unchanged"
        ]
        judged = {row.trip.pk: row for row in trip_readiness.judge_trips(changed)}
        return 200, {"results": [_shown(each, judged) for each in done]}


def _wanted(named: Named, row: dict[str, Any]) -> WantedTrip:
    reference = row.pop("reference")
    if "problem" in row:
        return WantedTrip(reference, row["problem"])
    try:
        return WantedTrip(reference, named.facts_from(row))
    except Problem as problem:
        return WantedTrip(reference, problem)


def _shown(each: TripResult, judged: dict[int, trip_readiness.JudgedTrip]) -> dict[str, Any]:
    change = each.change
    return {
        "reference": each.reference,
        "told": change.outcome if change else "refused",
        "problem": each.problem,
        "trip": judged.get(change.trip.pk) if change else None,
        "clashes": change.clashes if change else (),
        "released": change.released if change else (),
        "due_changed": change.due_changed if change else (),
        "no_longer_fit": change.no_longer_fit if change else (),
        "no_longer_served": change.lacking if change else (),
    }
