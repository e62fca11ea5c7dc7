"""A draft of a kit list, edited by section: what is carried, how few may be left, and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, NotFound, Problem
from gearroom.site.web.lists.packing_lists import address, facts_said, substitutes, version_of
from gearroom.site.web.page import fields, words
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.models import Item, PackingListVersion
from kits.rules.ledger.facts import Criticality
from kits.services.lists import draft_editing, packing_lists
from kits.services.lists.packing_lists import LineDraft, SectionDraft
from kits.services.lookup import find
from kits.services.stock import catalogue


# -------------------------------------------------------------------------------- the draft as such
@page("edit_list")
def edit(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """What a draft says of itself, and its sections in order."""
    version = version_of(id, number)
    if request.method == "POST":
        try:
            return _said(request, version)
        except Problem as problem:
            return _edit_page(request, version_of(id, number), problem)
    return _edit_page(request, version)


def _edit_page(
    request: HttpRequest, version: PackingListVersion, problem: Problem | None = None
) -> HttpResponse:
    said: Any = request.POST if "people" in request.POST else None
    facts = {
        "version": version,
        "problem": problem,
        "hazards": words.HAZARDS.items(),
        "said": said or {"people": version.people, "days": version.days, "note": version.note},
        "chosen": said.getlist("hazard") if said else version.hazards,
        "new_section": fields.words(request.POST, "section", 80) if problem else "",
    }
    return show(request, "site/lists/draft.html", facts, status=problem.status if problem else 200)


def _said(request: HttpRequest, version: PackingListVersion) -> HttpResponse:
    said = request.POST

    def perform(act: Act) -> Done:
        if key := said.get("raise"):
            draft_editing.raise_section(act, version, key)
            return Done(_("Moved up."))
        if key := said.get("drop"):
            draft_editing.drop_section(act, version, key)
            return Done(_("The section is removed from the draft, with its lines."))
        if "section" in said:
            section = SectionDraft(fields.words(said, "section", 80))
            done = draft_editing.put_section(act, version, section)
            key = done.sections.order_by("position").last().key  # type: ignore[union-attr]  # just put
            return Done(
                _("%(name)s is on the draft. Add its lines.") % {"name": section.name},
                to=_section_address(version, key),
            )
        facts = facts_said(request)
        draft_editing.say(
            act,
            version,
            people=facts.people,
            days=facts.days,
            hazards=facts.hazards,
            note=facts.note,
        )
        return Done(_("Saved."))

    return acted(request, perform, to=address("list-edit", version))


# ------------------------------------------------------------------------------------- one section
@dataclass(frozen=True)
class Row:
    """A line as the form shows it: what the draft says, or what was typed and refused."""

    item: Item
    carry: Any
    never_below: Any
    criticality: str
    reason: str


@page("edit_list")
def section(request: HttpRequest, id: int, number: int, key: str) -> HttpResponse:
    """One section of a draft: its lines, and one more."""
    version = version_of(id, number)
    if request.method == "POST":
        try:
            return _section_saved(request, version, key)
        except Problem as problem:
            return _section_page(request, version_of(id, number), key, problem)
    return _section_page(request, version, key)


def _section_page(
    request: HttpRequest, version: PackingListVersion, key: str, problem: Problem | None = None
) -> HttpResponse:
    draft = _section_of(version, key)
    said = request.POST if "seen" in request.POST else None
    items = {line.item.pk: line.item for line in draft.lines}
    if said is None or (problem is not None and problem.status == 412):
        name, said = draft.name, QueryDict()
        rows = [
            Row(line.item, line.carry, line.never_below, line.criticality, line.reason)
            for line in draft.lines
        ]
    else:
        name = fields.words(said, "name", 80)
        rows = [
            Row(items[pk], *(said.get(f"{what}-{pk}", "") for what in _COLUMNS))
            for pk in _pks(said)
            if pk in items
        ]
    instead = substitutes(items)
    facts = {
        "version": version,
        "section": draft,
        "seen": draft_editing.mark(draft),
        "name": name,
        "rows": [(row, instead.get(row.item.pk, ())) for row in rows],
        "said": said,
        "problem": problem,
        "criticalities": words.CRITICALITIES.items(),
        "things": Item.objects.active().values_list("name", flat=True),
        "may_edit_items": actor(request).may("edit_item"),
    }
    status = problem.status if problem else 200
    return show(request, "site/lists/draft_section.html", facts, status=status)


def _section_saved(request: HttpRequest, version: PackingListVersion, key: str) -> HttpResponse:
    said = request.POST

    def perform(act: Act) -> Done:
        before = _section_of(version, key)
        there = {line.item.pk: line.item for line in before.lines}
        dropped = {int(pk) for pk in said.getlist("drop") if pk.isdecimal()}
        lines = [
            _line(said, there[pk], str(pk)) for pk in _pks(said) if pk in there.keys() - dropped
        ]
        if fields.words(said, "thing-new", 120):
            lines.append(_line(said, find.item(fields.words(said, "thing-new", 120)), "new"))
        _raise(lines, said.get("raise", ""))
        put = SectionDraft(fields.words(said, "name", 80), lines, key)
        draft_editing.put_section(act, version, put, seen=said.get("seen", ""))
        return Done(_("%(name)s is saved.") % {"name": put.name})

    return acted(request, perform, to=_section_address(version, key))


_COLUMNS = ("carry", "never", "matters", "reason")


def _line(said: QueryDict, item: Item, at: str) -> LineDraft:
    try:
        criticality = Criticality(said.get(f"matters-{at}", Criticality.ROUTINE))
    except ValueError:
        raise Invalid(
            _("%(thing)s: choose its priority.") % {"thing": item.name},
            field=f"matters-{at}",
        ) from None
    carry = _("%(thing)s, carry") % {"thing": item.name}
    never = _("%(thing)s, minimum") % {"thing": item.name}
    return LineDraft(
        item,
        fields.whole(said, f"carry-{at}", least=1, what=carry),
        fields.whole(said, f"never-{at}", what=never) if said.get(f"never-{at}") else 0,
        criticality,
        fields.words(said, f"reason-{at}"),
    )


def _pks(said: QueryDict) -> list[int]:
    """The things of the form's lines, in the form's order."""
    names = [name.removeprefix("carry-") for name in said if name.startswith("carry-")]
    return [int(name) for name in names if name.isdecimal() and len(name) < 19]


def _raise(lines: list[LineDraft], item: str) -> None:
    for at, line in enumerate(lines):
        if str(line.item.pk) == item and at:
            lines.insert(at - 1, lines.pop(at))
            return


def _section_of(version: PackingListVersion, key: str) -> SectionDraft:
    for each in packing_lists.draft_of(version).sections:
        if each.key == key:
            return each
    raise NotFound("section of that kit list", key)


def _section_address(version: PackingListVersion, key: str) -> str:
    return reverse("list-section", args=[version.packing_list_id, version.number, key])


# -------------------------------------------------------------------------- what will do instead
@require_POST
@page("edit_item")
def instead(request: HttpRequest, id: int, number: int, key: str) -> HttpResponse:
    """Say that another thing will do instead of one on a list, or no more; on every list."""
    version = version_of(id, number)
    said = request.POST

    def perform(act: Act) -> Done:
        of, other = find.item(said.get("of", "")), find.item(fields.words(said, "other", 120))
        told = {"thing": of.name, "other": other.name}
        if said.get("no-more"):
            catalogue.remove_substitute(act, of, other)
            return Done(_("%(other)s can no longer be used instead of %(thing)s.") % told)
        catalogue.put_substitute(act, of, other, fields.words(said, "note", 200))
        return Done(_("Can use %(other)s instead of %(thing)s, on every kit list.") % told)

    try:
        return acted(request, perform, to=_section_address(version, key) + "#instead")
    except Problem as problem:
        return _section_page(request, version, key, problem)
