"""What an inspector asks of a kit: its record as of a day, how it stood by the same rule that
judges it at the hatch, and what happened to it before. All of it is as known at one time, so that a
pack made again with the same `known_by` says the same."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Min, Prefetch, Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Actor, Invalid
from kits.models import Entry, EntryKind, InstrumentCheck, Kit, Recall, RecallPlace
from kits.rules.ledger import KitState, Verdict, judge
from kits.rules.ledger.expiry import undated_grace_until
from kits.rules.ledger.facts import Units
from kits.services.kits import history
from kits.services.kits.record import Record, record
from kits.services.ledger import kit_state, known_then, readiness
from kits.services.ledger.known_then import Then
from kits.services.lists import not_carried
from kits.services.lists.not_carried import NotCarriedDraft
from kits.services.lookup import find

DAYS = 365
"""How far back the acts go, unless somebody asks for more or less."""
_CUSTODY = (EntryKind.CHECK_OUT, EntryKind.CHECK_IN, EntryKind.PASS, EntryKind.EMERGENCY)


@dataclass(frozen=True)
class Act:
    """One act; `undone` by an act that was known."""

    entry: Entry
    undone: Entry | None


@dataclass(frozen=True)
class Inspection:
    """A kit for an inspector, as of the end of a day. `verdict` is how it stood for that day. The
    acts are those from `since` on: who had it (`custody`), `seals`, looks inside with counts and
    checks of instruments (`looks`), and what broke a rule, undid something or was undone
    (`irregular`). `recalls` are all that ever concerned it."""

    kit: Kit
    record: Record
    verdict: Verdict
    since: date
    custody: Sequence[Act]
    seals: Sequence[Act]
    looks: Sequence[Act]
    irregular: Sequence[Act]
    recalls: Sequence[Recall]
    not_carried: Sequence[NotCarriedDraft]


def inspection(
    actor: Actor,
    kit: Kit,
    *,
    on: date | None = None,
    known_by: datetime | None = None,
    since: date | None = None,
) -> Inspection:
    """A kit as of the end of a day (without one: now), for whoever may see its past.

    Raises NotAllowed; Invalid for a time that is still to come, or a `since` after the day.
    """
    history.refuse_unless_known(actor, kit)
    actor.require("read_history", kit.home_room_id)
    if on is not None and on > readiness.today_of(kit):
        raise Invalid(_("That day is in the future. Choose today or an earlier day."), field="on")
    known = record(kit, on=on, known_by=known_by)
    first = known.day - timedelta(days=DAYS) if since is None else since
    if first > known.day:
        raise Invalid(_("The last day is before the first day."), field="since")
    then = Then(known.inside.on, known.inside.known_by)
    acts = _acts(actor, kit, first, then)
    return Inspection(
        kit=kit,
        record=known,
        verdict=judge(_state(kit, known, then), known.day, known.day),
        since=first,
        custody=[act for act in acts if act.entry.kind in _CUSTODY],
        seals=[act for act in acts if act.entry.seal_facts.all()],
        looks=[
            act
            for act in acts
            if act.entry.kind == EntryKind.COUNT
            or act.entry.detail.get("looked_inside")
            or act.entry.checks.all()
        ],
        irregular=[
            act
            for act in acts
            if act.entry.irregular or act.undone or act.entry.kind == EntryKind.REVERSE
        ],
        recalls=_recalls(kit, then),
        not_carried=not_carried.of(known.version),
    )


def _acts(actor: Actor, kit: Kit, since: date, then: Then) -> list[Act]:
    """What happened to a kit from a day on, oldest first."""
    begin = clock.end_of_day(since - timedelta(days=1), kit.home_room.time_zone)
    entries = (
        find.entries_of(actor)
        .filter(kit=kit, occurred_at__gt=begin, occurred_at__lte=then.on)
        .filter(recorded_at__lte=then.known_by)
        .select_related("person", "trip", "reversed_by")
        .prefetch_related(
            "checkouts_opened__person",
            "handovers__person",
            "seal_facts__section",
            Prefetch("checks", InstrumentCheck.objects.select_related("lot__item")),
        )
        .order_by("occurred_at", "id")
    )
    acts = []
    for entry in entries:
        undone = getattr(entry, "reversed_by", None)
        is_known = undone is not None and undone.recorded_at <= then.known_by
        acts.append(Act(entry, undone if is_known else None))
    return acts


def _recalls(kit: Kit, then: Then) -> list[Recall]:
    """The recalls for which this kit was looked through, as far as they had begun; one that ended
    later has not ended."""
    places = RecallPlace.objects.filter(place__kit=kit)
    began: QuerySet[Recall] = Recall.objects.filter(
        _by(then, "entry"), pk__in=places.values("recall")
    )
    rows = list(began.select_related("item", "entry", "closed").order_by("id"))
    for each in rows:
        closed = each.closed
        if closed and (closed.occurred_at > then.on or closed.recorded_at > then.known_by):
            each.closed, each.outcome = None, ""  # shown, not saved
    known_then.restore([each.item for each in rows], then.known_by)
    return rows


def _by(then: Then, entry: str) -> Q:
    happened = {f"{entry}__occurred_at__lte": then.on, f"{entry}__recorded_at__lte": then.known_by}
    return Q(**happened)


def _state(kit: Kit, known: Record, then: Then) -> KitState:
    """The kit of then as the rules judge it."""
    zone, inside, version = kit.home_room.time_zone, known.inside, known.version
    entered = _contents_entered(kit, then)
    waits = kit_state.waiting(kit, then.on, then.known_by)
    signed_on = version.signed_on
    looked = known.looked_inside
    return KitState(
        id=kit.pk,
        name=inside.name,
        lines=readiness.lines_of([version.pk]).get(version.pk, ()),
        units=tuple(
            Units(known.batches[line.lot.pk], line.section.section_key, line.units)
            for line in inside.lines
        ),
        levels={(x.section.section_key, x.item.pk): x.level for x in inside.levels},
        serves_people=version.people,
        serves_days=version.days,
        signed_until=version.signed_until,
        signed=version.signed_by_id is not None and (not signed_on or signed_on <= known.day),
        looked_inside_on=clock.local_date(looked.occurred_at, zone) if looked else None,
        look_interval_days=known_then.of_kit(kit, then)["look_interval_days"],
        training=kit.training,
        laid_up=kit_state.laid_up_since(kit, then.on, then.known_by) is not None,
        lost=waits.lost_since is not None,
        waiting_to_be_sorted=waits.to_sort_since is not None,
        withheld=tuple(known.withheld),
        contents_entered=entered is not None,
        expired_always_stops=kit.home_room.expired_always_stops,
        undated_grace_until=undated_grace_until(clock.local_date(entered, zone))
        if entered
        else None,
    )


def _contents_entered(kit: Kit, then: Then) -> datetime | None:
    """When it was first recorded what is in the kit, as it was known; see `readiness`."""
    counted = Q(kit=kit, kind__in=[EntryKind.BUILD, EntryKind.COUNT])
    filled = Q(movements__to_place__kit=kit) & ~Q(kind__in=[EntryKind.USE, EntryKind.REVERSE])
    acts = Entry.objects.filter(counted | filled, recorded_at__lte=then.known_by)
    acts = acts.filter(occurred_at__lte=then.on).exclude(
        reversed_by__recorded_at__lte=then.known_by
    )
    first: datetime | None = acts.aggregate(first=Min("recorded_at"))["first"]
    return first
