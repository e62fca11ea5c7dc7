"""A kit that is sold or given away with all that is in it: one act, which an undo takes back."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Refused, store
from kits.models import Entry, EntryKind, Kit, Trip
from kits.services.leaving import terms as leaving
from kits.services.leaving.terms import Terms
from kits.services.ledger import Leg, kit_book, outer, readiness
from kits.services.lookup import promises
from kits.services.lookup.holders import refuse_if_out
from kits.services.restocking import emptying, sorting
from kits.services.text import wording
from kits.services.trips import reservations


@dataclass(frozen=True)
class KitLeft:
    """The entry, how many units went with the kit, and the trips that it is no longer reserved
    for."""

    entry: Entry
    units: int
    trips: Sequence[Trip]


def leave(act: Act, kit: Kit, terms: Terms, *, without: Collection[int] = ()) -> KitLeft:
    """Record that a kit was sold or given away whole. It is retired by it, and no longer reserved
    for anything; `without` are the trips (ids) that somebody confirmed it is missing from.

    Raises Invalid as `terms.check`, Refused: `kit-is-out`, `kit-retired`, `training-stock`,
    `keep-as-it-came-back`, `kit-missed` (names the trips), what `terms.check_units` raises.
    """
    with kit_book(act, kit, home="edit_kit", here="strip") as (book, kit):
        leaving.check(act, terms)
        if kit.retired_on is not None:
            raise Refused(
                "kit-retired", _("%(kit)s has already left or been retired.") % {"kit": kit.name}
            )
        refuse_if_out(kit)
        if kit.training:
            raise Refused(
                "training-stock",
                _(
                    "%(kit)s is a training kit, and nobody else should mistake it for a first "
                    "aid kit. Empty the kit, then retire it."
                )
                % {"kit": kit.name},
            )
        sorting.refuse_if_kept_as_it_came(kit)
        trips = trips_of(kit)
        _refuse_missed(kit, [trip for trip in trips if trip.pk not in without])
        contents = emptying.inside(kit)
        leaving.check_units([row.lot for row in contents], terms, readiness.today_of(kit))
        reservations.release_kit(book, kit)
        entry = book.post(
            EntryKind.LEAVE,
            [Leg(row.lot, row.place, outer(terms.way), row.units) for row in contents],
            kit=kit,
            reason=act.reason,
            detail=terms.detail,
        )
        book.break_seals(entry, list(kit.sections.open()))
        store(kit, retired_on=readiness.today_of(kit))
    return KitLeft(entry, sum(row.units for row in contents), trips)


def trips_of(kit: Kit) -> list[Trip]:
    """The trips that a kit is reserved for and that it would be missing from."""
    return [each.trip for each in promises.of_kits([kit.pk]).get(kit.pk, ())]


def _refuse_missed(kit: Kit, trips: Sequence[Trip]) -> None:
    if trips:
        raise Refused(
            "kit-missed",
            _(
                "%(kit)s is reserved for %(trips)s. Reserve another kit for these trips, or "
                "confirm that they go without it."
            )
            % {
                "kit": kit.name,
                "trips": ", ".join(
                    f"{trip.name} ({wording.day(trip.first_day)})" for trip in trips
                ),
            },
            kit=kit.name,
            trips=[trip.pk for trip in trips],
        )
