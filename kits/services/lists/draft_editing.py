"""A draft of a kit list changed a part at a time: what it says of itself, one section, their order.

Whoever changes a section says in which state it was read (`mark`), so that of two people at the
same section the second is told and nothing is written over.
"""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, NotFound, Stale
from kits.models import ItemNeed, PackingListVersion
from kits.services.lists import drafts, packing_lists
from kits.services.lists.drafts import Draft, SectionDraft
from kits.services.lists.not_carried import FIELD, NotCarriedDraft

_SECTION = "section of that kit list"
_LINE = "line of what that kit list leaves out"


def mark(section: SectionDraft) -> str:
    """What tells one state of a section from another: 16 hexadecimal digits."""
    lines = [
        (line.item.pk, line.carry, line.never_below, str(line.criticality), line.reason)
        for line in section.lines
    ]
    return hashlib.sha256(
        repr((section.key, section.name, section.outside, lines)).encode()
    ).hexdigest()[:16]


def say(
    act: Act,
    version: PackingListVersion,
    *,
    people: int,
    days: int,
    hazards: Sequence[str],
    note: str,
) -> PackingListVersion:
    """Let a draft say for how many people and days it is, against what, and a note. Raises Refused
    (`published-already`), Invalid."""
    return _edit(
        act,
        version,
        lambda draft: replace(draft, people=people, days=days, hazards=tuple(hazards), note=note),
    )


def put_section(
    act: Act, version: PackingListVersion, section: SectionDraft, *, seen: str = ""
) -> PackingListVersion:
    """Let a section of a draft say this instead; one without a key is a new one, at the end.

    `seen` is the mark of the section that was read. Raises Refused (`published-already`), Stale
    (`changed-since`), NotFound for a section that is not there any more, Invalid.
    """

    def change(draft: Draft) -> Draft:
        if not section.key:
            return replace(draft, sections=(*draft.sections, section))
        where = _at(draft.sections, section.key, _SECTION)
        if seen and mark(draft.sections[where]) != seen:
            raise Stale(
                "changed-since",
                _(
                    "Somebody has changed %(name)s since you opened it. Look at it as it is "
                    "now, then make your change again."
                )
                % {"name": draft.sections[where].name},
            )
        before, after = draft.sections[:where], draft.sections[where + 1 :]
        return replace(draft, sections=(*before, section, *after))

    return _edit(act, version, change)


def drop_section(act: Act, version: PackingListVersion, key: str) -> PackingListVersion:
    """Take a section with its lines off a draft. Raises Refused (`published-already`), NotFound."""

    def change(draft: Draft) -> Draft:
        where = _at(draft.sections, key, _SECTION)
        return replace(draft, sections=(*draft.sections[:where], *draft.sections[where + 1 :]))

    return _edit(act, version, change)


def raise_section(act: Act, version: PackingListVersion, key: str) -> PackingListVersion:
    """Put a section of a draft before the one above it; the first stays. Raises Refused
    (`published-already`), NotFound."""

    def change(draft: Draft) -> Draft:
        order = list(draft.sections)
        where = _at(draft.sections, key, _SECTION)
        order.insert(max(0, where - 1), order.pop(where))
        return replace(draft, sections=tuple(order))

    return _edit(act, version, change)


def put_not_carried(
    act: Act, version: PackingListVersion, line: NotCarriedDraft, *, was: str = ""
) -> PackingListVersion:
    """Let a draft leave something out on purpose; in place of the line with key `was`, if given.
    Raises Refused (`published-already`), NotFound, Invalid (field `not_carried`; of a need too for
    which the list carries the best item)."""

    def change(draft: Draft) -> Draft:
        carried = [each.item.pk for section in draft.sections for each in section.lines]
        best = ItemNeed.objects.filter(need=line.need, best=True, item__in=carried)
        if line.need and (row := best.select_related("item").first()) is not None:
            raise Invalid(
                _("%(item)s is on this list and is for this need. Remove one of the two.")
                % {"item": row.item.name},
                field=FIELD,
            )
        lines = list(draft.not_carried)
        if was:
            lines[_at(draft.not_carried, was, _LINE)] = line
        else:
            lines.append(line)
        return replace(draft, not_carried=lines)

    return _edit(act, version, change)


def drop_not_carried(act: Act, version: PackingListVersion, key: str) -> PackingListVersion:
    """Take a line off what a draft leaves out. Raises Refused (`published-already`), NotFound."""

    def change(draft: Draft) -> Draft:
        at = _at(draft.not_carried, key, _LINE)
        return replace(draft, not_carried=[*draft.not_carried[:at], *draft.not_carried[at + 1 :]])

    return _edit(act, version, change)


@transaction.atomic
def _edit(
    act: Act, version: PackingListVersion, change: Callable[[Draft], Draft]
) -> PackingListVersion:
    act.actor.require("edit_list")
    version = packing_lists.locked(version)
    return drafts.edit_draft(act, version, change(drafts.draft_of(version)))


def _at(rows: Sequence[SectionDraft | NotCarriedDraft], key: str, what: str) -> int:
    """Which of these rows has this key. Raises NotFound, with what it is."""
    for position, row in enumerate(rows):
        if row.key == key:
            return position
    raise NotFound(what, key)
