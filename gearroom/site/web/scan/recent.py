"""What somebody did just now, so that a slip of the thumb is one tap to put right, and the wrong
kit scanned is two."""

from collections.abc import Mapping
from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Problem
from gearroom.site.web.page import (
    MOST_ID,
    Done,
    WholeNumber,
    acted,
    actor,
    back_to,
    form_view,
    here,
    page,
    read_field,
    show,
)
from kits.models import Entry, EntryKind
from kits.services.custody import wrong_kit
from kits.services.kits.history import MAY_BE_ANOTHER_KITS
from kits.services.ledger import kit_summary, reversal
from kits.services.lookup import find
from kits.services.text import irregular_texts

_KINDS = (
    *MAY_BE_ANOTHER_KITS,
    EntryKind.USE,
    EntryKind.RESTOCK,
    EntryKind.RESEAL,
    EntryKind.LOOK_INSIDE,
    EntryKind.TAKE_OUT,
    EntryKind.WITHHOLD,
    EntryKind.RELEASE,
)
_SHIFT = timedelta(hours=4)
_MOST_KITS = 24
_MOST_CHANGES = 6


def just_done(actor: Actor, most: int = 10) -> list[Entry]:
    """The last acts of somebody on kits, newest first, without those that were put right."""
    return list(
        Entry.objects.filter(
            person=actor.person,
            kit__isnull=False,
            kind__in=_KINDS,
            part=0,  # an act is undone whole: what a hand-back wrote along with it goes with it
            reversed_by__isnull=True,
            recorded_at__gte=clock.now() - _SHIFT,
        )
        .select_related("kit__home_room", "trip")
        .prefetch_related("checkouts_opened__person")
        .order_by("-id")[:most]
    )


@page("take_back")
def undo(request: HttpRequest, entry: int) -> HttpResponse:
    """Put an act right by its reversal: one's own last act at once, any other after a look at what
    stands on it and what is so afterwards."""
    who, together = actor(request), "sure" in request.POST
    if request.method == "POST" and (together or reversal.is_own_last(who, entry)):
        try:
            to = back_to(request, reverse("board"))
            return acted(request, lambda act: _undo(act, entry, request.POST), to=to)
        except Problem as refused:
            if not refused.facts.get("together"):
                raise
    named, would = reversal.preview(Act(actor=who, room=here(request)), entry)
    later = [kit_summary.act(each) for each in would.later]
    return show(
        request,
        "site/custody/undo.html",
        status=409 if together else 200,
        entry=named,
        says=kit_summary.act(named)["text"],
        later=later,
        changes=would.changes,
        through=later[-1]["entry"] if later else 0,
        anew=together,
        to=back_to(request, reverse("board")),
    )


def _undo(act: Act, entry: int, sent: Mapping[str, str]) -> Done:
    through = read_field(WholeNumber(required=False, most=MOST_ID), sent, "through")
    done = reversal.reverse(act, entry, together="sure" in sent, through=through)
    changes = [change.text for change in done.changes[:_MOST_CHANGES]]
    return Done(" ".join([_("Undone."), *changes]))


def _wrong_kit_page(
    request: HttpRequest, entry: int, problem: Problem | None = None
) -> HttpResponse:
    wrong, kit = wrong_kit.entry_and_kit(actor(request), entry)
    kits = wrong_kit.candidates(actor(request), wrong, kit)[:_MOST_KITS]
    return show(request, "site/custody/wrong_kit.html", problem=problem, entry=wrong, kits=kits)


@form_view("take_back", page_of=_wrong_kit_page)
def correct_kit(act: Act, request: HttpRequest, entry: int) -> Done:
    """Which kit it really was: the act moves to that one."""
    kit = find.kit(act.actor, request.POST.get("kit", "").strip())
    done = wrong_kit.correct_kit(act, entry, kit)
    to, facts = back_to(request, reverse("scan")), {"kit": done.kit.name, "wrong": done.wrong.name}
    if done.entry is None:
        sentence = _(
            "%(wrong)s has been set back to how it was. %(kit)s already has a record of its "
            "own, which is kept."
        )
        return Done(sentence % facts, to=to)
    sentence = (
        _("Corrected: the kit was %(kit)s. %(wrong)s has been set back to how it was.") % facts
    )
    if done.entry.irregular:
        why = " ".join(map(irregular_texts.irregular, done.entry.irregular))
        sentence += f" {why} " + _("The keeper will be notified.")
    return Done(sentence, done.entry.pk, to)
