"""What is reported when a kit comes back, besides how it looks and what was used: what was needed
and not in it, which kits it was mixed up with, and what of a participant's own rides in it.

Needs move nothing. They are kept against the kit and its trip, and are how a kit list learns what
it does not carry. Nothing about casualties. Of a participant's own inhaler or pen in the *not ours*
pouch nothing is recorded but that it is there: not what it is, and not whose. It is asked for when
the kit comes back, until somebody says that it went back to its owner.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Max, QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, refuse_first
from kits.models import Checkout, Entry, EntryKind, Item, Kit, UnmetNeed
from kits.services.kits import holds
from kits.services.ledger.book import Book, kit_book
from kits.services.lookup import last_checkout, reporters

MOST_WORDS = 120
"""Characters that a need in somebody's own words may have."""


@dataclass(frozen=True)
class NeedLine:
    """Something that was needed and not there: an item that is known, or words for it."""

    item: Item | None = None
    words: str = ""

    def __str__(self) -> str:
        return self.item.name if self.item else self.words


@dataclass(frozen=True)
class Remarks:
    """`needed`: what was needed and not in it. `mixed_with`: the kits that its contents were mixed
    with. `given_back`: what was in its *not ours* pouch went back to its owner."""

    needed: Sequence[NeedLine] = ()
    mixed_with: Sequence[Kit] = ()
    given_back: bool = False


def write_remarks(book: Book, kit: Kit, remarks: Remarks, checkout: Checkout | None) -> None:
    """Write them into an open book that has locked the kit and those it was mixed with."""
    if remarks.needed:
        _write_needs(book, kit, remarks.needed, checkout)
    if remarks.mixed_with:
        holds.write_mixed(book, kit, book.lock(*(other.pk for other in remarks.mixed_with)))
    if remarks.given_back:
        _write_own(book, kit, inside=False)


# ----------------------------------------------------------------------------- what was needed
def report_needs(act: Act, kit: Kit, needed: Sequence[NeedLine]) -> Entry:
    """Write what was needed and not in a kit, against its open checkout or else its last one.
    Raises Invalid for an empty report."""
    with kit_book(act, kit) as (book, kit):
        reporters.require(act.actor, "log_use", kit)
        return _write_needs(book, kit, needed, last_checkout(kit))


def _write_needs(
    book: Book, kit: Kit, needed: Sequence[NeedLine], checkout: Checkout | None
) -> Entry:
    """Write it into an open book; the kit is locked already."""
    if not (rows := list(dict.fromkeys(map(_checked, needed)))):
        raise Invalid(_("Enter what was needed but not in the kit."), field="needed")
    entry = book.post(
        EntryKind.UNMET_NEED,
        kit=kit,
        trip=checkout.trip if checkout else None,
        checkout=checkout,
        reason=_("Needed but not in the kit: %(things)s")[:500]
        % {"things": ", ".join(map(str, rows))[:400]},
    )
    UnmetNeed.objects.bulk_create(
        UnmetNeed(entry=entry, item=row.item, words="" if row.item else row.words) for row in rows
    )
    return entry


def needs_in_force() -> QuerySet[UnmetNeed]:
    """The needs that stand, with their kits and trips, the newest first."""
    return (
        UnmetNeed.objects.filter(entry__reversed_by__isnull=True)
        .select_related("item", "entry__kit__home_room", "entry__trip")
        .order_by("-id")
    )


def _checked(row: NeedLine) -> NeedLine:
    words = " ".join(row.words.split())
    neither_or_both = _("Enter an item, or describe what was needed in a few words.")
    too_long = _("Describe what was needed in at most %(most)d characters.") % {"most": MOST_WORDS}
    refuse_first(
        ((row.item is None) == (not words), Invalid(neither_or_both, field="needed")),
        (len(words) > MOST_WORDS, Invalid(too_long, field="needed")),
    )
    return NeedLine(row.item, words)


# ---------------------------------------------------------------- what is a participant's own
def report_own(act: Act, kit: Kit, *, inside: bool) -> Entry:
    """Write that something of a participant's own rides in a kit, or went back to its owner."""
    with kit_book(act, kit) as (book, kit):
        reporters.require(act.actor, "log_use", kit)
        return _write_own(book, kit, inside=inside)


def _write_own(book: Book, kit: Kit, *, inside: bool) -> Entry:
    """Write it into an open book; the kit is locked already."""
    return book.post(EntryKind.NOT_OURS, kit=kit, detail={"inside": inside})


def ids_with_own(kits: Iterable[int]) -> set[int]:
    """Those of these kits (ids) that something of a participant's own is in."""
    newest = (
        Entry.objects.filter(kind=EntryKind.NOT_OURS, reversed_by__isnull=True)
        .filter(kit__in=list(kits))
        .values("kit")
        .annotate(newest=Max("id"))
        .order_by()
    )
    last = Entry.objects.filter(pk__in=newest.values("newest"), detail__inside=True)
    return {pk for pk in last.values_list("kit", flat=True) if pk is not None}


def has_own(kit: Kit) -> bool:
    """Whether something of a participant's own is in a kit."""
    return kit.pk in ids_with_own([kit.pk])
