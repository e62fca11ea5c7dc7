"""Batches on shelves and in kits that the weekly email has something to say of: out of date or soon
so, without a date, wanting their check. The rules decide which; only those are looked for in
places, so that what is loaded grows with the batches, not with the kits."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from gearroom.core.rules.grouping import grouped
from kits.models import Holding, Lot, Place, PlaceKind
from kits.rules.ledger import Batch, ReasonCode, check_fault, date_known, good_through
from kits.rules.mail import digest as rule
from kits.services.ledger import readiness
from kits.services.mail.digest.digest_week import BatchInPlace, Week
from kits.services.stock.order_levels.stock_levels import Stockroom


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


def load_batches(weeks: dict[int, Week], stock: Stockroom) -> None:
    """Add to each email what is to be said of batches in its kits and on its shelves."""
    kit_ids = {k.pk for week in weeks.values() for k in week.own if k.lost_since is None}
    sections = {
        p.pk: p for p in Place.objects.sections().filter(kit__in=kit_ids).select_related("kit")
    }
    wanted = {r.pk for w in weeks.values() for r in w.rooms}
    shelves = {pk: p for pk, p in stock.shelves.items() if p.room_id in wanted}
    places: dict[int, Place] = {**sections, **shelves}
    windows = {week.person.pk: DigestWindow(week.today, week.horizon) for week in weeks.values()}
    owners = grouped(
        (owner, week)
        for week in weeks.values()
        for owner in (*((True, kit.pk) for kit in week.own), *((False, r.pk) for r in week.rooms))
    )
    for holding, place, batch in batches_in(places, set(windows.values())):
        row = BatchInPlace(holding.lot, place, holding.units)
        for week in owners[place.kit_id is not None, place.kit_id or place.room_id or 0]:
            _add_batch(week, windows[week.person.pk], batch, row)


def _add_batch(week: Week, window: DigestWindow, batch: Batch, row: BatchInPlace) -> None:
    """Add what an email says of units of a batch in a place."""
    if not date_known(batch):
        week.undated.append(row)
    if fault := window.wants_check(batch):
        week.checks.append(replace(row, day=batch.check_due, fault=fault))
    day = good_through(batch) or date.max
    if day < week.today and row.place.kind == PlaceKind.SHELF:
        week.off_shelves.append(replace(row, day=day))
    elif week.horizon < day <= window.until:
        week.ending.append(replace(row, day=day))
