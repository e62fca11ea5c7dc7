"""A kit passed from one person to another on the way."""

from gearroom.core.acts import Act, store
from gearroom.core.models import Person
from kits.models import EntryKind, Handover, Kit
from kits.rules.ledger import ReasonCode
from kits.services.custody.custody import ChangeOfHands, check_out
from kits.services.kits import holds
from kits.services.ledger import kit_book
from kits.services.lookup import open_checkout, reporters
from kits.services.notices import writing


def pass_on(act: Act, kit: Kit, person: Person) -> ChangeOfHands:
    """Record that a kit was passed to another person on the way.

    That somebody has it who had it already is recorded too, and changes nothing. Where the book
    does not show the kit out, it is recorded as having gone out to them, irregular: nobody judged
    it before it went.
    """
    with kit_book(act, kit) as (book, kit):
        reporters.require(act.actor, "pass", kit)
        late = book.is_late(kit)
        held = None if late else open_checkout(kit)
        if held is None and not late:
            unseen = [ReasonCode.WAS_NOT_TAKEN_OUT]
            taken = check_out(act, kit, person=person, already_gone=True, irregular=unseen)
            return ChangeOfHands(kit, taken.checkout, taken.entry)
        entry = book.post(
            EntryKind.PASS,
            kit=kit,
            trip=held.trip if held else None,
            checkout=held,
            irregular=[ReasonCode.OUT_OF_ORDER] if late else [],
            detail={"from": held.person_id if held else None, "to": person.pk},
        )
        if held is None:
            writing.notify_keepers(entry, "irregular", kit=kit)
        else:
            since = max(entry.occurred_at, held.out_at)
            Handover.objects.create(checkout=held, person=person, since=since, entry=entry)
            store(held, person=person)
            if kit.lost_since is not None:
                holds.mark_found(book, kit)
    return ChangeOfHands(kit, held, entry)
