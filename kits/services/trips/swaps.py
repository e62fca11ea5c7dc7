"""The kit in the hand is reserved for another guide: the two change places by themselves where that
leaves every trip concerned covered, and the answer names the swap."""

from collections.abc import Iterable

from django.db import transaction

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from kits.models import Kit, Trip
from kits.rules.trips.trips import Coverage
from kits.services.trips import reservations, trip_readiness
from kits.services.trips.reservations import SwapResult


class _NotCovered(Exception):
    """Takes back a swap that leaves a trip uncovered."""


def by_itself(
    act: Act, from_kit: Kit, to_kit: Kit, trip: Trip, trips: Iterable[Trip]
) -> SwapResult | None:
    """Let `to_kit` go with `trip` in the place of `from_kit`, where both follow the same list and
    each of `trips` is covered then; else nothing is written, and the answer is None."""
    if from_kit.list_version.packing_list_id != to_kit.list_version.packing_list_id:
        return None
    try:
        with transaction.atomic():
            done = reservations.swap(act, from_kit, to_kit, trip)
            after = trip_readiness.judge_trips(trips, still_here=True)
            if any(each.coverage is not Coverage.COVERED for each in after):
                raise _NotCovered
    except (Problem, _NotCovered):
        return None
    return done
