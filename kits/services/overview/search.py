"""Search in all that somebody may see: kits, items, batches, people, trips, kit lists.

Names are compared here, not in the database, so that accents and a slip are forgiven on every
engine; only what is found is loaded. The number of queries does not grow with what there is.
"""

import enum
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef

from gearroom.core.acts import Actor
from gearroom.core.rules.grouping import grouped
from gearroom.core.services.people import people
from kits.models import Holding, Item, LabelKind, Lot
from kits.rules.lookup import label_codes
from kits.rules.lookup.ranking import Fit, Query
from kits.services.lists import packing_lists
from kits.services.lookup import find

LONGEST = 80
"""What is typed beyond this is not looked for."""
MOST = 8
"""How many of each group are shown."""


class Group(enum.StrEnum):
    """What can be found, in the order in which it is shown."""

    KITS = "kits"
    ITEMS = "items"
    BATCHES = "batches"
    PEOPLE = "people"
    TRIPS = "trips"
    LISTS = "lists"


@dataclass(frozen=True)
class Hit:
    """Something found: its name, how it fits, and what its page is found by (`ref`): a kit's name,
    an id; of a batch the place and the batch, or the item alone where several places hold it.
    `beside` tells it apart, `day` is a trip's first day or a batch's expiry date."""

    group: Group
    ref: tuple[int | str, ...]
    name: str
    fit: Fit
    beside: str = ""
    day: date | None = None


@dataclass(frozen=True)
class Hits:
    """The best of a group, and how many there are."""

    group: Group
    best: Sequence[Hit]
    total: int


def search(actor: Actor, typed: str) -> list[Hits]:
    """What fits, by group, the best first; nothing for what is too short."""
    query = Query.of(typed[:LONGEST])
    if query.too_short:
        return []
    groups = (
        (Group.KITS, _kits(actor, query)),
        (Group.ITEMS, _items(query)),
        (Group.BATCHES, _batches(actor, query)),
        (Group.PEOPLE, _people(actor, query)),
        (Group.TRIPS, _trips(actor, query)),
        (Group.LISTS, _lists(query)),
    )
    found = ((group, sorted(hits, key=lambda hit: hit.fit)) for group, hits in groups)
    return [Hits(group, hits[:MOST], len(hits)) for group, hits in found if hits]


def labelled(actor: Actor, typed: str) -> Hit | None:
    """What a label of somebody's rooms is on, by its code; None for anything else."""
    code = label_codes.parse(typed[:LONGEST])
    return _on_label(actor, code) if code is not None else None


def only_one_named(found: Sequence[Hits]) -> Hit | None:
    """The one kit or batch among what was found that has exactly the name typed; None for none,
    and for several."""
    same = [
        hit
        for hits in found
        for hit in hits.best
        if hit.fit is Fit.SAME and hit.group in (Group.KITS, Group.BATCHES)
    ]
    return same[0] if len(same) == 1 else None


def _on_label(actor: Actor, code: str) -> Hit | None:
    on = ("kit", "place__kit", "lot__item", "person")
    label = find.labels_of(actor).active().select_related(*on).filter(code=code).first()
    if label is None:
        return None
    match label.kind:
        case LabelKind.KIT | LabelKind.SECTION if (kit := label.of_kit) is not None:
            return Hit(Group.KITS, (kit.name,), kit.name, Fit.SAME)
        case LabelKind.LOT if (lot := label.lot) is not None:
            return Hit(Group.ITEMS, (lot.item_id,), lot.item.name, Fit.SAME)
        case LabelKind.PERSON if label.person is not None and actor.may("see_people"):
            return Hit(Group.PEOPLE, (label.person.pk,), label.person.name, Fit.SAME)
    return None


# -------------------------------------------------------------------------------------- by group
def _kits(actor: Actor, query: Query) -> list[Hit]:
    kits = find.kits_of(actor).active().order_by("name")
    rows = list(kits.values_list("name", "list_version__packing_list__name"))
    short = set(find.names_short_for(actor, query.text))
    return [
        Hit(Group.KITS, (name,), name, fit, beside=on)
        for name, on in rows
        if (fit := _best(query.fit(name), Fit.BEGINS if name in short else None)) is not None
    ]


def _items(query: Query) -> list[Hit]:
    rows = Item.objects.order_by("name").values_list("pk", "name", "pack_codes__gtin")
    best: dict[int, Hit] = {}
    for pk, name, gtin in rows:
        by_code = Fit.SAME if gtin and gtin.lstrip("0") == query.text.lstrip("0") else None
        fit = _best(query.fit(name), by_code)
        if fit is not None and (pk not in best or fit < best[pk].fit):
            best[pk] = Hit(Group.ITEMS, (pk,), name, fit)
    return list(best.values())


def _batches(actor: Actor, query: Query) -> list[Hit]:
    """Batches of which a place of somebody's rooms holds some, by their number."""
    held = Holding.objects.on_hand().filter(
        lot=OuterRef("pk"), place__in=find.places_of(actor).values("pk")
    )
    lots = Lot.objects.filter(Exists(held)).order_by("item__name", "expiry", "pk")
    rows = [
        (pk, item, name, number or serial, expiry, fit)
        for pk, item, name, number, serial, expiry in lots.values_list(
            "pk", "item", "item__name", "number", "serial", "expiry"
        )
        if (fit := query.fit(number or serial)) in _OF_NUMBERS
    ]
    places = _only_places(actor, [pk for pk, *_more in rows])
    return [
        Hit(
            Group.BATCHES,
            (places[pk], pk) if pk in places else (item,),
            number,
            fit or Fit.SAME,
            beside=name,
            day=expiry,
        )
        for pk, item, name, number, expiry, fit in rows
    ]


_OF_NUMBERS = (Fit.SAME, Fit.BEGINS, Fit.WORD_BEGINS, Fit.CONTAINS)
"""How a number may fit: one that is one off is another batch's."""


def _only_places(actor: Actor, lots: Sequence[int]) -> dict[int, int]:
    """Where each of these batches (ids) is, of those that one place alone holds."""
    rows = Holding.objects.on_hand().filter(
        lot__in=lots, place__in=find.places_of(actor).values("pk")
    )
    places = grouped(rows.order_by().values_list("lot", "place"))
    return {lot: where[0] for lot, where in places.items() if len(where) == 1}


def _people(actor: Actor, query: Query) -> list[Hit]:
    if not actor.may("see_people"):
        return []
    rows = people.visible_to(actor).filter(left_on=None).order_by("name")
    return [
        Hit(Group.PEOPLE, (pk,), name, fit)
        for pk, name in rows.values_list("pk", "name").distinct()
        if (fit := query.fit(name)) is not None
    ]


def _trips(actor: Actor, query: Query) -> list[Hit]:
    """Trips by name or by the booking's reference, the latest first."""
    trips = find.trips_of(actor).filter(cancelled_at=None).order_by("-first_day", "name")
    return [
        Hit(Group.TRIPS, (pk,), name, fit, day=day)
        for pk, name, reference, day in trips.values_list("pk", "name", "reference", "first_day")
        if (fit := _best(query.fit(name), _same(query, reference))) is not None
    ]


def _lists(query: Query) -> list[Hit]:
    rows = packing_lists.all_lists().order_by("name").values_list("pk", "name")
    return [
        Hit(Group.LISTS, (pk,), name, fit)
        for pk, name in rows
        if (fit := query.fit(name)) is not None
    ]


def _same(query: Query, reference: str) -> Fit | None:
    return Fit.SAME if query.fit(reference) is Fit.SAME else None


def _best(*fits: Fit | None) -> Fit | None:
    return min((fit for fit in fits if fit is not None), default=None)
