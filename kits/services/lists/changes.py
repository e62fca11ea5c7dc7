"""A kit list like another one except for some lines: other numbers, without some, with more."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from django.db import transaction

from gearroom.core.acts import Act
from kits.models import Item, PackingList, PackingListVersion
from kits.services.lists import drafts
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft

MOST_NOTE = PackingListVersion._meta.get_field("note").max_length or 0


@dataclass(frozen=True)
class Numbers:
    """How many a line carries (0: the line goes), and its minimum."""

    carry: int
    never_below: int = 0


@dataclass(frozen=True)
class Changes:
    """What is different: the numbers of lines, by section (key) and item, and how many to carry of
    items besides, which go into `section` where the list doesn't have them: with the priority, the
    minimum and the reason of `like`, by item, where it has one. `note` is added to the version's
    note, cut where there is no more room."""

    numbers: Mapping[tuple[str, int], Numbers]
    more: Mapping[Item, int]
    section: str
    like: Mapping[int, LineDraft] = field(default_factory=dict)
    note: str = ""


def make_like(
    act: Act, version: PackingListVersion, *, name: str, changes: Changes
) -> PackingListVersion:
    """Make a new kit list like a version except for some changes, a draft. Raises Refused
    (`name-taken`), Invalid."""
    return drafts.make_list(act, name=name, draft=changed(drafts.draft_of(version), changes))


@transaction.atomic
def make_next(act: Act, packing_list: PackingList, changes: Changes) -> PackingListVersion:
    """Make the next version of a list, a draft, with some changes. Raises Refused (`draft-there`),
    Invalid."""
    version = drafts.new_draft(act, packing_list)
    return drafts.edit_draft(act, version, changed(drafts.draft_of(version), changes))


def changed(draft: Draft, changes: Changes) -> Draft:
    """A draft with these changes. What it now carries, it no longer leaves out."""
    sections = [
        replace(section, lines=_renumbered(section, changes.numbers)) for section in draft.sections
    ]
    for item, units in changes.more.items():
        sections = _with(sections, _new_line(item, units, changes.like), changes.section)
    carried = {line.item.pk for section in sections for line in section.lines}
    return replace(
        draft,
        note=f"{draft.note} {changes.note}".strip()[:MOST_NOTE] if changes.note else draft.note,
        sections=sections,
        not_carried=[
            line for line in draft.not_carried if not (line.item and line.item.pk in carried)
        ],
    )


def _renumbered(
    section: SectionDraft, numbers: Mapping[tuple[str, int], Numbers]
) -> list[LineDraft]:
    lines = []
    for line in section.lines:
        now = numbers.get((section.key, line.item.pk), Numbers(line.carry, line.never_below))
        if now.carry:
            lines.append(replace(line, carry=now.carry, never_below=now.never_below))
    return lines


def _new_line(item: Item, units: int, like: Mapping[int, LineDraft]) -> LineDraft:
    """A line of so many, as important as the line it is like, and with no higher a minimum than it
    carries."""
    line = like.get(item.pk, LineDraft(item, units))
    return replace(line, carry=units, never_below=min(line.never_below, units))


def _with(sections: list[SectionDraft], new: LineDraft, name: str) -> list[SectionDraft]:
    """The sections with so many of a line's item altogether: where it is already, else as that line
    in the section of that name."""
    item, units = new.item, new.carry
    there = sum(line.carry for each in sections for line in each.lines if line.item == item)
    for at, section in enumerate(sections):
        for row, line in enumerate(section.lines):
            if line.item == item:
                lines = list(section.lines)
                lines[row] = replace(line, carry=max(1, units - (there - line.carry)))
                return [*sections[:at], replace(section, lines=lines), *sections[at + 1 :]]
    for at, section in enumerate(sections):
        if section.name.casefold() == name.casefold():
            lines = [*section.lines, new]
            return [*sections[:at], replace(section, lines=lines), *sections[at + 1 :]]
    return [*sections, SectionDraft(name, [new])]
