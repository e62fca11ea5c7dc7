"""The first day: a start workbook taken into the book, all of it or nothing.

What stands where is written down as a count of what was found, so nothing is refused for being out
of date: the kits say then what has to come out.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.models import Person, Room
from gearroom.core.rules.grouping import grouped
from gearroom.core.services.people import people
from kits.models import Checkout, Item, Kit, Label, Lot, PackingList, PackingListVersion, Place
from kits.rules.ledger.facts import Kind
from kits.rules.overview.workbook import Known, ListRow, WhereRow, Workbook, fold, read
from kits.services.kits import kits
from kits.services.ledger import lots
from kits.services.lists import drafts, publishing
from kits.services.lookup import find
from kits.services.restocking import sorting
from kits.services.stock import catalogue, counting, shelves


@dataclass(frozen=True)
class Added:
    """How much was added of each, and how many batches were found."""

    shelves: int
    things: int
    lists: int
    kits: int
    batches: int


@dataclass(frozen=True)
class Steps:
    """How far a room has come: how many of each there are, and what has been done with them."""

    shelves: int
    people: int
    things: int
    lists: int
    signed: int
    kits: int
    filled: int
    labelled: int
    went: int


def steps(room: Room) -> Steps:
    """How far a room has come on its first day."""
    own = Kit.objects.active().filter(home_room=room)
    published = PackingListVersion.objects.filter(published_at__isnull=False)
    labels = Label.objects.active()
    return Steps(
        shelves=Place.objects.open().shelves().filter(room=room).count(),
        people=Person.objects.filter(home_room=room, left_on__isnull=True)
        .exclude(pk__in=people.programs().values("pk"))
        .count(),
        things=Item.objects.active().count(),
        lists=_of_lists(published),
        signed=_of_lists(published.filter(signed_until__gte=clock.today(room.time_zone))),
        kits=own.count(),
        filled=own.filter(contents_entered=True).count(),
        labelled=own.filter(Exists(labels.filter(kit=OuterRef("pk")))).count(),
        went=own.filter(Exists(Checkout.objects.not_undone().filter(kit=OuterRef("pk")))).count(),
    )


def _of_lists(versions: QuerySet[PackingListVersion]) -> int:
    return versions.values("packing_list").distinct().count()


def read_workbook(
    actor: Actor,
    room: Room,
    sheets: Mapping[str, Sequence[Sequence[Any]]],
    words: Mapping[str, str],
) -> Workbook:
    """What a workbook says of a room, held against what is in the book already."""
    known = Known(
        shelves=_names(Place.objects.shelves().filter(room=room)),
        things=_names(Item.objects.all()),
        lists=_names(PackingList.objects.filter(versions__published_at__isnull=False)),
        kits=_names(find.kits_of(actor).filter(home_room=room)),
        people=_names(_people(actor)),
    )
    return read(sheets, known=known, today=clock.today(room.time_zone), words=words)


@transaction.atomic
def begin(act: Act, room: Room, book: Workbook) -> Added:
    """Add all that a workbook says that is not there yet, then write down what was found where.

    Raises Invalid where something is wrong with it, and whatever the acts behind it raise; then
    nothing is added.
    """
    if book.faults:
        raise Invalid(
            _(
                "There are mistakes in the spreadsheet, so nothing was added. Correct them and "
                "upload the spreadsheet again."
            )
        )
    for name in book.shelves:
        shelves.add_shelf(act, room, name)
    for row in book.things:
        item = catalogue.add_item(
            act,
            name=row.name,
            kind=row.kind,
            base_unit=row.base_unit,
            needs_date=row.needs_date,
            sterile=row.sterile,
            by_eye=row.by_eye,
            check_every_days=row.check_every_days,
            check_question=row.check_question,
        )
        if row.gtin:
            catalogue.put_pack_code(act, item, gtin=row.gtin, units_per_pack=row.units_per_pack)
    things = {fold(item.name): item for item in Item.objects.all()}
    for new in book.lists:
        publishing.publish(
            act,
            drafts.make_list(act, name=new.name, draft=_draft(new, things)),
            anyway=True,
        )
    people = {fold(p.name): p for p in _people(act.actor)}
    for kit in book.kits:
        kits.add_kit(
            act,
            list_version=_latest(kit.list),
            home_room=room,
            name=kit.name,
            responsible=people.get(fold(kit.responsible)) if kit.responsible else None,
        )
    batches = _count(act, room, book.where, things)
    return Added(len(book.shelves), len(book.things), len(book.lists), len(book.kits), batches)


# ------------------------------------------------------------------------------------------- inside
def _people(actor: Actor) -> QuerySet[Person]:
    return find.people_of(actor).filter(left_on=None)


def _names(rows: Any) -> frozenset[str]:
    return frozenset(fold(name) for name in rows.values_list("name", flat=True))


def _draft(row: ListRow, things: Mapping[str, Item]) -> drafts.Draft:
    return drafts.Draft(
        people=row.people,
        days=row.days,
        hazards=row.hazards,
        sections=tuple(
            drafts.SectionDraft(
                name,
                tuple(
                    drafts.LineDraft(
                        things[fold(line.thing)],
                        line.carry,
                        line.never_below,
                        line.criticality,
                        line.reason,
                    )
                    for line in lines
                ),
            )
            for name, lines in row.sections.items()
        ),
    )


def _latest(name: str) -> PackingListVersion:
    versions = PackingListVersion.objects.filter(
        packing_list__name__iexact=" ".join(name.split()), published_at__isnull=False
    )
    if (latest := versions.order_by("-number").first()) is None:
        raise Invalid(
            _("There is no published kit list called %(name)s. Publish it first.") % {"name": name}
        )
    return latest


def _count(act: Act, room: Room, rows: Sequence[WhereRow], things: Mapping[str, Item]) -> int:
    """Write down one count for each shelf and each kit that a row speaks of; how many batches."""
    by_place = grouped((fold(row.place), row) for row in rows)
    on_shelves = {fold(p.name): p for p in Place.objects.shelves().filter(room=room)}
    of_kits = {fold(k.name): k for k in Kit.objects.active().filter(home_room=room)}
    # All kits before any batch, and all batches before any is counted: one order, though each
    # place is an act of its own.
    wanted = [of_kits[name].pk for name in by_place if name in of_kits]
    list(Kit.objects.select_for_update(of=("self",)).filter(pk__in=wanted).order_by("pk"))
    units: dict[str, dict[tuple[Place, Lot], int]] = {name: defaultdict(int) for name in by_place}
    for name, there in by_place.items():
        for row in there:
            place = on_shelves[name] if name not in of_kits else _section(of_kits[name], row)
            units[name][place, _lot(things[fold(row.thing)], row)] += row.units
    lots.held_still(lot.pk for there in units.values() for _place, lot in there)
    batches = 0
    for name in by_place:
        kit = of_kits.get(name)
        result = [
            counting.CountLine(place, count, lot=lot) for (place, lot), count in units[name].items()
        ]
        places = list({f.place.pk: f.place for f in result}.values())
        counting.count(act, places, result, complete=False)
        if kit is not None:
            sorting.look_inside(act, kit)
        batches += len(result)
    return batches


def _section(kit: Kit, row: WhereRow) -> Place:
    sections = list(kit.sections.open())
    if not row.section and len(sections) == 1:
        return sections[0]
    for place in sections:
        if fold(row.section) in (fold(place.name), place.section_key):
            return place
    raise Invalid(
        _(
            "“What is where”, row %(row)s: %(kit)s has no pouch “%(section)s”. Its pouches are: "
            "%(names)s."
        )
        % {
            "row": row.row,
            "kit": kit.name,
            "section": row.section,
            "names": ", ".join(place.name for place in sections),
        }
    )


def _lot(item: Item, row: WhereRow) -> Lot:
    if item.by_eye:
        raise Invalid(
            _("“What is where”, row %(row)s: %(item)s is loose and not counted. Remove the row.")
            % {"row": row.row, "item": item.name}
        )
    if item.kind == Kind.INSTRUMENT:
        return lots.known(item=item, serial=row.number)
    return lots.known(item=item, number=row.number, expiry=row.expiry)
