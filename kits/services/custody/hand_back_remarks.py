"""Remarks on a kit that comes back, besides how it looks and what was used."""

from collections.abc import Sequence
from dataclasses import dataclass

from kits.models import Checkout, Kit
from kits.services.custody import unmet_needs
from kits.services.custody.unmet_needs import NeedLine
from kits.services.kits import mixed_contents, participants_own
from kits.services.ledger.book import Book


@dataclass(frozen=True)
class Remarks:
    """`needed`: what was needed and not in it. `mixed_with`: the kits that its contents were mixed
    with. `given_back`: what was in its *not ours* pouch went back to its owner."""

    needed: Sequence[NeedLine] = ()
    mixed_with: Sequence[Kit] = ()
    given_back: bool = False


def write(book: Book, kit: Kit, remarks: Remarks, checkout: Checkout | None) -> None:
    """Write them into an open book that has locked the kit and those it was mixed with."""
    if remarks.needed:
        unmet_needs.write(book, kit, remarks.needed, checkout)
    if remarks.mixed_with:
        mixed_contents.write(book, kit, book.lock(*(other.pk for other in remarks.mixed_with)))
    if remarks.given_back:
        participants_own.write(book, kit, inside=False)
