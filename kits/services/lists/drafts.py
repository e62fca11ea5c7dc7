"""Drafts of kit lists: what one says, made, copied from the latest version, changed.

A section's key stays the same from version to version, so that kits which follow another version
know which pouch is which.
"""

import itertools
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Refused, refuse_first, store
from gearroom.core.acts.rows import name_taken, refuse_taken_name
from kits.models import Item, ListLine, ListSection, PackingList, PackingListVersion
from kits.rules.ledger.facts import Criticality
from kits.rules.text.hazards import hazards
from kits.services.lists import not_carried
from kits.services.lists.not_carried import NotCarriedDraft
from kits.services.lists.packing_lists import locked
from kits.services.text.amounts import units
from kits.services.text.wording import as_invalid

FIELD = "sections"
MOST_SECTIONS = 40
MOST_LINES = 400
MOST_PEOPLE = 1000
MOST_DAYS = 365
"""Bounds of what a list may say; more is a slip of the finger."""

_KEY = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*", re.ASCII)


@dataclass(frozen=True)
class LineDraft:
    """One line of a draft: `carry` is the target and `never_below` the minimum, in base units."""

    item: Item
    carry: int
    never_below: int = 0
    criticality: Criticality = Criticality.ROUTINE
    reason: str = ""


@dataclass(frozen=True)
class SectionDraft:
    """A section of a draft. `key` empty: one is made from the name. `outside`: beside the bag."""

    name: str
    lines: Sequence[LineDraft] = ()
    key: str = ""
    outside: bool = False


@dataclass(frozen=True)
class Draft:
    """All that a version says: whom it serves, against what, its sections in order, and what it
    leaves out on purpose."""

    people: int
    days: int
    hazards: Sequence[str] = ()
    note: str = ""
    sections: Sequence[SectionDraft] = ()
    not_carried: Sequence[NotCarriedDraft] = ()


def make_list(act: Act, *, name: str, note: str = "", draft: Draft) -> PackingListVersion:
    """Make a kit list with a first version, a draft. Raises Refused (`name-taken`), Invalid."""
    act.actor.require("edit_list")
    if not (name := " ".join(name.split())):
        raise Invalid(_("Enter a name for the list."), field="name")
    taken = _("There is already a kit list called %(name)s. Choose another name.") % {"name": name}
    with refuse_taken_name(taken):
        if PackingList.objects.filter(name__iexact=name).exists():
            raise name_taken(taken)
        return _write(act, PackingList.objects.create(name=name, note=note), 1, _settled(draft))


@transaction.atomic
def new_draft(act: Act, packing_list: PackingList) -> PackingListVersion:
    """A new draft, copied from the latest version. Raises Refused (`draft-there`)."""
    act.actor.require("edit_list")
    PackingList.objects.select_for_update(no_key=True).get(pk=packing_list.pk)
    latest = packing_list.versions.latest("number")
    if latest.published_at is None:
        raise Refused(
            "draft-there",
            _(
                "Version %(latest_number)s of %(packing_list)s is already a draft. "
                "Continue with that draft."
            )
            % {"latest_number": latest.number, "packing_list": packing_list.name},
            version=latest.number,
        )
    return _write(act, packing_list, latest.number + 1, draft_of(latest))


@transaction.atomic
def edit_draft(act: Act, version: PackingListVersion, draft: Draft) -> PackingListVersion:
    """Let a draft say this instead. Raises Refused (`published-already`), Invalid."""
    act.actor.require("edit_list")
    draft = _settled(draft)
    version = locked(version)
    act.match(version)
    if version.published_at is not None:
        raise Refused(
            "published-already",
            _("A published version cannot be changed. Create a new draft from it."),
            version=version.number,
        )
    version.sections.all().delete()
    store(
        version,
        people=draft.people,
        days=draft.days,
        hazards=list(draft.hazards),
        note=draft.note,
    )
    _write_sections(version, draft.sections)
    not_carried.write(version, draft.not_carried)
    return version


def draft_of(version: PackingListVersion) -> Draft:
    """All that a version says, as a draft of the next."""
    return Draft(
        people=version.people,
        days=version.days,
        hazards=tuple(version.hazards),
        note=version.note,
        sections=tuple(
            SectionDraft(
                section.name,
                tuple(
                    LineDraft(
                        line.item,
                        line.carry,
                        line.never_below,
                        Criticality(line.criticality),
                        line.reason,
                    )
                    for line in section.lines.all()
                ),
                section.key,
                section.outside,
            )
            for section in version.sections.prefetch_related("lines__item")
        ),
        not_carried=tuple(not_carried.of(version)),
    )


def _write(act: Act, packing_list: PackingList, number: int, draft: Draft) -> PackingListVersion:
    version = PackingListVersion.objects.create(
        packing_list=packing_list,
        number=number,
        people=draft.people,
        days=draft.days,
        hazards=list(draft.hazards),
        note=draft.note,
        created_at=act.received_at,
        created_by=act.person,
    )
    _write_sections(version, draft.sections)
    not_carried.write(version, draft.not_carried)
    return version


def _write_sections(version: PackingListVersion, sections: Sequence[SectionDraft]) -> None:
    rows = ListSection.objects.bulk_create(
        ListSection(version=version, key=s.key, name=s.name, outside=s.outside, position=i)
        for i, s in enumerate(sections)
    )
    ListLine.objects.bulk_create(
        ListLine(
            section=row,
            item=line.item,
            carry=line.carry,
            never_below=line.never_below,
            criticality=line.criticality,
            reason=line.reason,
            position=i,
        )
        for row, section in zip(rows, sections, strict=True)
        for i, line in enumerate(section.lines)
    )


def _settled(draft: Draft) -> Draft:
    """The draft with hazards in order and a key for every section; refuses what cannot be."""
    for field, value, most in (
        ("people", draft.people, MOST_PEOPLE),
        ("days", draft.days, MOST_DAYS),
    ):
        if not 1 <= value <= most:
            raise Invalid(_("This must be from 1 to %(most)s.") % {"most": most}, field=field)
    with as_invalid("hazards"):
        in_order = hazards(draft.hazards)
    refuse_first(
        (
            len(draft.sections) > MOST_SECTIONS,
            Invalid(
                _("A list can have at most %(most_sections)s sections.")
                % {"most_sections": MOST_SECTIONS},
                field=FIELD,
            ),
        ),
        (
            sum(len(s.lines) for s in draft.sections) > MOST_LINES,
            Invalid(
                _("A list can have at most %(most_lines)s items.") % {"most_lines": MOST_LINES},
                field=FIELD,
            ),
        ),
    )
    carried = {line.item.pk for section in draft.sections for line in section.lines}
    not_carried.refuse_wrong(draft.not_carried, carried)
    return replace(draft, hazards=in_order, sections=_with_keys(draft.sections))


def _with_keys(sections: Sequence[SectionDraft]) -> list[SectionDraft]:
    taken = {s.key for s in sections if s.key}
    settled = []
    for section in sections:
        name = " ".join(section.name.split())
        key = section.key or _new_key(name, taken)
        taken.add(key)
        settled.append(replace(section, name=name, key=key))
    for _at, fault in section_faults(settled):
        raise fault
    for section in settled:
        _refuse_lines(section)
    return settled


def section_faults(sections: Sequence[SectionDraft]) -> Iterator[tuple[int, Invalid]]:
    """What is wrong with sections themselves, each with its position."""
    names: set[str] = set()
    for at, section in enumerate(sections):
        # A section is asked for by its key or its name, so neither may be another's.
        called = {section.key, section.name.casefold()} - {""}
        if not section.name:
            yield at, Invalid(_("Enter a name for every section."), field=FIELD)
        if section.key and (not _KEY.fullmatch(section.key) or len(section.key) > 40):
            says = _(
                "“%(key)s” is not a valid section key. Use lower-case letters, digits and "
                "single hyphens, at most 40 characters."
            )
            yield at, Invalid(says % {"key": section.key}, field=FIELD)
        if called & names:
            says = _("There is more than one section called %(name)s.")
            yield at, Invalid(says % {"name": section.name}, field=FIELD)
        names |= called


def _new_key(name: str, taken: set[str]) -> str:
    stem = slugify(name)[:36].strip("-").replace("_", "-") or "section"
    numbered = (f"{stem}-{number}" for number in itertools.count(2))
    return next(key for key in itertools.chain((stem,), numbered) if key not in taken)


def _refuse_lines(section: SectionDraft) -> None:
    for line in section.lines:
        units(line.carry, field=FIELD)
        units(line.never_below, field=FIELD, least=0)
    for _at, fault in line_faults(section):
        raise fault


def line_faults(section: SectionDraft) -> Iterator[tuple[int, Invalid]]:
    """What is wrong with lines of a section, each with the line's position in it."""
    items: set[int] = set()
    for at, line in enumerate(section.lines):
        facts = {
            "item": line.item.name,
            "section": section.name,
            "never_below": line.never_below,
            "carry": line.carry,
        }
        if line.never_below > line.carry:
            says = _(
                "%(item)s in %(section)s: the minimum (%(never_below)s) is higher than "
                "the number to carry (%(carry)s)."
            )
            yield at, Invalid(says % facts, field=FIELD)
        if line.item.pk in items:
            says = _("%(item)s is listed twice in %(section)s. Combine the two entries.")
            yield at, Invalid(says % facts, field=FIELD)
        if line.item.retired_on is not None:
            says = _("%(item)s has been retired. Bring it back into use or choose another item.")
            yield at, Invalid(says % facts, field=FIELD)
        items.add(line.item.pk)
