"""What was needed and not in the kit, whatever it was: kept against the kit and its trip.

It moves nothing. It is how a kit list learns what it does not carry. Nothing about casualties.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, refuse_first
from kits.models import Checkout, Entry, EntryKind, Item, Kit, UnmetNeed
from kits.services.ledger.book import Book, kit_book
from kits.services.lookup import reporters
from kits.services.lookup.holders import last_checkout

MOST_WORDS = 120
"""Characters that a need in somebody's own words may have."""


@dataclass(frozen=True)
class NeedLine:
    """Something that was needed and not there: an item that is known, or words for it."""

    item: Item | None = None
    words: str = ""

    def __str__(self) -> str:
        return self.item.name if self.item else self.words


def report(act: Act, kit: Kit, needed: Sequence[NeedLine]) -> Entry:
    """Write what was needed and not in a kit, against its open checkout or else its last one.
    Raises Invalid for an empty report."""
    with kit_book(act, kit) as (book, kit):
        reporters.require(act.actor, "log_use", kit)
        return write(book, kit, needed, last_checkout(kit))


def write(book: Book, kit: Kit, needed: Sequence[NeedLine], checkout: Checkout | None) -> Entry:
    """Write it into an open book; the kit is locked already."""
    rows = list(dict.fromkeys(map(_checked, needed)))
    if not rows:
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


def in_force() -> QuerySet[UnmetNeed]:
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
