"""Ready? Loads kits as the rules judge them, and stores with each until when it is."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import fields, replace
from datetime import date, datetime
from itertools import chain

from django.db import transaction
from django.db.models import F, Max, Min

from gearroom.core import clock
from gearroom.core.rules.grouping import grouped
from kits.models import (
    Checkout,
    Entry,
    EntryKind,
    Holding,
    InstrumentCheck,
    Item,
    Kit,
    LevelFact,
    ListLine,
    Lot,
    Movement,
    Place,
    Reservation,
    Substitute,
    Trip,
    Withholding,
)
from kits.rules.ledger.expiry import date_known, must_be_dated, undated_grace_until
from kits.rules.ledger.facts import (
    Batch,
    Criticality,
    Kind,
    KitState,
    Level,
    Line,
    LivesIn,
    Thing,
    TripNeeds,
    Units,
    Verdict,
)
from kits.rules.ledger.kit_contents import with_companions
from kits.rules.ledger.readiness import EDITION, FitDays, first_expiry, fit_days, judge
from kits.services.ledger import hazards_covered, swaps


def thing_of(item: Item) -> Thing:
    """An item as the rules see it."""
    return Thing(
        id=item.pk,
        name=item.name,
        kind=Kind(item.kind),
        needs_date=item.needs_date,
        sterile=item.sterile,
        by_eye=item.by_eye,
        latex=item.latex,
        child=item.child,
        min_temp_c=item.min_temp_c,
        max_temp_c=item.max_temp_c,
        keep_dry=item.keep_dry,
        opened_life_days=item.opened_life_days,
        check_question=item.check_question,
        goes_with=item.goes_with_id,
        for_class=item.for_class,
    )


def batches(lots: Iterable[Lot]) -> dict[int, Batch]:
    """Lots as the rules see them, by id, with their latest checks and whether they are kept back.

    The lots must come with their items.
    """
    lots = list(lots)
    instruments = [lot.pk for lot in lots if lot.item.kind == Kind.INSTRUMENT]
    checks = _latest_checks(instruments) if instruments else {}
    open_ones = Withholding.objects.open().filter(lot__in=[lot.pk for lot in lots])
    kept_back = set(open_ones.order_by().values_list("lot_id", flat=True))
    things = {lot.item_id: thing_of(lot.item) for lot in lots}
    return {
        lot.pk: as_batch(lot, things[lot.item_id], checks.get(lot.pk), on_hold=lot.pk in kept_back)
        for lot in lots
    }


def _latest_checks(lots: Collection[int]) -> dict[int, InstrumentCheck]:
    newest = (
        InstrumentCheck.objects.filter(lot__in=lots, entry__reversed_by__isnull=True)
        .order_by()
        .values("lot")
        .annotate(newest=Max("id"))
        .values("newest")
    )
    return {c.lot_id: c for c in InstrumentCheck.objects.filter(pk__in=newest).order_by()}


def as_batch(lot: Lot, thing: Thing, check: InstrumentCheck | None, *, on_hold: bool) -> Batch:
    """A lot as the rules see it, with its latest check if it is an instrument."""
    return Batch(
        id=lot.pk,
        thing=thing,
        number=lot.number or lot.serial,
        expiry=lot.expiry,
        opened_on=lot.opened_on,
        recalled=lot.recall_id is not None,
        withheld=on_hold,
        check_due=check.due_on if check else None,
        check_passed=check.passed if check else None,
    )


def units_in(places: Iterable[int]) -> dict[int, list[tuple[Batch, int]]]:
    """What inner places hold, by place id, in the order given: batches with counts, soonest expiry
    first and those without a date before them."""
    places = list(places)
    rows = list(
        Holding.objects.on_hand()
        .filter(place__in=places)
        .order_by()
        .values_list("place_id", "lot_id", "units")
    )
    # Each batch and thing once: many kits hold the same few hundred.
    lots = Lot.objects.select_related("item").filter(pk__in={lot for _, lot, _ in rows}).order_by()
    known = batches(lots) if rows else {}
    held = grouped((place, (known[lot], units)) for place, lot, units in rows)
    return {place: sorted(held[place], key=_soonest_first) for place in places if place in held}


def _soonest_first(held: tuple[Batch, int]) -> tuple[date, int, str, int]:
    batch = held[0]
    return batch.expiry or date.min, batch.thing.id, batch.number, batch.id


def lines_of(version_ids: Iterable[int]) -> dict[int, tuple[Line, ...]]:
    """The lines of kit list versions, by version id."""
    rows = list(
        ListLine.objects.filter(section__version__in=list(version_ids))
        .select_related("item", "section")
        .order_by()
    )
    rows.sort(key=lambda row: (row.section.position, row.section_id, row.position, row.pk))
    things = {row.item_id: thing_of(row.item) for row in rows}
    instead = grouped(
        Substitute.objects.filter(item__in=things).values_list("item_id", "instead_id")
    )
    replaced = swaps.of_versions({row.section.version_id for row in rows})
    lines = grouped(
        (
            row.section.version_id,
            Line(
                id=row.pk,
                section=row.section.key,
                thing=things[row.item_id],
                carry=row.carry,
                never_below=row.never_below,
                criticality=Criticality(row.criticality),
                instead=frozenset((*instead[row.item_id], *(old.id for old in replaces))),
                replaces=replaces,
            ),
        )
        for row in rows
        for replaces in (replaced.get(row.section.version_id, {}).get(row.item_id, ()),)
    )
    return {version: with_companions(rows) for version, rows in lines.items()}


def states(kit_ids: Iterable[int]) -> dict[int, KitState]:
    """Kits as the rules judge them, by id; the number of queries does not grow with the kits."""
    kits = list(
        Kit.objects.filter(pk__in=list(kit_ids))
        .order_by()
        .select_related("list_version", "home_room", "location")
        .defer("list_version__signed_page")
    )
    if not kits:
        return {}
    sections = _sections_of(kits)
    keys = {pk: key for rows in sections.values() for pk, key in rows}
    withheld = grouped(
        Withholding.objects.open().filter(kit__in=kits).order_by("id").values_list("kit", "kind")
    )
    served = hazards_covered.served({k.list_version_id: k.list_version for k in kits}.values())
    held = units_in(keys)
    lines = lines_of({kit.list_version_id for kit in kits})
    levels = grouped(
        (fact.section_id, (fact.item_id, Level(fact.level)))
        for fact in LevelFact.objects.newest_in(keys).order_by()
    )
    undated = {
        place
        for place, rows in held.items()
        if any(must_be_dated(batch) and not date_known(batch) for batch, _ in rows)
    }
    graces = _graces(kit for kit in kits if any(pk in undated for pk, _ in sections[kit.pk]))
    sections_away = Checkout.objects.open().filter(section__in=keys).order_by()
    away = set(sections_away.values_list("section_id", flat=True))
    return {
        kit.pk: KitState(
            id=kit.pk,
            name=kit.name,
            lines=lines.get(kit.list_version_id, ()),
            units=tuple(
                Units(batch, key, count)
                for pk, key in sections[kit.pk]
                for batch, count in held.get(pk, ())
            ),
            levels={
                (key, item): level for pk, key in sections[kit.pk] for item, level in levels[pk]
            },
            away=frozenset(key for pk, key in sections[kit.pk] if pk in away),
            lives_in=LivesIn(kit.lives_in),
            weather=kit.location.weather if kit.location else None,
            serves_people=kit.list_version.people,
            serves_days=kit.list_version.days,
            hazards=served.get(kit.list_version_id, hazards_covered.NOTHING_SERVED).hazards,
            gaps=served.get(kit.list_version_id, hazards_covered.NOTHING_SERVED).gaps,
            signed_until=kit.list_version.signed_until,
            signed=kit.list_version.signed_by_id is not None,
            looked_inside_on=kit.looked_inside_on,
            look_interval_days=kit.look_interval_days,
            training=kit.training,
            laid_up=kit.laid_up_since is not None,
            lost=kit.lost_since is not None,
            waiting_to_be_sorted=kit.to_sort_since is not None,
            withheld=tuple(withheld[kit.pk]),
            contents_entered=kit.contents_entered,
            expired_always_stops=kit.home_room.expired_always_stops,
            undated_grace_until=graces.get(kit.pk),
        )
        for kit in kits
    }


def _sections_of(kits: Collection[Kit]) -> Mapping[int, list[tuple[int, str]]]:
    """The sections of each kit, in order: place and key."""
    rows = Place.objects.filter(kit__in=kits).order_by()
    ordered = sorted(rows.values_list("kit_id", "position", "name", "pk", "section_key"))
    return grouped((kit, (pk, key)) for kit, _, _, pk, key in ordered)


def _graces(kits: Iterable[Kit]) -> dict[int, date]:
    """Until when each of these kits may hold sterile things without a date: through the day after
    its contents were entered."""
    at_home = {kit.pk: kit.home_room.time_zone for kit in kits}
    entered = contents_entered(at_home) if at_home else {}
    return {
        pk: undated_grace_until(clock.local_date(at, at_home[pk])) for pk, at in entered.items()
    }


def needs_of(trip: Trip) -> TripNeeds:
    """A trip as the rules see it."""
    return TripNeeds(
        people=trip.people,
        first_day=trip.first_day,
        last_day=trip.last_day,
        hazards=frozenset(trip.hazards),
        children=trip.children,
        latex_free=trip.latex_free,
    )


def today_of(kit: Kit) -> date:
    """Today where the kit is at home."""
    return clock.today(kit.home_room.time_zone)


def for_trip(kit: Kit, state: KitState, trip: Trip) -> Verdict:
    """How a kit stands by itself through the last day of a trip."""
    today = today_of(kit)
    return judge(state, max(trip.last_day, today), today)


def kits_of_trips(trip_ids: Collection[int]) -> dict[int, set[int]]:
    """The ids of the kits that go with each trip: reserved for it, or out on it now."""
    promised = Reservation.objects.promised().filter(trip__in=trip_ids)
    out = Checkout.objects.open().of_whole_kits().filter(trip__in=trip_ids)
    pairs = (rows.values_list("trip_id", "kit_id") for rows in (promised, out))
    together = grouped(chain(*pairs))
    return {pk: set(together[pk]) for pk in trip_ids}


def rewrite(kit_ids: Iterable[int], *, undoing: bool = False) -> None:
    """Store again how long each of these kits is ready, fit and may go, and count the change.
    `undoing`: acts were reversed, so that what was entered may not be any more."""
    judged = states(kit_ids)
    unknown = [pk for pk, kit in judged.items() if undoing or not kit.contents_entered]
    entered = contents_entered(unknown) if unknown else {}
    judged |= {pk: replace(judged[pk], contents_entered=pk in entered) for pk in unknown}
    rows = [
        Kit(
            pk=pk,
            first_expiry=first_expiry(kit),
            contents_entered=kit.contents_entered,
            judged_by=EDITION,
            revision=F("revision") + 1,
            **vars(fit_days(kit)),
        )
        for pk, kit in judged.items()
    ]
    Kit.objects.bulk_update(rows, STORED)


STORED = (
    *(field.name for field in fields(FitDays)),
    "first_expiry",
    "contents_entered",
    "judged_by",
    "revision",
)


def contents_entered(kit_ids: Collection[int]) -> dict[int, datetime]:
    """When it was first recorded what is in these kits, by an act that was not undone: built,
    counted, or something put in. Use alone does not tell what was there; kits without such an act
    are left out."""
    counted = Entry.objects.filter(
        reversed_by__isnull=True, kit__in=kit_ids, kind__in=[EntryKind.BUILD, EntryKind.COUNT]
    )
    filled = Movement.objects.filter(
        to_place__kit__in=kit_ids, entry__reversed_by__isnull=True
    ).exclude(entry__kind__in=[EntryKind.USE, EntryKind.REVERSE])
    first: Iterable[tuple[int, datetime]] = chain(
        counted.order_by().values_list("kit").annotate(first=Min("recorded_at")),
        filled.order_by().values_list("to_place__kit").annotate(first=Min("entry__recorded_at")),
    )
    return {pk: min(times) for pk, times in grouped(first).items()}


def days_now(kit: Kit) -> FitDays:
    """Until when a kit is ready, fit and may go, as of today: None for not now, date.max for no
    limit."""
    return stored_days(kit).on(today_of(kit))


def stored_days(kit: Kit) -> FitDays:
    """The days that are stored with a kit."""
    return FitDays(kit.ready_until, kit.fit_until, kit.may_go_until, kit.clear_until)


def judge_again(**_signal: object) -> None:
    """Store again what other rules than today's judged; connected to post_migrate."""
    ids = list(Kit.objects.exclude(judged_by=EDITION).order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), AT_A_TIME):
        with transaction.atomic():
            rewrite(ids[start : start + AT_A_TIME])


AT_A_TIME = 500
