"""Who gets notices of a recall: each person once, with all kits of it that concern them; again each
day while nobody answered."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta

from gearroom.core.models import Person, Room
from gearroom.core.rules.grouping import grouped
from kits.models import Certainty, Entry, Holding, Kit, Lot, Recall, RecallPlace
from kits.services.ledger import lots
from kits.services.lookup import holders
from kits.services.notices import recipients, writing
from kits.services.notices.facts import RecalledKit, RecallFacts

ASK_AGAIN = timedelta(days=1)


# ------------------------------------------------------------------------------------------ whom
def tell(entry: Entry, recall: Recall, rows: Sequence[RecallPlace]) -> None:
    """Tell whoever has an affected kit, who answers for it, and the keepers of each room, of the
    places that came under a recall with an entry."""
    first = entry.pk == recall.entry_id
    fact = f"recall:{recall.pk}" + ("" if first else f":entry:{entry.pk}")
    concerned = _Concerned(rows, {row.place_id: row.person for row in rows})
    writing.write(
        "recall",
        [
            writing.Draft(
                person=person,
                fact=fact,
                entry=entry,
                room=room,
                kit=kit,
                facts={**facts_of(recall), "kits": kits, "rooms": rooms},
            )
            for person, room, kit, kits, rooms in concerned.each()
        ],
    )


def ask_again(now: datetime) -> None:
    """Ask again for kits under an open recall that nobody answered for, each day until somebody
    does: who has them and who answers for them, else the keepers of their room."""
    unanswered = RecallPlace.objects.filter(
        recall__closed__isnull=True,
        answered__isnull=True,
        place__kit__isnull=False,
        recall__entry__recorded_at__lte=now - ASK_AGAIN,
    ).select_related(
        "recall__item",
        "recall__entry",
        "person",
        "place__kit__room",
        "place__kit__home_room",
        "place__kit__responsible",
        "place__kit__deputy",
    )
    drafts = []
    for rows in grouped((row.recall_id, row) for row in unanswered).values():
        recall = rows[0].recall
        holding = _places_holding(recall)
        # All of it was there for certain, and is not there any more: nobody has to look.
        rows = [r for r in rows if r.units_min < r.units_max or r.place_id in holding]
        times = (now - recall.entry.recorded_at) // ASK_AGAIN
        concerned = _Concerned(rows, now_with(rows), keepers=False)
        drafts += [
            writing.Draft(
                person=person,
                fact=f"recall:{recall.pk}:again:{times}",
                room=room,
                kit=kit,
                facts={**facts_of(recall), "kits": kits, "again": int(times)},
            )
            for person, room, kit, kits, _rooms in concerned.each()
        ]
    writing.write("recall", drafts)


def now_with(rows: Sequence[RecallPlace]) -> dict[int, Person | None]:
    """Who has each of these places now, by the place's id: who took its kit out, else who answers
    for it, else who had it when it was recalled."""
    having = holders.of_places([row.place for row in rows]) if rows else {}
    return {row.place_id: having.get(row.place_id) or row.person for row in rows}


def _places_holding(recall: Recall) -> set[int]:
    return set(
        Holding.objects.on_hand()
        .filter(lot__in=Lot.objects.filter(lots.matching(recall)))
        .values_list("place", flat=True)
    )


class _Concerned:
    """The people whom places of a recall concern, each with the kits they are told of. With
    `keepers` false, the keepers of a room hear only of kits that nobody has or answers for."""

    def __init__(
        self,
        rows: Sequence[RecallPlace],
        having: Mapping[int, Person | None],
        *,
        keepers: bool = True,
    ) -> None:
        self._people: dict[int, Person] = {}
        self._kits: dict[int, dict[int, RecalledKit]] = defaultdict(dict)
        self._rooms: dict[int, dict[int, Room]] = defaultdict(dict)
        self._by_id: dict[int, Kit] = {}
        self._keepers = recipients.Keepers()
        for row in rows:
            self._add(row, having.get(row.place_id), keepers)

    def _add(self, row: RecallPlace, has: Person | None, keepers: bool) -> None:
        kit = row.place.kit
        own: list[Person] = []
        if kit is not None:
            self._by_id[kit.pk] = kit
            own = [*([has] if has else ()), *recipients.responsible_for(kit)]
            for person in own:
                self._put(person, kit, _kit_facts(row, kit, has), theirs=True)
        if keepers or (kit is not None and not own):
            places = (kit.room, kit.home_room) if kit else (row.place.room,)
            for room in filter(None, places):
                for person in self._keepers.of(room):
                    self._people[person.pk] = person
                    self._rooms[person.pk][room.pk] = room
                    if kit is not None:
                        self._put(person, kit, _kit_facts(row, kit, has), theirs=False)

    def _put(self, person: Person, kit: Kit, facts: RecalledKit, *, theirs: bool) -> None:
        """A kit stands once, as sure as the surest of its pouches."""
        self._people[person.pk] = person
        before = self._kits[person.pk].get(kit.pk)
        theirs = theirs or bool(before and before["theirs"])
        self._kits[person.pk][kit.pk] = {**_surest(before, facts), "theirs": theirs}

    def each(
        self,
    ) -> Iterator[tuple[Person, Room | None, Kit | None, list[RecalledKit], list[str]]]:
        """Each person, the room and the kit of their notice, the kits, and the rooms they keep."""
        for pk, person in self._people.items():
            kits = sorted(self._kits[pk].values(), key=lambda kit: kit["name"])
            rooms = list(self._rooms[pk].values())
            kit = self._by_id[kits[0]["id"]] if len(kits) == 1 else None
            room = rooms[0] if rooms else self._by_id[kits[0]["id"]].home_room
            yield person, room, kit, kits, [each.name for each in rooms]


def facts_of(recall: Recall) -> RecallFacts:
    """The facts of a recall that its notices say."""
    return {
        "recall": recall.pk,
        "thing": recall.item.name,
        "number": recall.number,
        "reference": recall.reference,
        "advice": recall.advice,
    }


def _surest(before: RecalledKit | None, facts: RecalledKit) -> RecalledKit:
    if before is not None and before["certainty"] == Certainty.CERTAIN:
        return {**facts, "certainty": before["certainty"]}
    return facts


def kits_of_rows(rows: Iterable[tuple[RecallPlace, Person | None]]) -> list[RecalledKit]:
    """The facts of places in kits, each with who has it: a kit once."""
    by_kit: dict[int, RecalledKit] = {}
    for row, has in rows:
        if (kit := row.place.kit) is not None:
            by_kit[kit.pk] = _surest(by_kit.get(kit.pk), _kit_facts(row, kit, has))
    return list(by_kit.values())


def _kit_facts(row: RecallPlace, kit: Kit, has: Person | None) -> RecalledKit:
    """The facts of a kit that a place on the list is in: which, how sure, and who has it."""
    return {
        "id": kit.pk,
        "name": kit.name,
        "certainty": str(row.certainty),
        "person_id": has.pk if has else None,
        "person": has.name if has else "",
        "phone": has.phone if has else "",
        "room": kit.room.name,
        "room_phone": kit.room.phone,
    }
