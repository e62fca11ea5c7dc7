"""Batches on shelves and in kits that the weekly email has something to say of: out of date or soon
so, without a date, wanting their check. The rules decide which; only those are looked for in
places, so that what is loaded grows with the batches, not with the kits."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from kits.models import Holding, Lot, Place
from kits.rules.ledger import Batch, ReasonCode, check_fault, date_known, good_through
from kits.rules.mail import digest as rule
from kits.services.ledger import readiness


@dataclass(frozen=True)
class BatchInPlace:
    """Units of a batch somewhere, with what is to be said of them: a last good day, or why an
    instrument wants its check and by when."""

    lot: Lot
    place: Place
    units: int
    day: date | None = None
    fault: ReasonCode | None = None


@dataclass(frozen=True)
class DigestWindow:
    """What one email looks at: what ends until `until`, and checks due by `horizon`."""

    today: date
    horizon: date

    @property
    def until(self) -> date:
        """The last day that anything may end on to be told."""
        if not rule.first_of_month(self.today):
            return self.today - timedelta(days=1)
        return self.today + timedelta(days=rule.LATER_DAYS)

    def wants_check(self, batch: Batch) -> ReasonCode | None:
        """Why an instrument wants its check by the horizon."""
        return check_fault(batch, self.horizon + timedelta(days=1))

    def mentions(self, batch: Batch) -> bool:
        """Whether anything is to be said of a batch."""
        return (
            (good_through(batch) or date.max) <= self.until
            or not date_known(batch)
            or self.wants_check(batch) is not None
        )


def batches_in(
    places: Mapping[int, Place], windows: Collection[DigestWindow]
) -> Iterable[tuple[Holding, Place, Batch]]:
    """What of the batches in these places (by id) any of these emails speaks of."""
    there = Holding.objects.on_hand().filter(place__in=places)
    lots = {
        lot.pk: lot
        for lot in Lot.objects.select_related("item").filter(
            pk__in=there.order_by().values("lot").distinct()
        )
    }
    batches = {
        pk: batch
        for pk, batch in readiness.batches(lots.values()).items()
        if any(window.mentions(batch) for window in windows)
    }
    rows = list(there.filter(lot__in=batches).order_by("place", "lot"))
    for row in rows:
        row.lot = lots[row.lot_id]
    rows.sort(key=lambda row: (good_through(batches[row.lot_id]) or date.max, row.place_id, row.pk))
    return [(row, places[row.place_id], batches[row.lot_id]) for row in rows]
