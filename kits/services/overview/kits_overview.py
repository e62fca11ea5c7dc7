"""Kits at a glance: where each is, who has it, what it is promised to, how it stands; and those
that somebody has, or that are promised to them soon.

What is shown of many kits is asked of the database in a number of queries that does not grow with
them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Person, Room
from gearroom.core.rules.grouping import grouped
from kits.models import (
    Checkout,
    Kit,
    Label,
    LabelKind,
    ListSection,
    Place,
    Reservation,
    Seal,
    Trip,
    Withholding,
)
from kits.rules.ledger import DAYS_AHEAD, FitDays
from kits.services.ledger import readiness, verdicts
from kits.services.lookup import find, promises


@dataclass(frozen=True)
class SectionOverview:
    """One open section of a kit; `on_list` False: its list has it no more, but it holds something.
    `checkout` where it is out on its own."""

    place: Place
    seal: str
    on_list: bool
    checkout: Checkout | None


def has_training_kits(room: Room) -> bool:
    """Whether a room has kits for classes."""
    return Kit.objects.filter(home_room=room, training=True, retired_on=None).exists()


@dataclass(frozen=True)
class Overview:
    """A kit as it stands: its verdict with the question that it answers (`judged`), and until when
    it is ready, fit and may go (`days`), as of today where it is at home: None for not now,
    `date.max` for no limit. `phones` says whether the asker may see phones, `knows` whether
    they may see the people of its home (`find.knows_kit`)."""

    kit: Kit
    sections: Sequence[SectionOverview]
    seal: str
    checkout: Checkout | None
    reserved: Reservation | None
    withheld: Sequence[Withholding]
    labels: Sequence[str]
    judged: verdicts.Judged
    days: FitDays
    phones: bool
    knows: bool

    @property
    def responsible(self) -> Person | None:
        """Who answers for it, to whoever may see that."""
        return self.kit.responsible if self.knows else None

    @property
    def deputy(self) -> Person | None:
        """Who stands in for them, to whoever may see that."""
        return self.kit.deputy if self.knows else None

    @property
    def looked_by(self) -> Person | None:
        """Who looked inside last, to whoever may see that."""
        return self.kit.looked_inside_by if self.knows else None

    @property
    def guide(self) -> Person | None:
        """Who takes it next, to whoever may see that."""
        if self.reserved is None or not self.knows:
            return None
        return self.reserved.person or self.reserved.trip.leader


def listed(
    actor: Actor,
    *,
    room: Room | None = None,
    fit_through: date | None = None,
    out: bool | None = None,
    reserved: bool | None = None,
    training: bool | None = None,
    retired: bool = False,
    packing_list: int | None = None,
    search: str = "",
) -> QuerySet[Kit]:
    """The kits that somebody may see: at home or now in a room, fit through a day as of today,
    out or in, promised to a trip that is not over or not, for training or not."""
    kits = find.kits_of(actor).select_related(
        "list_version__signed_by", "responsible", "deputy", "looked_inside_by"
    )
    kits = kits.defer("list_version__signed_page")
    kits = kits.filter(retired_on__isnull=not retired)
    if search:
        short = find.names_short_for(actor, search)
        kits = kits.filter(Q(name__icontains=search) | Q(name__in=short))
    if room is not None:
        kits = kits.filter(Q(room=room) | Q(home_room=room))
    exact = {"list_version__packing_list": packing_list, "training": training}
    kits = kits.filter(**{name: value for name, value in exact.items() if value is not None})
    if out is not None:
        open_one = Checkout.objects.open().of_whole_kits().filter(kit=OuterRef("pk"))
        kits = kits.filter(Exists(open_one) if out else ~Exists(open_one))
    if reserved is not None:
        promised = Q(pk__in={each.promise.kit for each in promises.open_promises()})
        kits = kits.filter(promised if reserved else ~promised)
    if fit_through is not None:
        kits = kits.filter(_fit_through(fit_through))
    return kits


def overviews(
    actor: Actor, kits: Iterable[Kit], judged: Mapping[int, verdicts.Judged] | None = None
) -> list[Overview]:
    """What is seen at a glance of kits loaded by `listed`, in the order given; `judged` where it
    is known already how each stands."""
    kits = list(kits)
    ids = [kit.pk for kit in kits]
    sections = grouped(
        (place.kit_id, place) for place in Place.objects.open().sections().filter(kit__in=ids)
    )
    seals = {
        (seal.kit_id, seal.section_id): seal.number
        for seal in Seal.objects.unbroken().filter(kit__in=ids)
    }
    out = {
        (held.kit_id, held.section_id): held
        for held in Checkout.objects.open().filter(kit__in=ids).select_related("person", "trip")
    }
    on_list = set(
        ListSection.objects.filter(version__in={k.list_version_id for k in kits}).values_list(
            "version", "key"
        )
    )
    promised = promises.next_of(ids)
    withheld = grouped(
        (row.kit_id, row)
        for row in Withholding.objects.open().filter(kit__in=ids).select_related("since")
    )
    labels = grouped(
        Label.objects.active().filter(kind=LabelKind.KIT, kit__in=ids).values_list("kit", "code")
    )
    judged = judged or verdicts.judged(kits)
    return [
        Overview(
            kit=kit,
            sections=[
                SectionOverview(
                    place,
                    seals.get((kit.pk, place.pk), ""),
                    (kit.list_version_id, place.section_key) in on_list,
                    out.get((kit.pk, place.pk)),
                )
                for place in sections[kit.pk]
            ],
            seal=seals.get((kit.pk, None), ""),
            checkout=out.get((kit.pk, None)),
            reserved=promised[kit.pk].reservation if kit.pk in promised else None,
            withheld=withheld[kit.pk],
            labels=labels[kit.pk],
            judged=judged[kit.pk],
            days=readiness.days_now(kit),
            phones=actor.may("see_people", kit.home_room_id)
            or actor.may("see_people", kit.room_id),
            knows=find.knows_kit(actor, kit),
        )
        for kit in kits
    ]


def overview(actor: Actor, kit: Kit) -> Overview:
    """One kit at a glance, as it is on record now."""
    fresh = Kit.objects.select_related(
        "room",
        "home_room",
        "list_version__packing_list",
        "list_version__signed_by",
        "responsible",
        "deputy",
        "looked_inside_by",
    ).defer("list_version__signed_page")
    return overviews(actor, [fresh.get(pk=kit.pk)])[0]


# ------------------------------------------------------------------------------------------- inside
def _fit_through(day: date) -> Q:
    """Fit through a day as of today (`kits.rules.ledger.readiness.FitDays.on`), asked of the
    database."""
    fit = Q(pk__in=[])
    for zone in Room.objects.order_by("time_zone").values_list("time_zone", flat=True).distinct():
        today = clock.today(zone)
        fit |= Q(home_room__time_zone=zone, clear_until__gte=today, fit_until__gte=max(day, today))
    return fit


# ---------------------------------------------------------------------------------- somebody's own
@dataclass(frozen=True)
class Mine:
    """A kit that somebody has (`checkout`), or takes on `trip` within the week."""

    kit: Kit
    judged: verdicts.Judged
    checkout: Checkout | None
    trip: Trip | None


def elsewhere(actor: Actor) -> Sequence[Checkout]:
    """What whoever asks has of rooms that are not theirs, due first: that they have it, and where
    it goes back to, is all that they see of it."""
    if actor.person is None or actor.everywhere:
        return ()
    has = Checkout.objects.open().filter(person=actor.person)
    theirs = find.kits_of(actor).values("pk")
    rows = has.exclude(kit__in=theirs).select_related("kit__home_room", "section", "trip")
    return list(rows.order_by("due_at", "kit__name"))


def mine(actor: Actor) -> Sequence[Mine]:
    """The kits of whoever asks, of their rooms: what they have first, then by departure."""
    if actor.person is None:
        return ()
    theirs = find.kits_of(actor)
    has = list(
        Checkout.objects.open()
        .of_whole_kits()
        .filter(person=actor.person, kit__in=theirs)
        .select_related("trip")
        .order_by("due_at", "kit__name")
    )
    soon = clock.now() + timedelta(days=DAYS_AHEAD)
    held = {each.kit_id for each in has}
    coming = {
        each.promise.kit: each.trip
        for each in reversed(promises.open_promises(guide=actor.person.pk))
        if each.trip.departs_at <= soon and each.promise.kit not in held
    }
    if not held and not coming:
        return ()
    kits = {kit.pk: kit for kit in theirs.filter(pk__in=held | coming.keys())}
    judged = verdicts.judged(kits.values())
    out = [Mine(kits[each.kit_id], judged[each.kit_id], each, each.trip) for each in has]
    promised = [Mine(kits[pk], judged[pk], None, trip) for pk, trip in coming.items() if pk in kits]
    return [*out, *sorted(promised, key=lambda row: (row.judged.question.through, row.kit.name))]
