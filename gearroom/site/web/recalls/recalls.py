"""Recalls: recorded, then who certainly and who maybe has the batch, who was told, what they
answered; ended."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import pgettext
from django.views.decorators.http import require_POST, require_safe

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page.fields import whole, words
from gearroom.site.web.page.shell import Done, acted, actor, here, page, show
from gearroom.site.web.page.words import DISPOSALS, WENT
from kits.models import Certainty, Item, Place, Recall, RecallScope
from kits.rules.recalls.certainty import Outcome
from kits.services.lookup import find
from kits.services.recalls import closing, recalls
from kits.services.recalls import status as standing
from kits.services.recalls.recalls import Answer
from kits.services.recalls.status import Followed
from kits.services.stock import views

_MOST_CLOSED = 50


@page("answer_recall")
def every(request: HttpRequest) -> HttpResponse:
    """The recalls that are open, those that are over, and the form to record one."""
    if request.method == "POST":
        try:
            return _started(request)
        except Problem as problem:
            return _every(request, problem)
    return _every(request)


def _every(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    known = Recall.objects.select_related("item", "entry", "closed")
    facts: dict[str, Any] = {
        "open": known.open(),
        "closed": known.filter(closed__isnull=False)[:_MOST_CLOSED],
        "said": request.POST or request.GET,
        "problem": problem,
        "scopes": {
            RecallScope.NUMBER: _("One lot number"),
            RecallScope.ALL: _("Every batch of it"),
            RecallScope.NOT_KNOWN: _("The lot number is not known yet"),
        },
        "may_start": who.may("recall"),
    }
    if facts["may_start"]:
        facts["things"] = Item.objects.order_by("name").values_list("name", flat=True)
    status = problem.status if problem else 200
    return show(request, "site/recalls/recalls.html", facts, status=status)


def _started(request: HttpRequest) -> HttpResponse:
    said = request.POST

    def perform(act: Act) -> Done:
        if said.get("scope") not in RecallScope.values:
            raise Invalid(_("Choose which batches the maker recalls."), field="scope")
        if not said.get("item", "").strip():
            raise Invalid(_("Choose which item is recalled."), field="item")
        scope = RecallScope(said["scope"])
        recall = recalls.start(
            act,
            item=find.item(said["item"].strip()),
            scope=scope,
            number=words(said, "number", 80) if scope == RecallScope.NUMBER else "",
            reference=words(said, "reference", 80),
            advice=words(said, "advice", 500),
        )
        says = _(
            "The recall is recorded. What is here went to quarantine; see below who has the rest."
        )
        return Done(says, recall.entry_id, reverse("recall", args=[recall.pk]))

    return acted(request, perform, to=reverse("recalls"))


@require_safe
@page("answer_recall")
def one(request: HttpRequest, recall: int) -> HttpResponse:
    """How a recall stands: certainly and maybe apart, who has it, who was told, what they said."""
    return _one(request, recalls.find(recall))


def _one(request: HttpRequest, recall: Recall, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    stands = standing.of(recall, who)
    parts = {Certainty.CERTAIN: _("Certainly"), Certainty.MAYBE: _("Maybe")}
    rows = [_row(who, each) for each in stands.places]
    waiting = sum(not row["settled"] for row in rows)
    facts = {
        "recall": recall,
        "lots": stands.lots,
        "parts": [
            (key, label, [row for row in rows if row["certainty"] == key])
            for key, label in parts.items()
        ],
        "later": [row for row in rows if row["certainty"] is None],
        "waiting": waiting,
        "quarantine": stands.quarantine,
        "gone": [
            {"row": each, "how": WENT.get(each.how, DISPOSALS.get(each.how))}
            for each in stands.gone
        ],
        "unsettled": stands.unsettled,
        "withdrawn": recall.outcome == Outcome.WITHDRAWN,
        "shelves": _shelves(request) if recall.outcome == Outcome.WITHDRAWN else [],
        "said": request.POST,
        "problem": problem,
        "may_follow": who.may("recall"),
        "may_close": who.may("close_recall"),
        "may_dispose": who.may("dispose"),
        "first_lot": stands.lots[0] if stands.lots else None,
    }
    status = problem.status if problem else 200
    return show(request, "site/recalls/recall.html", facts, status=status)


def _row(who: Actor, of: Followed) -> dict[str, Any]:
    row = of.row
    answers = {
        Answer.TAKEN_OUT: pgettext("of a kit", "removed"),
        Answer.NONE_THERE: _("none there"),
        Answer.WILL_LOOK: _("will look"),
    }
    kit = of.place.kit
    room = kit.home_room_id if kit is not None else of.place.room_id
    return {
        "of": of,
        "certainty": row.certainty if row else None,
        "settled": of.settled,
        "answer": answers.get(Answer(row.answer)) if row and row.answer else "",
        "in_kit": kit is not None,
        "phones": who.may("see_people", room),
    }


@require_POST
@page("answer_recall")
def answer(request: HttpRequest, recall: int) -> HttpResponse:
    """What somebody found in a place."""
    found = recalls.find(recall)

    def perform(act: Act) -> Done:
        said = request.POST
        if said.get("answer") not in list(Answer):
            raise Invalid(_("Choose what was found there."), field="answer")
        given = Answer(said["answer"])
        row = recalls.find_row(act.actor, found, whole(said, "row", what=_("Row"), most=10**9))
        removed = (
            whole(said, "removed", least=1, what=_("Units removed"))
            if given == Answer.TAKEN_OUT
            else 0
        )
        recalls.answer(act, row, given, removed=removed)
        inside = row.place.kit.name if row.place.kit else row.place.name
        return Done(_("Saved for %(place)s.") % {"place": inside}, row.answered_id)

    return _done(request, found, perform)


@require_POST
@page("recall")
def told(request: HttpRequest, recall: int) -> HttpResponse:
    """Whoever has a place was told in another way, such as by phone."""
    found = recalls.find(recall)

    def perform(act: Act) -> Done:
        row = recalls.find_row(
            act.actor, found, whole(request.POST, "row", what=_("Row"), most=10**9)
        )
        recalls.mark_told(act, row)
        return Done(_("Recorded: they were notified."))

    return _done(request, found, perform)


@require_POST
@page("close_recall")
def close(request: HttpRequest, recall: int) -> HttpResponse:
    """End a recall: finished, or withdrawn by its maker."""
    found = recalls.find(recall)

    def perform(act: Act) -> Done:
        said = request.POST
        closed = closing.close(
            replace(act, reason=words(said, "reason", 500)),
            found,
            said.get("outcome", ""),
            published_at=words(said, "published_at", 300),
        )
        if closed.outcome == Outcome.WITHDRAWN:
            says = _("The recall is withdrawn. What is in quarantine stays there until you put it "
                     "back on a shelf.")  # fmt: skip
        else:
            says = _("The recall is finished. Its batch stays blocked.")
        return Done(says)

    return _done(request, found, perform)


@require_POST
@page("recall")
def reopen(request: HttpRequest, recall: int) -> HttpResponse:
    """Follow a recall again that was closed too early."""
    found = recalls.find(recall)

    def perform(act: Act) -> Done:
        closing.reopen(act, found)
        return Done(_("The recall is open again."))

    return _done(request, found, perform)


@require_POST
@page("move")
def put_back(request: HttpRequest, recall: int) -> HttpResponse:
    """Move what is in quarantine back onto a shelf, after the maker withdrew the recall."""
    found = recalls.find(recall)

    def perform(act: Act) -> Done:
        shelf = find.shelf(act.actor, request.POST.get("shelf", ""))
        entry = closing.put_back(act, found, shelf)
        return Done(_("Moved from quarantine to %(shelf)s.") % {"shelf": shelf.name}, entry.pk)

    return _done(request, found, perform)


def _shelves(request: HttpRequest) -> list[Place]:
    """The shelves that something may be put back on: those of the room that they stand in."""
    room = here(request)
    if room is None or not actor(request).may("move", room.pk):
        return []
    return [each.place for each in views.shelves(room)]


def _done(request: HttpRequest, recall: Recall, perform: Any) -> HttpResponse:
    try:
        return acted(request, perform, to=reverse("recall", args=[recall.pk]))
    except Problem as problem:
        return _one(request, recall, problem)
