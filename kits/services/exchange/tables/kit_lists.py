"""Kit lists: what each carries, and what it leaves out on purpose. An import of one is a draft of
its next version; nobody signs or publishes by it.
"""

from collections.abc import Hashable, Iterator, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.rules.grouping import grouped
from gearroom.core.rules.sentences import say
from kits.models import PackingList, PackingListVersion, WhyNotCarried
from kits.rules.exchange.tables import FileRow, Values
from kits.rules.exchange.values import Column, Type
from kits.rules.ledger.facts import Criticality
from kits.rules.overview.workbook import fold
from kits.rules.text.hazards import HAZARDS
from kits.services.exchange.names import Names, person_text
from kits.services.exchange.table import Filters, Group, Importer, OnRecord, Row, Table
from kits.services.lists import drafts
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lists.not_carried import CarriedWhen, NotCarriedDraft

COLUMNS = (
    Column("list", say("Kit list"), say("The name of the kit list."), longest=80, needed=True),
    Column("version", say("Version"), say("The newest version, which may be a draft."),
           Type.WHOLE, only_read=True, blank_keeps=True),
    Column("signed_until", say("Signed until"), say("How long its signature is valid."), Type.DAY,
           only_read=True, blank_keeps=True),
    Column("people", say("For people"), say("How many people it is for; the same in each row."),
           Type.WHOLE, least=1, most=1000, blank_keeps=True),
    Column("days", say("For days"), say("How many days it is for; the same in each row."),
           Type.WHOLE, least=1, most=365, blank_keeps=True),
    Column("hazards", say("Hazards"), say("What it is for; the same in each row."), Type.SEVERAL,
           choices=HAZARDS, longest=40),
    Column("note", say("Note"), say("The same in each row."), longest=500),
    Column("section", say("Pouch"), say("The pouch that the item is in; empty for what is not "
           "carried."), longest=80),
    Column("section_key", say("Key of the pouch"),
           say("It stays the same when the pouch gets another name. Leave it empty for a new one."),
           longest=40),
    Column("outside", say("Outside the bag"), say("Whether the pouch is carried outside the bag."),
           Type.YES_NO),
    Column("item", say("Item"), say("The item’s name."), refers="item"),
    Column("need", say("Need"), say("A need that nothing is carried for."), refers="need"),
    Column("carry", say("Carry"), say("How many to carry; empty for what is not carried."),
           Type.WHOLE, least=1),
    Column("minimum", say("Minimum"), say("Never less than this many."), Type.WHOLE),
    Column("priority", say("Priority"), say("How much it matters."), Type.CHOICE,
           choices=tuple(Criticality)),
    Column("reason", say("Reason"), say("Why it is carried."), longest=300),
    Column("not_carried", say("Not carried"), say("Why it is left out on purpose."), Type.CHOICE,
           choices=tuple(map(str, WhyNotCarried.values))),
    Column("words", say("In words"), say("Why it is left out, in words."), longest=300),
    Column("instead", say("Instead"), say("What is done instead."), longest=300),
    Column("when_hazards", say("Carried for hazards"), say("When it is carried all the same."),
           Type.SEVERAL, choices=HAZARDS, longest=40),
    Column("when_activities", say("Carried for activities"),
           say("When it is carried all the same."), Type.SEVERAL, longest=40),
    Column("when_hours", say("Carried from hours to a hospital or doctor"),
           say("When it is carried all the same."), Type.AMOUNT, most=999),
    Column("trained", say("Trained"), say("Who is trained to use it."), longest=300),
    Column("decided_by", say("Decided by"), say("A name of somebody on record."), longest=140,
           refers="person"),
    Column("decided_on", say("Decided on"), say("When it was decided."), Type.DAY),
    Column("look_again_on", say("Next review on"), say("When to decide again."), Type.DAY),
    Column("look_again_after", say("Next review after"),
           say("What has to happen before it is decided again."),
           longest=200),
)  # fmt: skip

_OF_LIST = ("people", "days", "hazards", "note")


def rows(actor: Actor, filters: Filters) -> Iterator[Row]:
    """The newest version of each list in use, line by line, then what it leaves out."""
    for version in _newest():
        draft = drafts.draft_of(version)
        head: Row = {
            "list": version.packing_list.name,
            "version": version.number,
            "signed_until": version.signed_until,
            "people": draft.people,
            "days": draft.days,
            "hazards": tuple(draft.hazards),
            "note": draft.note,
        }
        for line in _lines(draft):
            yield {**head, **line}


def _newest() -> Iterator[PackingListVersion]:
    versions = (
        PackingListVersion.objects.filter(packing_list__retired_on=None)
        .select_related("packing_list")
        .defer("signed_page")
        .order_by("packing_list__name", "-number")
    )
    last = None
    for version in versions:
        if version.packing_list_id != last:
            last = version.packing_list_id
            yield version


def _lines(draft: Draft) -> Iterator[Row]:
    """A draft line by line: those of its sections, an empty section too, then what it leaves
    out."""
    for section in draft.sections:
        of: Row = {
            "section": section.name,
            "section_key": section.key,
            "outside": section.outside,
        }
        if not section.lines:
            yield {**_empty(), **of}
        for line in section.lines:
            yield {
                **_empty(),
                **of,
                "item": line.item.name,
                "carry": line.carry,
                "minimum": line.never_below,
                "priority": str(line.criticality),
                "reason": line.reason,
            }
    for out in draft.not_carried:
        yield {
            **_empty(),
            "item": out.item.name if out.item else None,
            "need": out.need.key if out.need else None,
            "not_carried": str(out.why),
            "words": out.words,
            "instead": out.instead,
            "when_hazards": tuple(out.when.hazards),
            "when_activities": tuple(out.when.activities),
            "when_hours": out.when.hours_to_care,
            "trained": out.trained,
            "decided_by": person_text(out.decided_by),
            "decided_on": out.decided_on,
            "look_again_on": out.look_again_on,
            "look_again_after": out.look_again_after,
        }


def _empty() -> Row:
    return {column.name: column.empty for column in COLUMNS[7:]}


# ---------------------------------------------------------------------------------------- imported
def _identify(names: Names, row: Row, on_record: OnRecord) -> Row:
    of_list = names.once("lists", lambda: {fold(v.packing_list.name): v for v in _newest()})
    there = of_list.get(fold(str(row["list"])))
    for what in ("item", "need"):
        if text := row.get(what):
            row = {**row, what: names.canonical(what, str(text), field=what)}
    out, section = row.get("not_carried"), str(row.get("section") or "")
    if row.get("item") and row.get("need"):
        raise Invalid(_("Enter either an item or a need."), field="need")
    if out and (section or row.get("carry") is not None):
        raise Invalid(
            _("This row says both that it is carried and why not. Leave one of them empty."),
            field="not_carried",
        )
    if not out and not section:
        raise Invalid(
            _("Enter the pouch that it is in, or why it is not carried."), field="section"
        )
    if not out and row.get("item") and row.get("carry") is None:
        raise Invalid(_("Enter how many to carry."), field="carry")
    if section and not row.get("section_key") and there:
        keys = names.once(
            f"sections-{there.pk}",
            lambda: {fold(s.name): (s.key, s.name) for s in there.sections.all()},
        )
        if fold(section) in keys:
            key, name = keys[fold(section)]
            row = {**row, "section_key": key, "section": name}
    return {**row, "list": there.packing_list.name} if there else row


def _key(values: Values) -> Hashable:
    section = values.get("section_key") or fold(str(values.get("section") or ""))
    return fold(str(values["list"])), section, values.get("item"), values.get("need")


def _group(values: Values) -> Hashable:
    return fold(str(values["list"]))


def _differs(names: Names, rows: Sequence[FileRow]) -> bool:
    """Whether the same rows are in another order."""
    version = _version(names, rows[0].values)
    return version is None or _draft(names, rows, version) != drafts.draft_of(version)


def _version(names: Names, values: Values) -> PackingListVersion | None:
    of_list = names.once("lists", lambda: {fold(v.packing_list.name): v for v in _newest()})
    return of_list.get(fold(str(values["list"])))


def _save(act: Act, names: Names, group: Group) -> None:
    first = group.rows[0].values
    version = _version(names, first)
    draft = _draft(names, group.rows, version)
    if version is None:
        drafts.make_list(act, name=str(first["list"]), draft=draft)
        return
    if version.published_at is not None:
        packing_list = PackingList.objects.get(pk=version.packing_list_id)
        version = drafts.new_draft(act, packing_list)
    drafts.edit_draft(act, version, draft)


def _draft(names: Names, rows: Sequence[FileRow], version: PackingListVersion | None) -> Draft:
    """What the rows of a list say; of a column that the file does not have, what it says now."""
    now = drafts.draft_of(version) if version else None
    before = {_line_key(line): line for line in _lines(now)} if now else {}
    whole = [
        ({**_empty(), **before.get(_line_key(row.values), {}), **row.values}, row.number)
        for row in rows
    ]
    facts = {name: _of_list(name, rows, getattr(now, name, None)) for name in _OF_LIST}
    if facts["people"] is None or facts["days"] is None:
        raise Invalid(_("Enter for how many people and days a new list is."), field="people")
    by_section = grouped(
        ((str(values["section"]), str(values["section_key"] or "")), values)
        for values, _number in whole
        if not values["not_carried"]
    )
    return Draft(
        people=facts["people"],
        days=facts["days"],
        hazards=tuple(facts["hazards"] or ()),
        note=facts["note"] or "",
        sections=tuple(
            SectionDraft(
                name,
                tuple(_line(names, values) for values in lines if values["item"]),
                key,
                bool(lines[0]["outside"]),
            )
            for (name, key), lines in by_section.items()
        ),
        not_carried=tuple(
            _left_out(names, values) for values, _number in whole if values["not_carried"]
        ),
    )


def _line_key(values: Values) -> Hashable:
    section = values.get("section_key") or fold(str(values.get("section") or ""))
    return section, values.get("item"), values.get("need")


def _of_list(name: str, rows: Sequence[FileRow], now: Any) -> Any:
    """What every row of a list says alike. Raises Invalid where they do not."""
    stated = {row.values[name] for row in rows if name in row.values}
    if len(stated) > 1:
        raise Invalid(_("This has to be the same in every row of a kit list."), field=name)
    return stated.pop() if stated else now


def _line(names: Names, values: Values) -> LineDraft:
    return LineDraft(
        names.item(str(values["item"])),
        int(str(values["carry"])),
        int(str(values["minimum"] or 0)),
        Criticality(str(values["priority"] or Criticality.ROUTINE)),
        str(values["reason"] or ""),
    )


def _left_out(names: Names, values: Values) -> NotCarriedDraft:
    hours, who = values["when_hours"], values["decided_by"]
    decided, again = values["decided_on"], values["look_again_on"]
    hazards, activities = values["when_hazards"], values["when_activities"]
    return NotCarriedDraft(
        WhyNotCarried(str(values["not_carried"])),
        item=names.item(str(values["item"])) if values["item"] else None,
        need=names.needs[str(values["need"])] if values["need"] else None,
        words=str(values["words"] or ""),
        instead=str(values["instead"] or ""),
        when=CarriedWhen(
            hazards if isinstance(hazards, tuple) else (),
            activities if isinstance(activities, tuple) else (),
            Decimal(str(hours)) if hours is not None else None,
        ),
        trained=str(values["trained"] or ""),
        decided_by=names.person(str(who), field="decided_by") if who else None,
        decided_on=decided if isinstance(decided, date) else None,
        look_again_on=again if isinstance(again, date) else None,
        look_again_after=str(values["look_again_after"] or ""),
    )


def _name_of(values: Values) -> str:
    what = values.get("item") or values.get("need") or values.get("section")
    return f"{values['list']}: {what}"


TABLE = Table(
    "kit-lists",
    say("Kit lists"),
    say("The newest version of every kit list, with what it leaves out and why. What is imported "
        "becomes a draft: somebody reads and publishes it, and the medical adviser signs it."),
    COLUMNS,
    rows,
    name_of=_name_of,
    importer=Importer(
        "edit_list", _identify, _key, _save, group=_group, always_whole=True, differs=_differs
    ),
)  # fmt: skip
