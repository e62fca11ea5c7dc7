"""Somebody's own kits: those that they have, and those that are promised to them soon."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from gearroom.core import clock
from gearroom.core.acts import Actor
from kits.models import Checkout, Kit, Trip
from kits.rules.ledger.question import DAYS_AHEAD
from kits.services.ledger import verdicts
from kits.services.lookup import find, promises


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
