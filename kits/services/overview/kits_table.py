"""Kits as a table: one row a kit, narrowed and put in order.

Kits are judged only where a row is shown, or where the table is narrowed or ordered by how they
stand. The number of queries does not grow with the kits.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.rules.ordering import in_order
from kits.models import Checkout, Kit, PackingList, Trip
from kits.rules.ledger.facts import Word
from kits.services.ledger import verdicts
from kits.services.lookup import find, promises
from kits.services.overview import kits_overview


@dataclass(frozen=True)
class KitRow:
    """A kit, who has it, the trip that it goes on next, and how it stands."""

    kit: Kit
    checkout: Checkout | None
    next_trip: Trip | None
    judged: verdicts.Judged


@dataclass(frozen=True)
class Filter:
    """Which kits a table shows; what is empty leaves nothing out. `out`: whether somebody has
    them; `people`: how many people their list is for; `word`: how they stand."""

    search: str = ""
    room: Room | None = None
    packing_list: int | None = None
    people: int | None = None
    out: bool | None = None
    word: Word | None = None


EVERYTHING = Filter()

_WITH = ("room", "home_room", "list_version__packing_list")
_WORST_FIRST = (Word.DO_NOT_TAKE, Word.NOT_SET_UP, Word.SHORT, Word.LOW, Word.READY)
VERDICT = "verdict"
ORDERS: dict[str, Callable[[Mapping[str, Any]], Any]] = {
    "name": lambda row: row["name"].casefold(),
    "list": lambda row: row["list_version__packing_list__name"].casefold(),
    "size": lambda row: (row["list_version__people"], row["list_version__days"]),
    "place": lambda row: (row["out"], row["room__name"].casefold()),
    "trip": lambda row: row["trip"],
    "expiry": lambda row: row["first_expiry"],
    VERDICT: lambda row: _WORST_FIRST.index(row["word"]),
}
"""What a table can be put in order by, of what is asked of all kits."""
_COLUMNS = (
    "pk",
    "name",
    "first_expiry",
    "room__name",
    "list_version__packing_list__name",
    "list_version__people",
    "list_version__days",
)


@dataclass(frozen=True)
class Ordered:
    """Kits (ids) in order, and how they stand, by id, where the order or a filter needed that."""

    ids: Sequence[int]
    judged: Mapping[int, verdicts.Judged]


def ordered(actor: Actor, wanted: Filter, by: str = "", *, down: bool = False) -> Ordered:
    """The kits of somebody's rooms that are wanted, by one of ORDERS, else by name. Of each only
    what it is put in order by is read: `rows` reads those of a page."""
    by = by if by in ORDERS else "name"
    listed = kits_overview.listed(
        actor,
        room=wanted.room,
        out=wanted.out,
        packing_list=wanted.packing_list,
        search=wanted.search,
    ).order_by("name")
    if wanted.people is not None:
        listed = listed.filter(list_version__people=wanted.people)
    keys: list[dict[str, Any]] = list(listed.values(*_COLUMNS))
    answers: Mapping[int, verdicts.Judged] = {}
    if wanted.word is not None or by == VERDICT:
        answers = verdicts.judged(listed.select_related(None).select_related(*_WITH))
        keys = [{**row, "word": answers[row["pk"]].verdict.word} for row in keys]
        keys = [row for row in keys if wanted.word in (None, row["word"])]
    if by == "place":
        out = _out([row["pk"] for row in keys])
        keys = [{**row, "out": row["pk"] in out} for row in keys]
    if by == "trip":
        coming = promises.next_of([row["pk"] for row in keys])
        leaves = {pk: each.trip.departs_at for pk, each in coming.items()}
        keys = [{**row, "trip": leaves.get(row["pk"])} for row in keys]
    return Ordered([row["pk"] for row in in_order(keys, ORDERS[by], down=down)], answers)


def rows(ids: Sequence[int], judged: Mapping[int, verdicts.Judged] | None = None) -> list[KitRow]:
    """The rows of kits, in the order given; `judged` where it is known how they stand."""
    # A row shows nobody who answers for a kit or signed its list: they are not loaded.
    kits = Kit.objects.defer("list_version__signed_page").select_related(*_WITH).in_bulk(ids)
    return _rows([kits[pk] for pk in ids], judged)


def named(actor: Actor, names: Iterable[str]) -> list[KitRow]:
    """The kits of somebody's rooms with these names, by name; what is not there is left out."""
    wanted = find.kits_of(actor).active().filter(name__in=set(names))
    return _rows(list(wanted.order_by("name")))


def _rows(kits: Sequence[Kit], judged: Mapping[int, verdicts.Judged] | None = None) -> list[KitRow]:
    ids = [kit.pk for kit in kits]
    out, coming, judged = _out(ids), promises.next_of(ids), judged or verdicts.judged(kits)
    return [
        KitRow(
            kit,
            out.get(kit.pk),
            coming[kit.pk].trip if kit.pk in coming else None,
            judged[kit.pk],
        )
        for kit in kits
    ]


def _out(kits: Collection[int]) -> dict[int, Checkout]:
    held = Checkout.objects.open().of_whole_kits().filter(kit__in=kits)
    return {each.kit_id: each for each in held.select_related("person", "trip")}


# ------------------------------------------------------------------------------- what to choose of
@dataclass(frozen=True)
class Choices:
    """The lists that kits of somebody's rooms follow, and for how many people those are."""

    lists: Sequence[PackingList]
    people: Sequence[int]


def choices(actor: Actor) -> Choices:
    """By which lists and sizes the kits of somebody's rooms can be narrowed."""
    kits = find.kits_of(actor).active().order_by()
    columns = ("list_version__packing_list", "list_version__people")
    pairs = list(kits.values_list(*columns).distinct())
    lists = PackingList.objects.filter(pk__in={pk for pk, _people in pairs}).order_by("name")
    return Choices(list(lists), sorted({people for _pk, people in pairs}))
