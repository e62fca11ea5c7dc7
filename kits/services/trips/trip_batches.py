"""Many trips of one source put together, each with its own result.

A trip that cannot be put keeps none of the others from being put. What is unchanged costs no query
of its own.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Problem, Unacceptable, beyond_form, part
from kits.models import Checkout, Kit, Reservation, Trip
from kits.services.trips import sources, trips
from kits.services.trips.trip_facts import TripFacts
from kits.services.trips.trips import TripChange

MOST_TRIPS = 1000
MOST_TIMES = 5
"""That several are tried while others put the same new trips at the same moment."""


@dataclass(frozen=True)
class WantedTrip:
    """A trip as its source wants it under its reference, or what is wrong with what it says."""

    reference: str
    facts: TripFacts | Problem


@dataclass(frozen=True)
class TripResult:
    """What came of one trip of several: what putting it did, or why it was refused."""

    reference: str
    change: TripChange | None = None
    problem: Problem | None = None


@dataclass(frozen=True)
class _Checked:
    reference: str
    columns: dict[str, Any]
    cancelled: bool


def put_all(
    act: Act, source: str, wanted: Sequence[WantedTrip], *, by_calendar: bool = False
) -> list[TripResult]:
    """Put several trips of a source; their results, in the order given. A reference that is there
    twice is refused each time, since nothing says which is right.

    Raises Invalid (`source`).
    """
    sources.refuse_name(source)
    results = _checked(act, wanted)
    for _time in range(MOST_TIMES - 1):
        try:
            return _put_all(act, source, results, by_calendar)
        except IntegrityError:
            continue  # somebody else put one of the new trips a moment ago: this is a change of it
    return _put_all(act, source, results, by_calendar)


def _put_all(
    act: Act, source: str, results: Sequence[TripResult | _Checked], by_calendar: bool
) -> list[TripResult]:
    with transaction.atomic():
        results = _unchanged(act, source, results)
        _lock(source, [each for each in results if isinstance(each, _Checked)])
        return [
            _put(act, source, each, by_calendar) if isinstance(each, _Checked) else each
            for each in results
        ]


def _checked(act: Act, wanted: Sequence[WantedTrip]) -> list[TripResult | _Checked]:
    """What can be put, as far as can be known of it alone, and what is refused."""
    times = Counter(each.reference for each in wanted)
    results: list[TripResult | _Checked] = []
    for each in wanted:
        try:
            if times[each.reference] > 1:
                raise Unacceptable(
                    "trip-more-than-once",
                    _("%(reference)s is in this request more than once. Send each trip once.")
                    % {"reference": each.reference},
                )
            if isinstance(each.facts, Problem):
                raise each.facts
            columns = trips.checked(act, each.reference, each.facts)
        except Problem as problem:
            results.append(_refused(each.reference, problem))
        else:
            results.append(_Checked(each.reference, columns, each.facts.cancelled))
    return results


def _unchanged(
    act: Act, source: str, results: Sequence[TripResult | _Checked]
) -> list[TripResult | _Checked]:
    """The same, with the result of those that are as their source wants them already."""
    references = [each.reference for each in results if isinstance(each, _Checked)]
    rows = Trip.objects.filter(source=source, reference__in=references)
    there = {row.reference: row for row in rows.select_related("room", "leader", "activity")}
    return [
        TripResult(each.reference, TripChange(trip, "unchanged"))
        if isinstance(each, _Checked)
        and (trip := there.get(each.reference)) is not None
        and (trip.room_id is None or act.actor.belongs_to(trip.room_id))
        and act.actor.may("edit_trip", trip.room_id)
        and trips.is_unchanged(trip, each.columns, each.cancelled)
        else each
        for each in results
    ]


def _lock(source: str, changing: Sequence[_Checked]) -> None:
    """Lock all kits that the changes may concern, then the trips: one by one they would be locked
    in another order than everywhere else."""
    references = [each.reference for each in changing]
    out = Checkout.objects.open().filter(trip__source=source, trip__reference__in=references)
    promised = Reservation.objects.promised().filter(
        trip__source=source,
        trip__reference__in=[each.reference for each in changing if each.cancelled],
    )
    kits = {*out.values_list("kit", flat=True), *promised.values_list("kit", flat=True)}
    list(
        Kit.objects.select_for_update(of=("self",))
        .filter(pk__in=kits)
        .order_by("pk")
        .values_list("pk", flat=True)
    )
    list(
        Trip.objects.select_for_update(of=("self",), no_key=True)
        .filter(source=source, reference__in=references)
        .order_by("pk")
        .values_list("pk", flat=True)
    )


def _put(act: Act, source: str, each: _Checked, by_calendar: bool) -> TripResult:
    try:
        change = trips.put_checked(
            part(act, source, each.reference),
            source,
            each.reference,
            each.columns,
            each.cancelled,
            by_calendar=by_calendar,
        )
    except Problem as problem:
        return _refused(each.reference, problem)
    return TripResult(each.reference, change)


def _refused(reference: str, problem: Problem) -> TripResult:
    return TripResult(reference, problem=beyond_form(problem))
