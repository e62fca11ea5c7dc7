"""Keeping a kit back and letting it go again: drying, something wrong (with photos of it), laid up,
lost; and two kits whose contents were mixed on the way. Nobody knows what is in either of those
until both are counted: it is one job, and it ends for each kit with a count of all of it."""

from collections.abc import Sequence
from datetime import timedelta

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Invalid, Refused, one, store
from gearroom.core.models import Room
from kits.models import (
    Checkout,
    Entry,
    EntryKind,
    Kit,
    PackingList,
    Photo,
    WithheldKind,
    Withholding,
)
from kits.services.ledger import Book, kit_book
from kits.services.ledger.kit_state import iso
from kits.services.lookup import find, refuse_if_out, reporters
from kits.services.notices import writing
from kits.services.text import wording


def withhold(act: Act, kit: Kit, kind: WithheldKind, note: str = "", photo: bytes = b"") -> Entry:
    """Keep a kit back. Anyone may say that something is wrong with it; `photo` is a JPEG of it."""
    if kind in (WithheldKind.RECALL, WithheldKind.FAILED_CHECK):
        raise Invalid(
            _(
                "“%(label)s” is the result of a recall or a check and cannot be set by hand. "
                "Start the recall, or record the check."
            )
            % {"label": wording.withheld(kind)},
            field="kind",
        )
    with kit_book(act, kit) as (book, kit):
        reporters.require(act.actor, "withhold", kit)
        return withhold_kit(book, kit, kind, note, photo)


def withhold_kit(book: Book, kit: Kit, kind: WithheldKind, note: str, photo: bytes = b"") -> Entry:
    """Write into an open book that a kit is kept back; reported twice it is on hold once, and
    both reports are on record."""
    entry = book.post(EntryKind.WITHHOLD, kit=kit, reason=note, detail={"kind": kind})
    if photo:
        Photo.objects.create(entry=entry, jpeg=photo)
    Withholding.objects.get_or_create(
        kit=kit, kind=kind, released=None, defaults={"note": note, "since": entry}
    )
    if kind == WithheldKind.SOMETHING_WRONG:
        writing.notify_keepers(entry, "something-wrong", kit=kit)
    return entry


def release(act: Act, kit: Kit, kind: WithheldKind) -> Entry:
    """Let a kept-back kit go again. Raises Refused: `not-withheld`, `count-first`."""
    with kit_book(act, kit, home="release") as (book, kit):
        kept = Withholding.objects.open().filter(kit=kit, kind=kind)
        if not kept.exists():
            raise Refused(
                "not-withheld",
                _("%(kit)s is not on hold for “%(label)s”. There is nothing to release.")
                % {"kit": kit.name, "label": wording.withheld(kind)},
            )
        if kind == WithheldKind.MIXED:
            raise Refused(
                "count-first",
                _("Nobody knows what is in %(kit)s. Count everything in it to release it.")
                % {"kit": kit.name},
            )
        entry = book.post(EntryKind.RELEASE, kit=kit, detail={"kind": kind})
        kept.update(released=entry)
    return entry


def lay_up(act: Act, kit: Kit) -> Entry:
    """Put a kit away for the season: it keeps quiet and does not go out. Not while it is out."""
    with kit_book(act, kit, home="lay_up") as (book, kit):
        refuse_if_out(kit)
        if kit.laid_up_since is not None:
            raise Refused(
                "laid-up-already", _("%(kit)s is already in storage.") % {"kit": kit.name}
            )
        entry = book.post(EntryKind.LAY_UP, kit=kit)
        store(kit, laid_up_since=entry.occurred_at)
    return entry


def wake(act: Act, kit: Kit) -> Entry:
    """Take a laid-up kit into use again; it must be looked inside before it is fit."""
    with kit_book(act, kit, home="lay_up") as (book, kit):
        if kit.laid_up_since is None:
            raise Refused("not-laid-up", _("%(kit)s is not in storage.") % {"kit": kit.name})
        entry = book.post(EntryKind.WAKE, kit=kit)
        store(kit, laid_up_since=None, to_sort_since=kit.to_sort_since or entry.occurred_at)
    return entry


def mark_lost(act: Act, kit: Kit) -> Entry:
    """Record that a kit cannot be found. Who had it stays on record; a later scan finds it."""
    with kit_book(act, kit) as (book, kit):
        reporters.require(act.actor, "report_lost", kit)
        entry = book.post(EntryKind.LOST, kit=kit, detail={"lost_since": iso(kit.lost_since)})
        if kit.lost_since is None:
            store(kit, lost_since=entry.occurred_at)
            writing.notify_keepers(entry, "lost", kit=kit)
    return entry


def find_again(act: Act, kit: Kit) -> Entry:
    """Record that a lost kit was found; it waits to be looked inside."""
    with kit_book(act, kit) as (book, kit):
        reporters.require(act.actor, "report_lost", kit)
        return mark_found(book, kit)


def mark_found(book: Book, kit: Kit) -> Entry:
    """Write into an open book that a kit was found."""
    entry = book.post(
        EntryKind.FOUND,
        kit=kit,
        detail={"lost_since": iso(kit.lost_since)},
    )
    if kit.lost_since is not None:
        store(kit, lost_since=None, to_sort_since=kit.to_sort_since or entry.occurred_at)
    return entry


def judge_by_room(act: Act, room: Room, changed: frozenset[str]) -> None:
    """Judge the kits at home in a room again, where it is stricter now, or less, or its today is
    another."""
    if not {"expired_always_stops", "time_zone"} & changed:
        return
    with Book(act) as book:
        book.lock(*Kit.objects.filter(home_room=room).values_list("pk", flat=True))


# ---------------------------------------------------------------------------------- mixed contents
LOOKS_BACK = timedelta(days=3)


def report_mixed(act: Act, kit: Kit, others: Sequence[Kit]) -> Entry:
    """Write that a kit's contents were mixed with those of others. Raises Invalid."""
    with Book(act) as book:
        kit, *others = book.lock(kit.pk, *(other.pk for other in others))
        for each in (kit, *others):
            reporters.require(act.actor, "withhold", each)
        return write_mixed(book, kit, others)


def write_mixed(book: Book, kit: Kit, others: Sequence[Kit]) -> Entry:
    """Write it into an open book that has locked all of them; keeps each back until counted."""
    others = list({other.pk: other for other in others}.values())
    if not others or kit in others:
        raise Invalid(
            _("Enter the kit whose contents were mixed with this one’s."), field="mixed_with"
        )
    kits = [kit, *others]
    entries = []
    for each in kits:
        names = ", ".join(other.name for other in kits if other != each)
        note = _("Contents mixed with those of %(kits)s: count both kits.") % {"kits": names}
        entries.append(withhold_kit(book, each, WithheldKind.MIXED, note[:300]))
    return entries[0]


def maybe_mixed_with(kit: Kit) -> list[Kit]:
    """The kits that its contents may have been mixed with: others of its home room that are out or
    came back in the last days."""
    near = Checkout.objects.not_undone().filter(
        Q(in_at__isnull=True) | Q(in_at__gte=clock.now() - LOOKS_BACK)
    )
    others = Kit.objects.filter(home_room=kit.home_room_id, pk__in=near.values("kit"))
    return list(others.exclude(pk=kit.pk).order_by("name"))


def end_mixed(entry: Entry, kit: Kit) -> None:
    """Let a kit go that was kept back for this, with a count of all that is in it."""
    Withholding.objects.open().filter(kit=kit, kind=WithheldKind.MIXED).update(released=entry)


# ------------------------------------------------------------------------------------------ photos
def photos(kit: Kit) -> QuerySet[Photo]:
    """The photos of what is wrong with a kit now, without their pixels; none where nothing is."""
    wrong = kit.withholdings.open().filter(kind=WithheldKind.SOMETHING_WRONG)
    return (
        Photo.objects.defer("jpeg")
        .filter(
            entry__kit=kit,
            entry__kind=EntryKind.WITHHOLD,
            entry__reversed_by__isnull=True,
            entry__gte=wrong.values("since")[:1],
        )
        .order_by("pk")
    )


def newest_packed(actor: Actor, packing_list: PackingList) -> dict[str, Photo]:
    """The newest photo of how each section is packed, by the section's key, without its pixels: of
    the kits of a list whose story somebody may see."""
    kits = find.kits_of(actor).active().filter(list_version__packing_list=packing_list)
    rows = (
        Photo.objects.defer("jpeg")
        .filter(
            entry__kit__in=[kit.pk for kit in kits if find.knows_kit(actor, kit)],
            entry__reversed_by__isnull=True,
            section__isnull=False,
        )
        .select_related("entry__kit__home_room", "section")
        .order_by("entry__occurred_at", "pk")
    )
    return {photo.section.section_key: photo for photo in rows if photo.section is not None}


def photo(actor: Actor, kit: Kit, number: int) -> Photo:
    """One photo of a kit: of what is wrong with it now, or of an act that somebody may see. Raises
    NotFound."""
    acts = find.entries_of(actor).filter(kit=kit)
    rows = Photo.objects.filter(Q(pk__in=photos(kit).values("pk")) | Q(entry__in=acts), pk=number)
    return one(rows, "photo", number)
