"""A change made to several kit lists at once, with its sources for and against, and what became of
it: written into a draft of each list, which is then published and signed as ever.

Nothing is opened for it. Where one item takes the place of another, the old one counts until it is
used up (`kits.services.ledger.swaps`), and the new one goes in when a kit is open.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.conf import settings
from django.db import transaction
from django.db.models import Max, OuterRef, Prefetch, QuerySet, Subquery
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Refused, refuse_first
from kits.models import (
    Item,
    Kit,
    ListChange,
    ListChangeReview,
    ListChangeSource,
    ListChangeVersion,
    ListLine,
    PackingList,
    PackingListVersion,
    What,
    WhyNotCarried,
)
from kits.rules.ledger.facts import Criticality
from kits.rules.planning.records.studies import STUDIES
from kits.services.ledger.book import Book
from kits.services.lists import drafts
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lists.not_carried import NotCarriedDraft
from kits.services.text import change_texts

MOST_LISTS = 50
MOST_SOURCES = 20
MOST_REASON = 300


@dataclass(frozen=True)
class SourceDraft:
    """A source for or against a change: what it says, where that was read or the key of a published
    study, and from when it is."""

    supports: bool
    says: str
    read_in: str = ""
    study: str = ""
    dated: date | None = None


@dataclass(frozen=True)
class Amount:
    """How many a line carries, at least how many, and how much it matters: None leaves that as each
    list has it, and is routine for what is added."""

    carry: int
    never_below: int = 0
    criticality: Criticality | None = None


@dataclass(frozen=True)
class ChangeDraft:
    """What changes in which lists, why, and on what sources. `instead` and `by_day` are of a swap,
    `amount` of what is added or carried otherwise. `anyway`: the medical adviser has decided what
    becomes of a must-have."""

    what: What
    item: Item
    claim: str
    review_on: date
    lists: Sequence[PackingList]
    sources: Sequence[SourceDraft]
    instead: Item | None = None
    by_day: date | None = None
    amount: Amount | None = None
    anyway: bool = False


# ----------------------------------------------------------------------------------------- reading
def all_changes() -> QuerySet[ListChange]:
    """Changes with all that is shown of them, the latest first."""
    versions = ListChangeVersion.objects.select_related("version__packing_list")
    reviews = ListChangeReview.objects.select_related("reviewed_by")
    return (
        ListChange.objects.select_related("item", "instead", "made_by")
        .prefetch_related(
            "sources",
            Prefetch("reviews", reviews),
            Prefetch("versions", versions.order_by("version__packing_list__name")),
        )
        .order_by("-id")
    )


def newest_of(version: PackingListVersion) -> PackingListVersion | None:
    """The latest published version of the same list."""
    published = PackingListVersion.objects.filter(
        packing_list=version.packing_list_id, published_at__isnull=False
    )
    return published.order_by("-number").first()


def carrying(item: Item) -> QuerySet[PackingList]:
    """The lists in use whose latest version carries an item, drafts too."""
    lists = PackingList.objects.filter(retired_on=None)
    latest = lists.annotate(newest=Max("versions__number"))
    versions = PackingListVersion.objects.filter(
        sections__lines__item=item,
        number=Subquery(latest.filter(pk=OuterRef("packing_list")).values("newest")[:1]),
    )
    return lists.filter(versions__in=versions)


def lines_now(item: Item) -> list[ListLine]:
    """The lines of an item in the latest version of each list in use, drafts too."""
    lists = PackingList.objects.filter(retired_on=None).annotate(newest=Max("versions__number"))
    of_list = lists.filter(pk=OuterRef("section__version__packing_list"))
    rows = ListLine.objects.filter(
        item=item, section__version__number=Subquery(of_list.values("newest")[:1])
    )
    return list(
        rows.select_related("section__version__packing_list").order_by(
            "section__version__packing_list__name", "section__position", "id"
        )
    )


# ------------------------------------------------------------------------------------------ making
@transaction.atomic
def make(act: Act, draft: ChangeDraft) -> ListChange:
    """Write a change into a draft of each list: its open one, else a new one. Raises Invalid with
    what cannot be, and in which list; Refused (`must-have-lowered`) where a list would no longer
    carry a must-have, or less of it, unless `anyway`."""
    act.actor.require("edit_list")
    _refuse_wrong(draft, clock.local_date(act.received_at, settings.TIME_ZONE))
    if not draft.anyway:
        _refuse_lowered(draft)
    amount = draft.amount
    added = Criticality.ROUTINE if draft.what == What.ADD else ""
    change = ListChange.objects.create(
        what=draft.what,
        item=draft.item,
        instead=draft.instead,
        carry=amount.carry if amount else None,
        never_below=amount.never_below if amount else None,
        criticality=(amount.criticality or added) if amount else "",
        claim=draft.claim,
        by_day=draft.by_day,
        review_on=draft.review_on,
        made_by=act.person,
        made_at=act.received_at,
    )
    for source in draft.sources:
        ListChangeSource.objects.create(change=change, **vars(source))
    for packing_list in sorted(draft.lists, key=lambda row: row.pk):
        version = _written(act, packing_list, draft)
        ListChangeVersion.objects.create(change=change, version=version)
    return change


def _written(act: Act, packing_list: PackingList, draft: ChangeDraft) -> PackingListVersion:
    PackingList.objects.select_for_update(no_key=True).get(pk=packing_list.pk)
    version = packing_list.versions.latest("number")
    if version.published_at is not None:
        version = drafts.new_draft(act, packing_list)
    changed = _changed(drafts.draft_of(version), draft, packing_list, act)
    return drafts.edit_draft(act, version, changed)


def _refuse_lowered(draft: ChangeDraft) -> None:
    chosen = {each.pk for each in draft.lists}
    lowered = [
        line.section.version.packing_list
        for line in lines_now(draft.item)
        if draft.what != What.ADD and _lowered(line, draft.amount)
    ]
    if names := list(dict.fromkeys(each.name for each in lowered if each.pk in chosen)):
        says = change_texts.must_have(draft.item.name, names)
        raise Refused("must-have-lowered", says, lists=names)


def _lowered(line: ListLine, amount: Amount | None) -> bool:
    """Whether a must-have goes, gets a lower minimum, or is a must-have no more."""
    if line.criticality != Criticality.MUST_HAVE:
        return False
    return (
        amount is None
        or amount.never_below < line.never_below
        or amount.criticality not in (None, Criticality.MUST_HAVE)
    )


def _refuse_wrong(draft: ChangeDraft, today: date) -> None:
    swap = draft.what == What.SWAP
    by_day, instead = draft.by_day, draft.instead
    refuse_first(
        (not draft.claim.strip(), Invalid(_("Enter the reason for the change."), field="claim")),
        (
            not 1 <= len(draft.lists) <= MOST_LISTS,
            Invalid(_("Choose the lists that the change applies to."), field="lists"),
        ),
        (
            not 1 <= len(draft.sources) <= MOST_SOURCES,
            Invalid(_("Enter at least one source, for or against."), field="sources"),
        ),
        (
            draft.review_on <= today,
            Invalid(_("Enter a day after today for the next review."), field="review_on"),
        ),
        (
            swap and (instead is None or instead.pk == draft.item.pk),
            Invalid(_("Choose the item that replaces it."), field="instead"),
        ),
        (
            swap and (by_day is None or by_day <= today),
            Invalid(
                _("Enter a day after today by which all kits should have the new item."),
                field="by_day",
            ),
        ),
        (
            swap and instead is not None and instead.by_eye != draft.item.by_eye,
            Invalid(
                _(
                    "One of the two items is loose and the other is counted, so one cannot "
                    "replace the other. Change these lists one by one."
                ),
                field="instead",
            ),
        ),
        (
            not swap and (instead is not None or by_day is not None),
            Invalid(
                _("Only a replacement has a new item and a day by which all kits should have it."),
                field="instead",
            ),
        ),
    )
    _refuse_amount(draft)
    _refuse_sources(draft.sources)


def _refuse_amount(draft: ChangeDraft) -> None:
    needs_amount = draft.what in (What.ADD, What.AMOUNT)
    refuse_first(
        (
            needs_amount is (draft.amount is None),
            Invalid(_("Enter how many are carried."), field="carry")
            if needs_amount
            else Invalid(
                _(
                    "This kind of change does not alter how many are carried, so leave the "
                    "number empty."
                ),
                field="carry",
            ),
        ),
        (
            draft.amount is not None and draft.amount.never_below > draft.amount.carry,
            Invalid(_("The minimum is higher than the number to carry."), field="never_below"),
        ),
    )


def _refuse_sources(sources: Sequence[SourceDraft]) -> None:
    studies = {"", *(each.key for each in STUDIES)}
    for source in sources:
        refuse_first(
            (
                not source.says.strip(),
                Invalid(_("Enter what the source says."), field="sources"),
            ),
            (
                not source.read_in.strip() and not source.study,
                Invalid(_("Enter where you read this, or who said it."), field="sources"),
            ),
            (
                source.study not in studies,
                Invalid(
                    _("There is no study “%(study)s” here.") % {"study": source.study},
                    field="sources",
                ),
            ),
        )


# ------------------------------------------------------------------------ what it does to one list
def _changed(of: Draft, draft: ChangeDraft, in_list: PackingList, act: Act) -> Draft:
    """A list's draft with the change in it. Raises Invalid with the list's name."""
    sections = [replace(each, lines=_lines(each, draft, in_list)) for each in of.sections]
    carried = any(line.item == draft.item for each in of.sections for line in each.lines)
    names = {"list": in_list.name, "item": draft.item.name}
    refuse_first(
        (
            in_list.retired_on is not None,
            Invalid(_("The list %(list)s is no longer used.") % names, field="lists"),
        ),
        (
            draft.what == What.ADD and carried,
            Invalid(_("%(list)s already carries %(item)s.") % names, field="lists"),
        ),
        (
            draft.what != What.ADD and not carried,
            Invalid(_("%(list)s does not carry %(item)s.") % names, field="lists"),
        ),
        (
            draft.what == What.ADD and not sections,
            Invalid(_("%(list)s has no section yet. Add one first.") % names, field="lists"),
        ),
    )
    if draft.what == What.ADD and draft.amount:
        line = _with_amount(LineDraft(draft.item, 1), draft.amount, draft.claim)
        sections[0] = replace(sections[0], lines=[*sections[0].lines, line])
    now_carried = draft.instead or (draft.item if draft.what == What.ADD else None)
    left_out = [each for each in of.not_carried if now_carried is None or each.item != now_carried]
    if draft.what == What.REMOVE:
        left_out.append(
            NotCarriedDraft(
                WhyNotCarried.OTHER,
                item=draft.item,
                words=draft.claim[:MOST_REASON],
                decided_by=act.person,
                decided_on=clock.local_date(act.received_at, settings.TIME_ZONE),
            )
        )
    return replace(of, sections=sections, not_carried=left_out)


def _lines(section: SectionDraft, draft: ChangeDraft, in_list: PackingList) -> list[LineDraft]:
    items = {line.item for line in section.lines}
    if draft.instead is not None and {draft.item, draft.instead} <= items:
        raise Invalid(
            _("%(section)s of %(list)s already has both items. Change that list on its own.")
            % {"section": section.name, "list": in_list.name},
            field="lists",
        )
    changed = []
    for line in section.lines:
        if line.item != draft.item:
            changed.append(line)
        elif draft.instead is not None:
            reason = _reason(line.reason, draft.claim)
            changed.append(replace(line, item=draft.instead, reason=reason))
        elif draft.amount is not None:
            changed.append(_with_amount(line, draft.amount, draft.claim))
    return changed


def _with_amount(line: LineDraft, amount: Amount, claim: str) -> LineDraft:
    return replace(
        line,
        carry=amount.carry,
        never_below=amount.never_below,
        criticality=amount.criticality or line.criticality,
        reason=_reason(line.reason, claim),
    )


def _reason(before: str, claim: str) -> str:
    """Why a line is as it is: as before, and why it changed; the latter alone where both are too
    long."""
    both = f"{before.rstrip(' .')}. {claim}" if before else claim
    return (both if len(both) <= MOST_REASON else claim)[:MOST_REASON]


# --------------------------------------------------------------------------------------- reviewing
def review(
    act: Act, change: ListChange, *, review_on: date | None, note: str = ""
) -> ListChangeReview:
    """Record that somebody looked at a change again: it holds until it is looked at on a later day,
    or is withdrawn (None): then nobody waits for the new item any more, and what lists say is
    changed by another change. Raises Refused (`withdrawn-already`), Invalid."""
    act.actor.require("edit_list")
    today = clock.local_date(act.received_at, settings.TIME_ZONE)
    if review_on is not None and review_on <= today:
        raise Invalid(_("Enter a day after today for the next review."), field="review_on")
    with Book(act) as book:
        lists = change.versions.values("version__packing_list")
        kits = Kit.objects.filter(list_version__packing_list__in=lists)
        # Kits are judged by the day that withdrawing takes away.
        book.lock(*kits.values_list("pk", flat=True) if review_on is None else ())
        change = ListChange.objects.select_for_update(no_key=True).get(pk=change.pk)
        if change.withdrawn:
            raise Refused("withdrawn-already", _("This change has already been withdrawn."))
        return ListChangeReview.objects.create(
            change=change,
            review_on=review_on,
            note=note,
            reviewed_by=act.person,
            reviewed_at=act.received_at,
        )
