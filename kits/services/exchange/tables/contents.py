"""What is in the kits and on the shelves, batch by batch. An import of it is a count: the stock
book stays the only way to move units, and what differs goes through it as if somebody had counted.
"""

from collections.abc import Hashable, Iterator
from dataclasses import replace
from datetime import date

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.rules.sentences import say
from kits.models import Holding, Item, Kit, LevelFact, Lot, Place, PlaceKind
from kits.rules.exchange.tables import Values
from kits.rules.exchange.values import Column, Type
from kits.rules.ledger import Kind
from kits.rules.ledger.facts import Level
from kits.rules.overview.workbook import fold
from kits.services.exchange.names import Names
from kits.services.exchange.table import Filters, Group, Importer, OnRecord, Row, Table
from kits.services.ledger import LooseLevel, facts, lots
from kits.services.lookup import find
from kits.services.stock import counting

COLUMNS = (
    Column("room", say("Gear room"), say("Where the shelf is, or where the kit is at home."),
           refers="room", needed=True),
    Column("kit", say("Kit"), say("The kit’s name; empty for a shelf."), longest=40),
    Column("section", say("Pouch"), say("The pouch of the kit; may be empty if it has only one."),
           longest=80),
    Column("shelf", say("Shelf"), say("The shelf’s name; empty for a kit."), longest=80),
    Column("item", say("Item"), say("The item’s name."), refers="item", needed=True),
    Column("lot", say("LOT or serial number"), say("As printed on the pack."), longest=40),
    Column("expiry", say("Expiry date"), say("As printed; a month is good until its last day."),
           Type.EXPIRY),
    Column("opened_on", say("Opened on"), say("For an opened pack that is on record."), Type.DAY),
    Column("units", say("How many"), say("What is there; 0 if none are left."), Type.WHOLE),
    Column("level", say("How full"), say("For a loose item, which is not counted."), Type.CHOICE,
           choices=tuple(Level)),
)  # fmt: skip


def rows(actor: Actor, filters: Filters) -> Iterator[Row]:
    """What is on the shelves of somebody's rooms and in the kits at home there."""
    places = _places(actor)
    if filters.room:
        places = {pk: place for pk, place in places.items() if _room(place) == filters.room.slug}
    there = (
        Holding.objects.on_hand()
        .filter(place__in=places)
        .select_related("lot__item")
        .order_by("place", "lot__item__name", "lot__expiry", "lot__number", "lot")
    )
    for held in there:
        yield {
            **_where(places[held.place_id]),
            **_which(held.lot.item, held.lot),
            "units": held.units,
            "level": None,
        }
    levels = LevelFact.objects.filter(facts.then(), section__in=places).select_related("item")
    latest = {(fact.section_id, fact.item_id): fact for fact in levels.order_by("id")}
    for (section, _item), fact in sorted(latest.items()):
        level = {"units": None, "level": str(fact.level)}
        yield {**_where(places[section]), **_which(fact.item, None), **level}


def _places(actor: Actor) -> dict[int, Place]:
    """Shelves, and sections of kits in use, of the rooms that somebody belongs to."""
    own = find.places_of(actor).select_related("room", "kit__home_room").open()
    own = own.filter(kind__in=[PlaceKind.SHELF, PlaceKind.SECTION]).exclude(
        kit__retired_on__isnull=False
    )
    return {place.pk: place for place in own if actor.belongs_to(_home(place))}


def _home(place: Place) -> int | None:
    return place.kit.home_room_id if place.kit else place.room_id


def _room(place: Place) -> str:
    if place.kit:
        return place.kit.home_room.slug
    return place.room.slug if place.room else ""


def _where(place: Place) -> Row:
    kit = place.kit
    return {
        "room": _room(place),
        "kit": kit.name if kit else "",
        "section": place.name if kit else "",
        "shelf": "" if kit else place.name,
    }


def _which(item: Item, lot: Lot | None) -> Row:
    return {
        "item": item.name,
        "lot": (lot.serial or lot.number) if lot else "",
        "expiry": lot.expiry if lot else None,
        "opened_on": lot.opened_on if lot else None,
    }


def _key(values: Values) -> Hashable:
    opened = values.get("opened_on")
    which = (values.get("item"), values.get("lot"), values.get("expiry"), opened)
    return (*_place_key(values), *which)


def _place_key(values: Values) -> tuple[str, str, str, str]:
    room, kit, section, shelf = (
        str(values.get(name) or "") for name in ("room", "kit", "section", "shelf")
    )
    return room, fold(kit), fold(section), fold(shelf)


def _group(values: Values) -> Hashable:
    """A kit, or a shelf: counted at once."""
    room, kit, _section, shelf = _place_key(values)
    return room, kit, shelf


def _identify(names: Names, row: Row, on_record: OnRecord) -> Row:
    place = _place(names, row)
    item = names.item(names.canonical("item", str(row["item"]), field="item"))
    loose = item.by_eye and place.kit is not None
    if loose == (row.get("level") is None) or loose == (row.get("units") is not None):
        raise _not_so(item, row, loose=loose)
    lot = lots.normal(str(row.get("lot") or ""), field="lot")
    expiry = row.get("expiry")
    if item.kind == Kind.INSTRUMENT and lot and expiry is None:
        there = Lot.objects.filter(item=item, serial=lot).values_list("expiry", flat=True).first()
        expiry = there
    return {
        **row,
        **_where(place),
        "item": item.name,
        "lot": lot,
        "expiry": expiry,
        "opened_on": row.get("opened_on"),
    }


def _not_so(item: Item, row: Row, *, loose: bool) -> Invalid:
    """Why a number, or how full it is, cannot be said of an item there."""
    if loose:
        says = _("%(item)s is loose (not counted): choose full, low or empty instead of a number.")
    elif row.get("units") is None:
        says = _("Enter how many there are of %(item)s.")
    else:
        says = _("%(item)s is counted: enter how many there are, not how full it is.")
    return Invalid(says % {"item": item.name}, field="level" if loose else "units")


def _place(names: Names, row: Row) -> Place:
    room = names.canonical("room", str(row["room"]), field="room")
    kit, shelf = str(row.get("kit") or ""), str(row.get("shelf") or "")
    if bool(kit) == bool(shelf):
        raise Invalid(_("Enter either a kit or a shelf."), field="kit")
    places = names.once("contents", lambda: _by_name(names.actor))
    section = str(row.get("section") or "")
    there = places.get((room, fold(kit), fold(shelf)), {})
    if not there:
        raise Invalid(
            _("%(room)s has nothing called “%(name)s”. Add it first, or check its name.")
            % {"room": names.room(room).name, "name": kit or shelf},
            field="kit" if kit else "shelf",
        )
    if shelf or (not section and len(there) == 1):
        return next(iter(there.values()))
    if fold(section) not in there:
        raise Invalid(
            _("%(kit)s has no pouch “%(section)s”. Its pouches are: %(names)s.")
            % {
                "kit": kit,
                "section": section,
                "names": ", ".join(place.name for place in there.values()),
            },
            field="section",
        )
    return there[fold(section)]


def _by_name(actor: Actor) -> dict[tuple[str, str, str], dict[str, Place]]:
    by_name: dict[tuple[str, str, str], dict[str, Place]] = {}
    for place in _places(actor).values():
        where = _where(place)
        of = (str(where["room"]), fold(str(where["kit"])), fold(str(where["shelf"])))
        by_name.setdefault(of, {})[fold(str(where["section"]))] = place
    return by_name


def _save(act: Act, names: Names, group: Group) -> None:
    """Count a kit or a shelf as the file has it. What is not in the file stays as it is on record,
    unless the file has all of it."""
    rows = [row.values for row in group.rows]
    first = rows[0]
    by_section = names.once("contents", lambda: _by_name(names.actor))[
        str(first["room"]), fold(str(first["kit"])), fold(str(first["shelf"]))
    ]
    places = list(by_section.values())
    if (kit := places[0].kit) is not None:
        list(Kit.objects.select_for_update(of=("self",)).filter(pk=kit.pk))
    lines, levels = [], []
    for values in rows:
        place = by_section[fold(str(values["section"]))]
        item = names.item(str(values["item"]))
        if values.get("level") is not None:
            levels.append(LooseLevel(place, item, Level(str(values["level"]))))
        else:
            units = int(str(values["units"]))
            lines.append(counting.CountLine(place, units, lot=_lot(item, values)))
    lots.held_still(line.lot.pk for line in lines if line.lot)
    counted = places if group.whole or kit is None else [
        place for place in places if place in {each.place for each in lines} | {
            level.section for level in levels
        }
    ]  # fmt: skip
    counting.count(
        replace(act, reason=act.reason or _("Imported from a file")),
        counted,
        lines,
        complete=group.whole,
        levels=levels,
    )


def _lot(item: Item, values: Values) -> Lot:
    number, expiry, opened = (values[name] for name in ("lot", "expiry", "opened_on"))
    until = expiry if isinstance(expiry, date) else None
    if isinstance(opened, date):
        there = Lot.objects.filter(item=item, number=number, expiry=until, opened_on=opened).first()
        if there is None:
            raise Invalid(
                _(
                    "No opened pack like this is on record. First record on the page of"
                    " its kit or shelf that it was opened."
                ),
                field="opened_on",
            )
        return there
    if item.kind == Kind.INSTRUMENT:
        return lots.known(item=item, serial=str(number), expiry=until)
    return lots.known(item=item, number=str(number), expiry=until)


def _name_of(values: Values) -> str:
    where = values.get("kit") or values.get("shelf")
    return ", ".join(
        str(text) for text in (where, values.get("section"), values.get("item")) if text
    )


TABLE = Table(
    "contents",
    say("Contents"),
    say("What is in every kit and on every shelf, batch by batch. Importing it is a count: what is "
        "there is written down as it is, even if it is out of date."),
    COLUMNS,
    rows,
    narrowed_by=frozenset({"room"}),
    name_of=_name_of,
    importer=Importer(
        "count",
        _identify,
        _key,
        _save,
        group=_group,
        may_be_whole=True,
        can_go=lambda values: values["units"] is not None,
    ),
)  # fmt: skip
