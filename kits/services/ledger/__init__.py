"""The ledger: the book that is written, and what follows from it."""

from kits.services.ledger.book import Book, Leg, kit_book, outer, room_place
from kits.services.ledger.levels import LooseLevel, refuse_loose, write_levels
from kits.services.ledger.verdicts import Judged, Question

__all__ = [
    "Book",
    "Judged",
    "Leg",
    "LooseLevel",
    "Question",
    "kit_book",
    "outer",
    "refuse_loose",
    "room_place",
    "write_levels",
]
