"""Adding to a kit what one line of its list lacks, from the shelves of the room it is in: the
quickest way to let it go. It opens the kit, and is no check of the rest."""

from datetime import date

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Refused
from kits.models import EntryKind, Item, Kit, LevelFact
from kits.rules.custody.going_short import addition_to
from kits.rules.ledger.facts import Level
from kits.services.ledger import Leg, admission, kit_book
from kits.services.restocking.sorting import (
    RestockResult,
    refuse_if_kept_as_it_came,
    restock_list,
)


def add(act: Act, kit: Kit, line: int, *, through: date | None = None) -> RestockResult:
    """Put in what the restock list has for one line (its id), good through a day, and nothing
    else. A kit that waits to be sorted waits on.

    Raises Refused: `nothing-to-add` where no shelf here has any of it that lasts, and what is
    never put in (see `guard`).
    """
    with kit_book(act, kit, here="restock") as (book, kit):
        refuse_if_kept_as_it_came(kit)
        plan = restock_list(kit, through=through)
        if (addition := addition_to(plan.list, line)) is None:
            raise Refused(
                "nothing-to-add",
                _("No shelf in %(room)s has anything that would fill this gap in %(kit)s.")
                % {"room": kit.room.name, "kit": kit.name},
                kit=kit.name,
            )
        put_in = [plan.pick(row) for row in addition.put_in]
        admission.put_in_guard(kit, [(row.lot, row.shelf) for row in put_in])
        entry = book.post(
            EntryKind.RESTOCK,
            [Leg(row.lot, row.shelf, row.section, row.units) for row in put_in],
            kit=kit,
            detail={
                "through": plan.through.isoformat(),
                "looked_inside": False,
                "line": line,
            },
        )
        section = plan.sections[addition.line.section]
        book.break_seals(entry, [section])
        if addition.fill_up is not None:
            item = Item.objects.get(pk=addition.line.thing.id)
            LevelFact.objects.create(section=section, item=item, entry=entry, level=Level.FULL)
    return RestockResult(entry, put_in, ())
