"""The weekly email: what a responsible instructor must do this week, soonest departure first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gearroom.core import clock
from gearroom.core.models import Person
from kits.models import Checkout, Kit, RecallPlace, Trip
from kits.rules.facts import Verdict
from kits.services import find, fitness, turnaround, wording

LOOKS_AHEAD_DAYS = 7
"""How far the week reaches."""


@dataclass(frozen=True)
class Departing:
    """A kit that goes out this week and how it stands through its trip."""

    kit: Kit
    trip: Trip
    verdict: Verdict
    texts: Sequence[str]


@dataclass(frozen=True)
class Weekly:
    """All that one person's email says, worked out for one day."""

    person: Person
    day: date
    judged: int
    departing: Sequence[Departing] = ()
    recalled: Sequence[RecallPlace] = ()
    to_open: Sequence[tuple[Kit, Sequence[str]]] = ()
    not_back: Sequence[Checkout] = ()
    zone: str = "UTC"
    lines: Sequence[str] = field(default_factory=tuple)

    @property
    def not_fit(self) -> list[Departing]:
        """The departures whose kit is not fit, soonest first."""
        return [d for d in self.departing if not d.verdict.fit]


def kits_of(person: Person) -> Iterable[Kit]:
    """The kits that somebody answers for or stands in for, less those put away or retired."""
    return (
        Kit.objects.filter(
            Q(responsible=person) | Q(deputy=person),
            laid_up_since__isnull=True,
            retired_on__isnull=True,
        )
        .select_related("home_room", "room", "list_version", "responsible", "deputy")
        .order_by("name")
    )


def readers() -> Iterable[Person]:
    """Everybody whom a weekly email concerns, with an address to send it to."""
    return (
        Person.objects.filter(
            Q(responsible_for__isnull=False) | Q(deputy_for__isnull=False), left_on__isnull=True
        )
        .exclude(email="")
        .select_related("home_room")
        .distinct()
        .order_by("pk")
    )


def compose(person: Person, at: datetime) -> Weekly:
    """Work out one person's email as of an instant."""
    kits = list(kits_of(person))
    zone = person.home_room.time_zone if person.home_room else "UTC"
    today = clock.local_date(at, zone)
    ends = today + timedelta(days=LOOKS_AHEAD_DAYS)
    departing, to_open = [], []
    for kit in kits:
        trip = find.next_promise(kit, today)
        goes = trip if trip is not None and trip.first_day <= ends else None
        through = goes.last_day if goes else ends
        verdict = fitness.verdict(kit, through, goes)
        texts = _texts(kit, verdict, through)
        if goes is not None:
            departing.append(Departing(kit, goes, verdict, texts))
        elif not verdict.fit:
            to_open.append((kit, texts))
    return Weekly(
        person=person,
        day=today,
        judged=len(kits),
        departing=sorted(departing, key=lambda d: d.trip.departs_at),
        recalled=list(
            RecallPlace.objects.filter(
                recall__closed__isnull=True, answered__isnull=True, place__kit__in=kits
            ).select_related("recall__item", "place__kit", "person")
        ),
        to_open=to_open,
        not_back=list(
            Checkout.objects.filter(kit__in=kits, in_at__isnull=True, due_at__lt=at)
            .select_related("kit", "person")
            .order_by("due_at")
        ),
        zone=zone,
    )


def _texts(kit: Kit, verdict: Verdict, through: date) -> list[str]:
    """What is wrong with a kit and what settles it, a sentence each; notes left out."""
    wrong = [reason for reason in verdict.reasons if reason.weight > 1]
    if not wrong:
        return []
    swaps = turnaround.swaps(turnaround.restock_list(kit, through=through))
    return [wording.reason(reason, swaps)["text"] for reason in wrong]


def subject(week: Weekly) -> str:
    """The subject line: how many kits are not fit for this week's trips."""
    count = len(week.not_fit)
    if count:
        return ngettext(
            "%(count)d kit is not fit for this week's trips",
            "%(count)d kits are not fit for this week's trips",
            count,
        ) % {"count": count}
    if week.recalled:
        return _("A recall waits for your answer")
    return _("Kits are ready for this week's trips")


def text(week: Weekly) -> str:
    """The plain text, paragraphs in the order of what matters first."""
    parts = list(_parts(week))
    if not parts:
        last = wording.day(week.day + timedelta(days=LOOKS_AHEAD_DAYS))
        parts = [
            _("%(count)d kits judged through %(day)s; nothing to do.")
            % {"count": week.judged, "day": last}
        ]
    return "\n\n".join([*parts, *_footer()]) + "\n"


def _parts(week: Weekly) -> Iterator[str]:
    for row in week.recalled:
        kit = row.place.kit
        assert kit is not None  # asked for places of kits
        yield _("RECALL: %(thing)s, batch %(number)s: %(kit)s holds it (%(sure)s). %(link)s") % {
            "thing": row.recall.item.name,
            "number": row.recall.number or _("not known"),
            "kit": kit.name,
            "sure": row.get_certainty_display(),
            "link": _link(kit),
        }
    for going in week.not_fit:
        yield _goes(going, week.zone)
    if week.to_open:
        yield _("Kits to open:") + "".join(
            f"\n- {kit.name}: {' '.join(texts)} {_link(kit)}" for kit, texts in week.to_open
        )
    if week.not_back:
        yield _("Not back:") + "".join(
            f"\n- {held.kit.name}: {held.person.name if held.person else '?'} "
            f"{held.person.phone if held.person else ''}, {_when(held.due_at, week.zone)}"
            for held in week.not_back
        )
    fit = [d for d in week.departing if d.verdict.fit]
    if fit and week.not_fit:
        yield _("Fit and going:") + "".join(
            f"\n- {d.kit.name}: {d.trip.name}, {_when(d.trip.departs_at, week.zone)}" for d in fit
        )


def _goes(going: Departing, zone: str) -> str:
    trip = going.trip
    leader = trip.leader.name if trip.leader else trip.leader_name or _("no leader named")
    head = _("%(when)s: %(kit)s for %(trip)s, %(leader)s, %(people)d people") % {
        "when": _when(trip.departs_at, zone),
        "kit": going.kit.name,
        "trip": trip.name,
        "leader": leader,
        "people": trip.people,
    }
    return head + "".join(f"\n- {line}" for line in going.texts) + f"\n{_link(going.kit)}"


def _when(instant: datetime, zone: str) -> str:
    local = instant.astimezone(ZoneInfo(zone))
    return f"{local:%a} {wording.day(local.date())}, {local:%H:%M}"


def _link(kit: Kit) -> str:
    return f"{settings.PUBLIC_URL}/kits/{kit.name}/" if settings.PUBLIC_URL else ""


def _footer() -> Iterator[str]:
    yield _(
        "This keeps stock and does arithmetic; it is not medical advice. Look at every pack "
        "before use."
    )
