"""What somebody did just now, so that a slip of the thumb is one tap to put right, and the wrong
kit scanned is two."""

from __future__ import annotations

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import Problem
from gearroom.site.web.page.shell import Done, acted, actor, back_to, here, page, show
from kits.models import Entry, EntryKind
from kits.services.custody import wrong_kit
from kits.services.kits.history import MAY_BE_ANOTHER_KITS
from kits.services.ledger import kit_summary, reversal
from kits.services.lookup import find
from kits.services.text import reason_texts

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


_MOST_CHANGES = 6


@page("take_back")
def undo(request: HttpRequest, entry: int) -> HttpResponse:
    """Put an act right by its reversal: one's own last act at once, any other after a look at what
    stands on it and what is so afterwards."""
    who = actor(request)
    if request.method == "POST" and ("sure" in request.POST or reversal.is_own_last(who, entry)):
        try:
            return _undone(request, entry)
        except Problem as refused:
            if not refused.facts.get("together"):
                raise
    act = Act(actor=who, room=here(request))
    named, would = reversal.preview(act, entry)
    later = [kit_summary.act(each) for each in would.later]
    facts = {
        "entry": named,
        "says": kit_summary.act(named)["text"],
        "later": later,
        "changes": would.changes,
        "through": later[-1]["entry"] if later else 0,
        "anew": "sure" in request.POST,
        "to": back_to(request, reverse("board")),
    }
    return show(request, "site/custody/undo.html", facts, status=409 if facts["anew"] else 200)


def _undone(request: HttpRequest, entry: int) -> HttpResponse:
    through = request.POST.get("through", "")

    def perform(act: Act) -> Done:
        done = reversal.reverse(
            act,
            entry,
            together="sure" in request.POST,
            through=int(through) if through.isascii() and through.isdigit() else None,
        )
        changes = [change.text for change in done.changes[:_MOST_CHANGES]]
        return Done(" ".join([_("Undone."), *changes]))

    return acted(request, perform, to=back_to(request, reverse("board")))


@page("take_back")
def really(request: HttpRequest, entry: int) -> HttpResponse:
    """Which kit it really was: the act moves to that one."""
    wrong = wrong_kit.entry_of(actor(request), entry)
    problem = None
    if request.method == "POST":
        try:
            return _moved(request, entry)
        except Problem as refused:
            problem = refused
    facts = {
        "entry": wrong,
        "kits": wrong_kit.candidates(actor(request), wrong)[:_MOST_KITS],
        "problem": problem,
    }
    return show(
        request, "site/custody/wrong_kit.html", facts, status=problem.status if problem else 200
    )


def _moved(request: HttpRequest, entry: int) -> HttpResponse:
    def perform(act: Act) -> Done:
        kit = find.kit(act.actor, request.POST.get("kit", "").strip())
        done = wrong_kit.correct_kit(act, entry, kit)
        told = {"kit": done.kit.name, "wrong": done.wrong.name}
        if done.entry is None:
            says = _(
                "%(wrong)s is as it was before. %(kit)s has a record of its own since then, "
                "which stays."
            )
            return Done(says % told)
        says = _("Corrected: it was %(kit)s, and %(wrong)s is as it was before.") % told
        if done.entry.irregular:
            why = " ".join(map(reason_texts.irregular, done.entry.irregular))
            says += f" {why} " + _("The keeper is told.")
        return Done(says, done.entry.pk)

    return acted(request, perform, to=back_to(request, reverse("scan")))
