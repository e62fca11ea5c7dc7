"""Deriving everything again from the entries, and saying where the stored state differs.

`findings` yields a row for each difference; an empty answer means that the book is in balance.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Count, Model, Q, Sum

from gearroom.core.models import append_only
from gearroom.core.rules.grouping import summed
from gearroom.core.services.people import redaction
from kits.models import (
    INNER,
    Checkout,
    Entry,
    EntryKind,
    Holding,
    Kit,
    Lot,
    LotFact,
    Movement,
    Place,
    PlaceKind,
    Reservation,
    Seal,
    SealChange,
    Withholding,
)
from kits.rules.ledger import KitState
from kits.rules.ledger.readiness import first_expiry, fit_days
from kits.services.ledger import facts, kit_state, projections, readiness

KITS_AT_A_TIME = 500


@dataclass(frozen=True)
class Finding:
    """One difference: what it is about, in a sentence, with the rows' ids and both values."""

    about: str
    text: str
    facts: dict[str, Any] = field(default_factory=dict)


def findings() -> Iterator[Finding]:
    """Every difference between what is stored and what the entries add up to."""
    for table in append_only.missing():
        yield Finding("triggers", f"{table} does not have the triggers that keep it append-only.")
    for difference in redaction.differences():
        yield Finding("redacted", difference)
    yield from _holdings()
    yield from _projections()
    yield from _facts()
    yield from _lots()
    yield from _kits()


def _holdings() -> Iterator[Finding]:
    derived = summed(
        ((lot, place), sign * total)
        for sign, end in ((1, "to_place"), (-1, "from_place"))
        for lot, place, total in Movement.objects.filter(**{f"{end}__kind__in": INNER})
        .values_list("lot", end)
        .annotate(total=Sum("units"))
        .order_by()
    )
    for holding in Holding.objects.select_related("place").iterator():
        where = (holding.lot_id, holding.place_id)
        expected = derived.pop(where, 0)
        if not holding.place.inner:
            yield Finding("holding", f"{holding.place} is outside the gear rooms but holds units.")
        if holding.units != expected:
            yield Finding(
                "holding",
                f"Batch {where[0]} in place {where[1]}: {holding.units} stored, {expected} by the "
                "movements.",
                {"stored": holding.units, "derived": expected},
            )
    yield from (
        Finding(
            "holding",
            f"Batch {lot} in place {place}: nothing stored, {units} by the movements.",
            {"stored": 0, "derived": units},
        )
        for (lot, place), units in derived.items()
        if units
    )


def _projections() -> Iterator[Finding]:
    """Rows that are not what the facts say."""
    kits = Kit.objects.order_by("pk")
    for about, table, rows in (
        ("seal", Seal, projections.seals),
        ("checkout", Checkout, projections.checkouts),
        ("withheld", Withholding, projections.withholdings),
        ("reservation", Reservation, projections.reservations),
    ):
        with_rows = kits.filter(Q(pk__in=table._default_manager.order_by().values("kit")))
        for kit in with_rows.iterator(chunk_size=KITS_AT_A_TIME):
            for row, differs in rows(kit):
                yield _differs(about, f"{kit}: {about} {row.pk}", row, differs)
    for lot in Lot.objects.filter(withholdings__isnull=False).distinct():
        for row, differs in projections.withholdings(lot):
            yield _differs("withheld", f"Batch {lot.pk}: withheld {row.pk}", row, differs)


def _differs(about: str, what: str, row: Model, differs: dict[str, Any]) -> Finding:
    stored = {name: getattr(row, name) for name in differs}
    return Finding(
        about, f"{what}: stored {stored}, by the entries {differs}.", {"stored": stored, **differs}
    )


def _facts() -> Iterator[Finding]:
    """Acts without the facts that they should have written."""
    counts = Entry.objects.filter(reversed_by__isnull=True)
    without = {
        "seal": counts.filter(kind=EntryKind.RESEAL).exclude(seal_facts__what=SealChange.ON),
        "checkout": counts.filter(
            kind__in=(EntryKind.CHECK_OUT, EntryKind.EMERGENCY, EntryKind.CHECK_IN, EntryKind.PASS),
            checkout_facts__isnull=True,
        ),
        "withheld": counts.filter(
            kind__in=(EntryKind.WITHHOLD, EntryKind.RELEASE), withheld_facts__isnull=True
        ),
    }
    for about, entries in without.items():
        yield from (
            Finding(about, f"Entry {entry.pk} ({entry.kind}) has no record of what it changed.")
            for entry in entries
            if not facts.is_history(entry)
        )
    for through, number, kit in _moved_through_a_whole_seal():
        yield Finding(
            "seal",
            f"Seal {number} on {kit} is on record as intact, but entry {through} moved "
            "something in or out.",
        )


def _moved_through_a_whole_seal() -> Iterator[tuple[int, str, Kit]]:
    for seal in Seal.objects.unbroken().select_related("kit"):
        places = (
            [seal.section_id]
            if seal.section_id
            else list(seal.kit.sections.values_list("pk", flat=True))
        )
        through = (
            Movement.objects.filter(
                Q(from_place__in=places) | Q(to_place__in=places), entry__gt=seal.put_on_id
            )
            .exclude(entry__kind=EntryKind.REVERSE)
            .exclude(entry__reversed_by__isnull=False)
            .values_list("entry", flat=True)
        )
        again = Entry.objects.filter(pk__in=through, detail__has_key="again").values("pk")
        if (first := through.exclude(entry__in=again).first()) is not None:
            yield first, seal.number, seal.kit


def _lots() -> Iterator[Finding]:
    facts_in_order = LotFact.objects.select_related("entry").order_by("id").iterator()
    latest = {fact.lot_id: fact for fact in facts_in_order}
    for lot in Lot.objects.filter(pk__in=latest).iterator():
        fact = latest[lot.pk]
        # A batch whose units were all booked over to another keeps its own row as it was.
        booked_over = str(lot.pk) in fact.entry.detail.get("booked_over", {})
        if not booked_over and (lot.number, lot.expiry) != (fact.number, fact.expiry):
            yield Finding("lot", f"Batch {lot.pk} does not match the last entry about it.")


def _kits() -> Iterator[Finding]:
    bare = Kit.objects.active().annotate(
        count=Count("sections", filter=Q(sections__kind=PlaceKind.SECTION))
    )
    for name in bare.filter(count=0).values_list("name", flat=True):
        yield Finding("kit", f"{name} has no section.")
    ids = list(Kit.objects.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), KITS_AT_A_TIME):
        judged = readiness.states(ids[start : start + KITS_AT_A_TIME])
        entered = readiness.contents_entered(judged)
        for kit in Kit.objects.filter(pk__in=judged).select_related("home_room"):
            yield from _kit(kit, judged[kit.pk], set_up=kit.pk in entered)
    closed = Place.objects.sections().filter(closed_on__isnull=False)
    for place in closed.filter(holdings__in=Holding.objects.on_hand()).distinct():
        yield Finding("kit", f"Section {place} is closed and holds units.")


def _kit(kit: Kit, state: KitState, *, set_up: bool) -> Iterable[Finding]:
    """What is stored with a kit and is not what the rule or its entries say."""
    days, by_rule = readiness.stored_days(kit), fit_days(state)
    look, waiting = (kit.looked_inside_on, kit.looked_inside_by_id), kit_state.waiting(kit)
    rows: tuple[tuple[str, object, object], ...] = (
        (
            f"ready, fit, may go and clear until {days} stored, {by_rule} by the rule.",
            days,
            by_rule,
        ),
        (
            "the first expiry is not that of what is inside.",
            kit.first_expiry,
            first_expiry(state),
        ),
        *(
            (f"{what} does not match the entries.", stored, derived)
            for what, stored, derived in (
                ("whether its contents were entered", kit.contents_entered, set_up),
                ("the last check of its contents", look, kit_state.last_look(kit)),
                ("waiting to be sorted", kit.to_sort_since, waiting.to_sort_since),
                ("when it was lost", kit.lost_since, waiting.lost_since),
                ("when it was put in storage", kit.laid_up_since, kit_state.laid_up_since(kit)),
                ("the room it is in", kit.room_id, kit_state.room_id(kit)),
            )
        ),
    )
    return (Finding("kit", f"{kit}: {text}") for text, stored, derived in rows if stored != derived)
