"""How the items of a room's kits are used up: from the rates of the needs that they serve, and the
participant-days of each kit."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

from kits.models import Kit
from kits.rules.planning import demand as demands
from kits.rules.planning.demand import Rate
from kits.rules.planning.records import units_per_use
from kits.rules.rotation.spots import Use
from kits.services.lookup.promises import OpenPromise
from kits.services.planning.plans import DAYS_A_YEAR, kit_year, sizes_of_use
from kits.services.planning.records.history import PastTrip
from kits.services.planning.records.rates import Records

LOOKS_AHEAD_DAYS = 91
"""Trips within a season are known well enough to count."""
WEIGHT_OF_LIST = 0.5
"""What other kits with the list did counts for so many years of the kit's own."""


def rates_of_items(
    items: Iterable[int], known: Records
) -> dict[int, tuple[Rate, tuple[float, ...]]]:
    """The rate of each item (its id) with the chances of 0, 1, 2 … units a use: of all the needs
    that it serves and that have one. Items without are left out."""
    sizes = sizes_of_use(known)
    found = {}
    for item in sorted(set(items)):
        asks = [
            (
                rate,
                demands.units_of_use(
                    units_per_use.chances(serves.units_per_use, sizes.get(item, {}))
                ),
            )
            for need, served in known.serves.items()
            if (serves := served.get(item))
            if (rate := known.rate_in(known.needs[need], None).rate) is not None
        ]
        if asks:
            rate, units = demands.combined(asks)
            found[item] = rate, tuple(units.tolist())
    return found


def use(rates: Mapping[int, tuple[Rate, tuple[float, ...]]], item: int, days: float) -> Use | None:
    """How an item is used up where so many participant-days come a day; None without a rate."""
    if item not in rates:
        return None
    rate, units = rates[item]
    return Use(rate, units, days)


def exposures(
    kits: Sequence[Kit],
    promised: Mapping[int, Sequence[OpenPromise]],
    trips: Sequence[PastTrip],
    today: date,
) -> dict[int, float]:
    """The participant-days a day of each kit, by id: of its own last year, a little of what other
    kits with its list did, and at least what the trips of the next season bring it."""
    versions = {kit.list_version_id: kit.list_version for kit in kits}
    usual = {
        pk: 0.0 if version is None else kit_year(version, trips).days
        for pk, version in versions.items()
    }
    since = today - timedelta(days=365)
    return {
        kit.pk: max(
            (
                sum(
                    _days(trip.trip.people, trip.trip.first_day, trip.trip.last_day)
                    for trip in trips
                    if trip.kit == kit.pk and trip.trip.last_day >= since
                )
                + WEIGHT_OF_LIST * usual[kit.list_version_id]
            )
            / (1 + WEIGHT_OF_LIST)
            / DAYS_A_YEAR,
            sum(
                _days(each.trip.people, each.trip.first_day, each.trip.last_day)
                for each in promised.get(kit.pk, ())
                if (each.trip.first_day - today).days < LOOKS_AHEAD_DAYS
            )
            / DAYS_A_YEAR,
        )
        for kit in kits
    }


def _days(people: int, first: date, last: date) -> float:
    return float(people * ((last - first).days + 1))
