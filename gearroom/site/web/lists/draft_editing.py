"""A draft of a kit list, edited by section: what is carried, the minimum of each, and why."""

from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, NotFound, Problem, Stale
from gearroom.site.web.lists.packing_lists import kits_of_list, substitutes, version_values
from gearroom.site.web.page import (
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    id_of,
    read_field,
    show,
    words,
)
from gearroom.site.web.planning import fits
from kits.models import Item, PackingListVersion
from kits.rules.ledger.facts import Criticality
from kits.services.ledger import hazards_covered
from kits.services.lists import draft_editing, drafts, not_carried
from kits.services.lists.drafts import LineDraft, SectionDraft
from kits.services.lists.packing_lists import version_of
from kits.services.lookup import find
from kits.services.stock import catalogue


# -------------------------------------------------------------------------------- the draft as such
def _draft_page(
    request: HttpRequest, id: int, number: int, problem: Problem | None = None
) -> HttpResponse:
    version = version_of(id, number)
    sent: Any = request.POST if "people" in request.POST else None
    return show(
        request,
        "site/lists/draft/draft.html",
        problem=problem,
        version=version,
        hazards=words.HAZARDS.items(),
        values=sent or {"people": version.people, "days": version.days, "note": version.note},
        chosen=sent.getlist("hazard") if sent else version.hazards,
        lacking=hazards_covered.lacking_needs(version),
        left_out=len(not_carried.of(version)),
        fit=fits.shown(version, kits_of_list(actor(request), id)),
        new_section=request.POST.get("section", "") if problem else "",
    )


@form_view("edit_list", "list-edit", page_of=_draft_page)
def edit(act: Act, request: HttpRequest, id: int, number: int) -> Done:
    """What a draft says of itself, and its sections in order."""
    version, sent = version_of(id, number), request.POST
    if key := sent.get("raise"):
        draft_editing.raise_section(act, version, key)
        return Done(_("Moved up."))
    if key := sent.get("drop"):
        draft_editing.drop_section(act, version, key)
        return Done(_("The section and its items have been removed from the draft."))
    if "section" in sent:
        section = SectionDraft(read_field(ShortText(80), sent, "section"))
        done = draft_editing.put_section(act, version, section)
        key = done.sections.order_by("position").last().key  # type: ignore[union-attr]  # just put
        return Done(
            _("%(name)s has been added to the draft. Now add its items.") % {"name": section.name},
            to=reverse("list-section", args=[version.packing_list_id, version.number, key]),
        )
    draft_editing.say(act, version, **version_values(sent))
    return Done(_("Saved."))


# ------------------------------------------------------------------------------------- one section
class LineForm(PageForm):
    """A line: how many are carried, the minimum, its priority and why."""

    carry = WholeNumber(least=1)
    never = WholeNumber(required=False, initial=0)
    matters = ShortText()
    reason = ShortText()


def _section_page(
    request: HttpRequest, id: int, number: int, key: str, problem: Problem | None = None
) -> HttpResponse:
    version = version_of(id, number)
    draft, sent = _section_of(version, key), request.POST
    items = {line.item.pk: line.item for line in draft.lines}
    if "seen" not in sent or isinstance(problem, Stale):
        title, sent, lines = draft.name, QueryDict(), draft.lines
    else:
        title = sent.get("name", "")
        lines = [_as_typed(sent, items[pk]) for pk in _pks(sent) if pk in items]
    instead = substitutes(items)
    return show(
        request,
        "site/lists/draft/section.html",
        problem=problem,
        version=version,
        section=draft,
        seen=draft_editing.mark(draft),
        name=title,
        outside="outside" in sent if "seen" in sent else draft.outside,
        rows=[(line, instead.get(line.item.pk, ())) for line in lines],
        values=sent,
        criticalities=words.CRITICALITIES.items(),
        things=Item.objects.active().values_list("name", flat=True),
        may_edit_items=actor(request).may("edit_item"),
    )


@form_view("edit_list", "list-section", page_of=_section_page)
def section(act: Act, request: HttpRequest, id: int, number: int, key: str) -> Done:
    """One section of a draft: its lines, and one more."""
    version, sent = version_of(id, number), request.POST
    dropped, item = sent.getlist("drop"), read_field(ShortText(120), sent, "thing-new")
    items = {line.item.pk: line.item for line in _section_of(version, key).lines}
    lines = [
        _line(sent, items[pk], pk) for pk in _pks(sent) if pk in items and str(pk) not in dropped
    ]
    if item:
        lines.append(_line(sent, find.item(item), "new"))
    _move_up(lines, sent.get("raise", ""))
    put = SectionDraft(
        read_field(ShortText(80), sent, "name"), lines, key, outside="outside" in sent
    )
    draft_editing.put_section(act, version, put, seen=sent.get("seen", ""))
    return Done(_("%(name)s has been saved.") % {"name": put.name})


def _line(sent: QueryDict, item: Item, row: object) -> LineDraft:
    labels = {"carry": _("%(thing)s, number to carry"), "never": _("%(thing)s, minimum")}
    labels = {name: label % {"thing": item.name} for name, label in labels.items()}
    values = LineForm.read(sent, row=row, labels=labels)
    priority = values["matters"] or Criticality.ROUTINE
    if priority not in list(Criticality):
        raise Invalid(
            _("%(thing)s: choose a priority.") % {"thing": item.name}, field=f"matters-{row}"
        )
    return LineDraft(
        item, values["carry"], values["never"], Criticality(priority), values["reason"]
    )


def _as_typed(sent: Any, item: Item) -> LineDraft:
    """A line that was refused, with the texts that were typed."""
    return LineDraft(item, *(sent.get(f"{name}-{item.pk}", "") for name in LineForm.base_fields))


def _pks(sent: QueryDict) -> list[int]:
    """The items of the form's lines, in the form's order."""
    names = (name.removeprefix("carry-") for name in sent if name.startswith("carry-"))
    return [pk for name in names if (pk := id_of(name)) is not None]


def _move_up(lines: list[LineDraft], item: str) -> None:
    for at, line in enumerate(lines):
        if str(line.item.pk) == item and at:
            lines.insert(at - 1, lines.pop(at))
            return


def _section_of(version: PackingListVersion, key: str) -> SectionDraft:
    for each in drafts.draft_of(version).sections:
        if each.key == key:
            return each
    raise NotFound("section of that kit list", key)


# ------------------------------------------------------------------------- what can be used instead
class SubstituteForm(PageForm):
    """An item, another that can be used instead, and how that differs."""

    of = ShortText()
    other = ShortText(120)
    note = ShortText(200)


@form_view("edit_item", "list-section", part="#instead", refused=_section_page)
def instead(act: Act, request: HttpRequest, id: int, number: int, key: str) -> Done:
    """Say that another item can be used instead of one on a list, or no more; on every list."""
    _section_of(version_of(id, number), key)
    values = SubstituteForm.read(request.POST)
    of, other = find.item(values["of"]), find.item(values["other"])
    names = {"thing": of.name, "other": other.name}
    if request.POST.get("no-more"):
        catalogue.remove_substitute(act, of, other)
        return Done(_("%(other)s can no longer be used instead of %(thing)s.") % names)
    catalogue.put_substitute(act, of, other, values["note"])
    return Done(_("%(other)s can now be used instead of %(thing)s on every kit list.") % names)
