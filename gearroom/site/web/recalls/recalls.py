"""Recalls: recorded, then who certainly and who maybe has the batch, who was notified, what
they answered; ended."""

from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy, pgettext

from gearroom.core.acts import Act, Actor, Problem
from gearroom.site.web.page import (
    Choice,
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    here,
    read_field,
    read_page,
    show,
)
from gearroom.site.web.page.words import DISPOSALS, WENT
from kits.models import Certainty, Item, Place, Recall, RecallScope
from kits.rules.recalls.certainty import Outcome
from kits.services.lookup import find
from kits.services.recalls import closing, recalls, status
from kits.services.recalls.recalls import Answer
from kits.services.recalls.status import Followed
from kits.services.stock import views
from kits.services.text import wording

_MOST_CLOSED = 50


def _list_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    may_start = actor(request).may("recall")
    known = Recall.objects.select_related("item", "entry", "closed")
    return show(
        request,
        "site/recalls/recalls.html",
        problem=problem,
        open=known.open(),
        closed=known.filter(closed__isnull=False)[:_MOST_CLOSED],
        values=request.POST or request.GET,
        scopes={
            RecallScope.NUMBER: _("One batch"),
            RecallScope.ALL: _("Every batch of the item"),
            RecallScope.NOT_KNOWN: _("The batch number is not known yet"),
        },
        may_start=may_start,
        things=may_start and Item.objects.order_by("name").values_list("name", flat=True),
    )


class RecallForm(PageForm):
    """A maker's recall: of which batches of which item, and what the maker says."""

    scope = Choice(
        RecallScope, message=gettext_lazy("Choose which batches the maker has recalled.")
    )
    item = ShortText(
        required=True,
        error_messages={"required": gettext_lazy("Choose which item has been recalled.")},
    )
    number = ShortText(80)
    reference = ShortText(80)
    advice = ShortText(500)


@form_view("answer_recall", "recalls", page_of=_list_page)
def all_recalls(act: Act, request: HttpRequest) -> Done:
    """The recalls that are open, those that are over, and the form to record one."""
    values = RecallForm.read(request.POST)
    if values["scope"] != RecallScope.NUMBER:
        values["number"] = ""
    recall = recalls.start(act, **{**values, "item": find.item(values["item"])})
    return Done(
        _(
            "The recall has been recorded. Any stock here has been put into quarantine; see "
            "below who has the rest."
        ),
        recall.entry_id,
        reverse("recall", args=[recall.pk]),
    )


@read_page("answer_recall")
def recall(request: HttpRequest, recall: int, problem: Problem | None = None) -> HttpResponse:
    """A recall: certainly and maybe apart, who has it, who was notified, what they answered."""
    who, of = actor(request), recalls.find(recall)
    state = status.of(of, who)
    rows = [_row(who, each) for each in state.places]
    withdrawn = of.outcome == Outcome.WITHDRAWN
    return show(
        request,
        "site/recalls/recall.html",
        problem=problem,
        recall=of,
        lots=state.lots,
        parts=[
            (key, label, [row for row in rows if row["certainty"] == key])
            for key, label in (
                (Certainty.CERTAIN, _("Certainly had the batch")),
                (Certainty.MAYBE, _("May have had the batch")),
            )
        ],
        later=[row for row in rows if row["certainty"] is None],
        waiting=sum(not row["settled"] for row in rows),
        quarantine=state.quarantine,
        gone=[
            {"row": each, "how": WENT.get(each.how, DISPOSALS.get(each.how))} for each in state.gone
        ],
        unsettled=state.unsettled,
        withdrawn=withdrawn,
        shelves=_shelves(request) if withdrawn else [],
        values=request.POST,
        may_follow=who.may("recall"),
        may_close=who.may("close_recall"),
        may_dispose=who.may("dispose"),
        first_lot=state.lots[0] if state.lots else None,
    )


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


class RowForm(PageForm):
    """Which place of the recall a form is about."""

    row = WholeNumber(most=10**9, label=gettext_lazy("Row"))


class AnswerForm(RowForm):
    """What somebody found there."""

    answer = Choice(Answer, message=gettext_lazy("Choose what was found there."))


@form_view("answer_recall", "recall", refused=recall)
def answer(act: Act, request: HttpRequest, recall: int) -> Done:
    """What somebody found in a place."""
    values, removed = AnswerForm.read(request.POST), 0
    row = recalls.find_row(act.actor, recalls.find(recall), values["row"])
    if values["answer"] == Answer.TAKEN_OUT:
        removed = read_field(
            WholeNumber(least=1, label=_("Units removed")), request.POST, "removed"
        )
    recalls.answer(act, row, values["answer"], removed=removed)
    of = row.place
    place = of.kit.name if of.kit else wording.place(of.kind, of.name, with_room=False)
    return Done(_("Saved for %(place)s.") % {"place": place}, row.answered_id)


@form_view("recall", "recall", refused=recall)
def mark_notified(act: Act, request: HttpRequest, recall: int) -> Done:
    """Whoever has a place was notified in another way, such as by phone."""
    values = RowForm.read(request.POST)
    recalls.mark_informed(act, recalls.find_row(act.actor, recalls.find(recall), values["row"]))
    return Done(_("Recorded: this person has been notified."))


class CloseForm(PageForm):
    """How a recall ends, and why."""

    outcome = ShortText()
    reason = ShortText(500)
    published_at = ShortText(300)


@form_view("close_recall", "recall", refused=recall)
def close(act: Act, request: HttpRequest, recall: int) -> Done:
    """End a recall: finished, or withdrawn by its maker."""
    values = CloseForm.read(request.POST)
    closed = closing.close(
        replace(act, reason=values["reason"]),
        recalls.find(recall),
        values["outcome"],
        published_at=values["published_at"],
    )
    if closed.outcome == Outcome.WITHDRAWN:
        return Done(_("The recall has been withdrawn. Anything in quarantine stays there until you "
                 "put it back on a shelf."))  # fmt: skip
    return Done(_("The recall is finished. The batch stays blocked."))


@form_view("recall", "recall", refused=recall)
def reopen(act: Act, request: HttpRequest, recall: int) -> Done:
    """Follow a recall again that was closed too early."""
    closing.reopen(act, recalls.find(recall))
    return Done(_("The recall is open again."))


@form_view("move", "recall", refused=recall)
def put_back(act: Act, request: HttpRequest, recall: int) -> Done:
    """Move what is in quarantine back onto a shelf, after the maker withdrew the recall."""
    shelf = find.shelf(act.actor, request.POST.get("shelf", ""))
    entry = closing.put_back(act, recalls.find(recall), shelf)
    return Done(_("Moved from quarantine to %(shelf)s.") % {"shelf": shelf.name}, entry.pk)


def _shelves(request: HttpRequest) -> list[Place]:
    """The shelves that something may be put back on: those of the room that they stand in."""
    room = here(request)
    if room is None or not actor(request).may("move", room.pk):
        return []
    return [each.place for each in views.shelves(room)]
