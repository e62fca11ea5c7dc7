"""A participant's own inhaler or pen that rides in a kit's *not ours* pouch.

Nothing of it is recorded but that it is there: not what it is, and not whose. It is asked for when
the kit comes back, until somebody says that it went back to its owner.
"""

from collections.abc import Iterable

from django.db.models import Max

from gearroom.core.acts.act import Act
from kits.models import Entry, EntryKind, Kit
from kits.services.ledger.book import Book, kit_book
from kits.services.lookup import reporters


def report(act: Act, kit: Kit, *, inside: bool) -> Entry:
    """Write that something of a participant's own rides in a kit, or went back to its owner."""
    with kit_book(act, kit) as (book, kit):
        reporters.require(act.actor, "log_use", kit)
        return write(book, kit, inside=inside)


def write(book: Book, kit: Kit, *, inside: bool) -> Entry:
    """Write it into an open book; the kit is locked already."""
    return book.post(EntryKind.NOT_OURS, kit=kit, detail={"inside": inside})


def ids_with_it(kits: Iterable[int]) -> set[int]:
    """Those of these kits (ids) that something of a participant's own is in."""
    rows = Entry.objects.filter(kind=EntryKind.NOT_OURS, reversed_by__isnull=True)
    newest = rows.filter(kit__in=list(kits)).values("kit").annotate(newest=Max("id")).order_by()
    last = Entry.objects.filter(pk__in=newest.values("newest"), detail__inside=True)
    return {pk for pk in last.values_list("kit", flat=True) if pk is not None}


def is_inside(kit: Kit) -> bool:
    """Whether something of a participant's own is in a kit."""
    return kit.pk in ids_with_it([kit.pk])
