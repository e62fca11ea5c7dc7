"""What somebody did just now, so that a slip of the thumb is one tap to put right."""

from __future__ import annotations

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from gearroom.core import clock
from gearroom.core.act import Act, Actor
from gearroom.site.web.shell import Done, acted, back_to, page
from kits.models import Entry, EntryKind
from kits.services import reversal

_KINDS = (
    EntryKind.CHECK_OUT,
    EntryKind.EMERGENCY,
    EntryKind.CHECK_IN,
    EntryKind.PASS,
    EntryKind.RESTOCK,
    EntryKind.RESEAL,
    EntryKind.LOOK_INSIDE,
    EntryKind.TAKE_OUT,
    EntryKind.WITHHOLD,
    EntryKind.RELEASE,
)
_SHIFT = timedelta(hours=4)


def just_done(actor: Actor, most: int = 10) -> list[Entry]:
    """The last acts of somebody on kits, newest first, without those that were put right."""
    return list(
        Entry.objects.filter(
            person=actor.person,
            kit__isnull=False,
            kind__in=_KINDS,
            reversed_by__isnull=True,
            recorded_at__gte=clock.now() - _SHIFT,
        )
        .select_related("kit__home_room")
        .prefetch_related("checkouts_opened__person")
        .order_by("-id")[:most]
    )


@require_POST
@page("take_back")
def undo(request: HttpRequest, entry: int) -> HttpResponse:
    """Put an act right by its reversal."""

    def perform(act: Act) -> Done:
        reversal.reverse(act, entry)
        return Done(_("Undone. The book is as it was before."))

    return acted(request, perform, to=back_to(request, reverse("board")))
