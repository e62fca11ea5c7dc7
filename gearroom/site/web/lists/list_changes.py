"""Changes made to several kit lists at once: all of them, one with its sources, and a new one."""

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem, one
from gearroom.core.rules.grouping import grouped
from gearroom.site.web.lists.packing_lists import state_of
from gearroom.site.web.page import (
    Choice,
    Day,
    Done,
    PageForm,
    Several,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    id_of,
    read_page,
    show,
    today_here,
)
from kits.models import Item, ListChange, ListLine, PackingList, What
from kits.rules.ledger.facts import Criticality
from kits.rules.planning.records.studies import STUDIES
from kits.services.lists import change_progress, list_changes
from kits.services.lists.list_changes import Amount, ChangeDraft, SourceDraft
from kits.services.lookup import find
from kits.services.text import change_texts
from kits.services.text.planning import planning_texts

MOST_CHANGES = 100
SOURCES = range(1, 5)
"""The sources that the form has room for."""


@read_page()
def all_changes(request: HttpRequest) -> HttpResponse:
    """All changes with how far they are, the latest first."""
    who, today = actor(request), today_here(request)
    changes = list(list_changes.all_changes()[:MOST_CHANGES])
    return show(
        request,
        "site/lists/list_changes/all.html",
        rows=[
            {
                "change": each.change,
                "what": change_texts.what(each.change),
                "how_far": change_texts.how_far(each.change, each.done, len(each.kits)),
                "review": change_texts.review(each.change, today),
            }
            for each in change_progress.followed(who, changes)
        ],
        may_edit=who.may("edit_list"),
        caution=planning_texts.CAUTION,
    )


# -------------------------------------------------------------------------------------- one change
class ReviewForm(PageForm):
    """When to look at a change again, and a note."""

    review_on = Day(required=False, label=gettext_lazy("Next review on"))
    note = ShortText(300)


def _one_page(request: HttpRequest, id: int, problem: Problem | None = None) -> HttpResponse:
    who, today = actor(request), today_here(request)
    change = one(list_changes.all_changes().filter(pk=id), "change to kit lists", id)
    (followed,) = change_progress.followed(who, [change])
    sources = [
        (each, change_texts.read_in(each.read_in, each.study)) for each in change.sources.all()
    ]
    return show(
        request,
        "site/lists/list_changes/one.html",
        problem=problem,
        change=change,
        what=change_texts.what(change),
        how_far=change_texts.how_far(change, followed.done, len(followed.kits)),
        review=change_texts.review(change, today),
        sides=[
            (heading, [row for row in sources if row[0].supports is supports])
            for heading, supports in (
                (_("Sources for the change"), True),
                (_("Sources against the change"), False),
            )
        ],
        lists=[
            (row.version, state_of(row.version, today, list_changes.newest_of(row.version)))
            for row in change.versions.all()
        ],
        kits=[(row, change_texts.stand(change, row.stand, row.number)) for row in followed.kits],
        used_up_first=change_texts.USED_UP_FIRST if change.instead else "",
        may_review=who.may("edit_list") and not change.withdrawn,
        drafts=change_progress.drafts_with(change)
        if change.withdrawn and who.may("edit_list")
        else [],
        values=request.POST,
        caution=planning_texts.CAUTION,
    )


@form_view("look", page_of=_one_page)
def one_change(act: Act, request: HttpRequest, id: int) -> Done:
    """One change; whoever edits lists says that it is still right, or withdraws it."""
    change = one(ListChange.objects.filter(pk=id), "change to kit lists", id)
    values = ReviewForm.read(request.POST)
    withdraw = request.POST.get("do") == "withdraw"
    if not withdraw and values["review_on"] is None:
        raise Invalid(_("Enter the day of the next review."), field="review_on")
    review_on = None if withdraw else values["review_on"]
    list_changes.review(act, change, review_on=review_on, note=values["note"])
    done = _("The change has been withdrawn.") if withdraw else _("The review has been recorded.")
    return Done(done, to=reverse("list-change", args=[id]))


# ------------------------------------------------------------------------------------ a new change
class ChangeForm(PageForm):
    """What changes in which lists, and why."""

    what = Choice(What, label=gettext_lazy("What changes"))
    thing = ShortText(120)
    instead = ShortText(120)
    by_day = Day(required=False, label=gettext_lazy("All kits should have it by"))
    carry = WholeNumber(least=1, required=False, label=gettext_lazy("Carry"))
    never_below = WholeNumber(required=False, initial=0, label=gettext_lazy("Minimum"))
    criticality = Choice(Criticality, required=False)
    claim = ShortText(300)
    review_on = Day(label=gettext_lazy("Next review on"))
    list = Several()


class SourceForm(PageForm):
    """A source for or against a change."""

    side = ShortText(8)
    says = ShortText(500)
    read_in = ShortText(300)
    study = ShortText(40)
    dated = Day(required=False, label=gettext_lazy("Date of the source"))


def _new_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    sent = request.POST if problem else request.GET
    item = Item.objects.active().filter(name=sent.get("thing", "")).first()
    kind = sent.get("what", "")
    lines = list_changes.lines_now(item) if item else []
    now = grouped((line.section.version.packing_list_id, line) for line in lines)
    chosen = set(request.POST.getlist("list")) if problem else set(map(str, now))
    lists = PackingList.objects.filter(retired_on=None)
    return show(
        request,
        "site/lists/list_changes/new.html",
        problem=problem,
        item=item,
        kind=kind if kind in What.values else "",
        kinds=change_texts.WHAT.items(),
        lists=[
            (each, _now(now.get(each.pk, ())), str(each.pk) in chosen)
            for each in lists
            if kind == What.ADD or each.pk in now
        ],
        must_have=_must_have(item, lines) if item and kind != What.ADD else "",
        things=Item.objects.active().values_list("name", flat=True),
        priorities=[
            *([("", change_texts.AS_NOW)] if kind == What.AMOUNT else []),
            *change_texts.PRIORITIES.items(),
        ],
        studies=[(each.key, f"{each.authors}, {each.year}") for each in STUDIES],
        sources=[
            (n, {name: sent.get(f"{name}-{n}", "") for name in SourceForm.base_fields})
            for n in SOURCES
        ],
        values=sent,
        caution=planning_texts.CAUTION,
    )


def _now(lines: Sequence[ListLine]) -> str:
    """What a list carries of an item now."""
    return "; ".join(
        change_texts.amount(line.carry, line.never_below, line.criticality) for line in lines
    )


def _must_have(item: Item, lines: Sequence[ListLine]) -> str:
    """What is asked where lists have an item as must-have."""
    must_haves = [line for line in lines if line.criticality == Criticality.MUST_HAVE]
    names = dict.fromkeys(line.section.version.packing_list.name for line in must_haves)
    return change_texts.must_have(item.name, list(names)) if names else ""


@form_view("edit_list", page_of=_new_page)
def new_change(act: Act, request: HttpRequest) -> Done:
    """Choose what changes, then the lists it concerns, why, and the sources."""
    sent = request.POST
    values = ChangeForm.read(sent)
    thing, instead, chosen = (values.pop(name) for name in ("thing", "instead", "list"))
    carry, least, matters = (values.pop(name) for name in ("carry", "never_below", "criticality"))
    lists = PackingList.objects.filter(pk__in=filter(None, map(id_of, chosen)))
    draft = ChangeDraft(
        item=find.item(thing),
        instead=find.item(instead) if instead else None,
        amount=Amount(carry, least, matters) if carry else None,
        lists=list(lists),
        sources=[source for n in SOURCES if (source := _source(sent, n))],
        anyway=bool(sent.get("anyway")),
        **values,
    )
    made = list_changes.make(act, draft)
    return Done(
        _("The change is in a draft of each list. Publish the drafts and have them signed."),
        to=reverse("list-change", args=[made.pk]),
    )


def _source(sent: Any, n: int) -> SourceDraft | None:
    values = SourceForm.read(sent, row=n)
    side = values.pop("side")
    if not any(values[name] for name in ("says", "read_in", "study")):
        return None
    return SourceDraft(supports=side != "against", **values)
