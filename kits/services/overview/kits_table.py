"""Kits as a table: one row a kit, narrowed and put in order.

Kits are judged only where a row is shown, or where the table is narrowed or ordered by how they
stand. The number of queries does not grow with the kits.
"""

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
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
    """A kit, who has it, the trip that it goes on next, and how it stands (None: not judged
    yet)."""

    kit: Kit
    checkout: Checkout | None
    next_trip: Trip | None
    judged: verdicts.Judged | None = None


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
ORDERS: dict[str, Callable[[KitRow], Any]] = {
    "name": lambda row: row.kit.name.casefold(),
    "list": lambda row: row.kit.list_version.packing_list.name.casefold(),
    "size": lambda row: (row.kit.list_version.people, row.kit.list_version.days),
    "place": lambda row: (row.checkout is not None, row.kit.room.name.casefold()),
    "trip": lambda row: row.next_trip.departs_at if row.next_trip else None,
    "expiry": lambda row: row.kit.first_expiry,
    VERDICT: lambda row: _WORST_FIRST.index(row.judged.verdict.word) if row.judged else None,
}
"""What a table can be put in order by."""


def rows(actor: Actor, wanted: Filter, by: str = "", *, down: bool = False) -> list[KitRow]:
    """The kits of somebody's rooms that are wanted, by one of ORDERS, else by name."""
    listed = kits_overview.listed(
        actor,
        room=wanted.room,
        out=wanted.out,
        packing_list=wanted.packing_list,
        search=wanted.search,
    )
    if wanted.people is not None:
        listed = listed.filter(list_version__people=wanted.people)
    # A row shows nobody who answers for a kit or signed its list: they are not loaded.
    listed = listed.select_related(None).select_related(*_WITH)
    plain = _plain(list(listed.order_by("name")))
    if wanted.word is not None or by == VERDICT:
        plain = judged(plain)
    fitting = [row for row in plain if wanted.word in (None, _word(row))]
    return in_order(fitting, ORDERS[by if by in ORDERS else "name"], down=down)


def named(actor: Actor, names: Iterable[str]) -> list[KitRow]:
    """The kits of somebody's rooms with these names, by name; what is not there is left out."""
    wanted = find.kits_of(actor).active().filter(name__in=set(names))
    return _plain(list(wanted.order_by("name")))


def _plain(kits: Collection[Kit]) -> list[KitRow]:
    out, coming = _out(kits), promises.next_of([kit.pk for kit in kits])
    return [
        KitRow(kit, out.get(kit.pk), coming[kit.pk].trip if kit.pk in coming else None)
        for kit in kits
    ]


def judged(rows: Sequence[KitRow]) -> list[KitRow]:
    """The same rows with how each stands, where that is not known yet."""
    answers = verdicts.judged([row.kit for row in rows if row.judged is None])
    return [row if row.judged else replace(row, judged=answers[row.kit.pk]) for row in rows]


def _word(row: KitRow) -> Word | None:
    return row.judged.verdict.word if row.judged else None


def _out(kits: Collection[Kit]) -> dict[int, Checkout]:
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
    pairs = set(kits.values_list(*columns))
    lists = PackingList.objects.filter(pk__in={pk for pk, _people in pairs}).order_by("name")
    return Choices(list(lists), sorted({people for _pk, people in pairs}))
