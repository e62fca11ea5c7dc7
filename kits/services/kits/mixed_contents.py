"""Two kits whose contents were mixed on the way: nobody knows what is in either until both are
counted. It is one job, and it ends for each kit with a count of all of it."""

from collections.abc import Sequence
from datetime import timedelta

from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid
from kits.models import Checkout, Entry, Kit, WithheldKind, Withholding
from kits.services.kits import holds
from kits.services.ledger.book import Book
from kits.services.lookup import reporters

LOOKS_BACK = timedelta(days=3)


def report(act: Act, kit: Kit, others: Sequence[Kit]) -> Entry:
    """Write that a kit's contents were mixed with those of others. Raises Invalid."""
    with Book(act) as book:
        kit, *others = book.lock(kit.pk, *(other.pk for other in others))
        for each in (kit, *others):
            reporters.require(act.actor, "withhold", each)
        return write(book, kit, others)


def write(book: Book, kit: Kit, others: Sequence[Kit]) -> Entry:
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
        entries.append(holds.withhold_kit(book, each, WithheldKind.MIXED, note[:300]))
    return entries[0]


def may_be(kit: Kit) -> list[Kit]:
    """The kits that its contents may have been mixed with: others of its home room that are out or
    came back in the last days."""
    near = Checkout.objects.not_undone().filter(
        Q(in_at__isnull=True) | Q(in_at__gte=clock.now() - LOOKS_BACK)
    )
    others = Kit.objects.filter(home_room=kit.home_room_id, pk__in=near.values("kit"))
    return list(others.exclude(pk=kit.pk).order_by("name"))


def count_ends_it(entry: Entry, kit: Kit) -> None:
    """Let a kit go that was kept back for this, with a count of all that is in it."""
    Withholding.objects.open().filter(kit=kit, kind=WithheldKind.MIXED).update(released=entry)
