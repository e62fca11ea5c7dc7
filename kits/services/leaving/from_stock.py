"""Units of a batch that are sold or given away from a shelf."""

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid
from kits.models import Entry, EntryKind, Lot, Place, PlaceKind
from kits.services.leaving import terms as leaving
from kits.services.leaving.terms import Terms
from kits.services.ledger import Book, Leg, outer
from kits.services.stock import moving, receiving
from kits.services.text.amounts import units as whole


def leave(act: Act, *, place: Place, lot: Lot, units: int, terms: Terms) -> Entry:
    """Record that units of a batch on a shelf were sold or given away; they count neither as used
    nor as wasted.

    Raises Invalid (`units`, `place`, what `terms.check` raises), Refused (`not-enough`, what
    `terms.check_units` raises).
    """
    with Book(act) as book:
        _kit, room = moving.lock_place(book, place, "dispose")
        count = whole(units)
        leaving.check(act, terms)
        if place.kind != PlaceKind.SHELF:
            raise Invalid(
                _("Only what is on a shelf can be sold or given away. Move it to a shelf first."),
                field="place",
            )
        leaving.check_units([lot], terms, receiving.today_in(room))
        return book.post(
            EntryKind.LEAVE,
            [Leg(lot, place, outer(terms.way), count)],
            lot=lot,
            room=room,
            reason=act.reason,
            detail=terms.detail,
        )
