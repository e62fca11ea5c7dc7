"""Who gets notices of a recall: each person once, with all kits of it that concern them; again each
day while nobody answered."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta

from gearroom.core.models import Person, Room
from gearroom.core.rules.grouping import grouped
from kits.models import Certainty, Entry, Holding, Kit, Lot, Recall, RecallPlace
from kits.services.ledger import lots
from kits.services.lookup import holders
from kits.services.notices import RecalledKit, RecallFacts, recipients, writing

ASK_AGAIN = timedelta(days=1)


# ------------------------------------------------------------------------------------------ whom
def tell(entry: Entry, recall: Recall, rows: Sequence[RecallPlace]) -> None:
    """Tell whoever has an affected kit, who answers for it, and the keepers of each room, of the
    places that came under a recall with an entry."""
    first = entry.pk == recall.entry_id
    fact = f"recall:{recall.pk}" + ("" if first else f":entry:{entry.pk}")
    concerned = _concerned(rows, {row.place_id: row.person for row in rows})
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
            for person, room, kit, kits, rooms in concerned
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
        held = Holding.objects.on_hand().filter(lot__in=Lot.objects.filter(lots.matching(recall)))
        holding = set(held.values_list("place", flat=True))
        # All of it was there for certain, and is not there any more: nobody has to look.
        rows = [r for r in rows if r.units_min < r.units_max or r.place_id in holding]
        times = (now - recall.entry.recorded_at) // ASK_AGAIN
        concerned = _concerned(rows, now_with(rows), keepers=False)
        drafts += [
            writing.Draft(
                person=person,
                fact=f"recall:{recall.pk}:again:{times}",
                room=room,
                kit=kit,
                facts={**facts_of(recall), "kits": kits, "again": int(times)},
            )
            for person, room, kit, kits, _rooms in concerned
        ]
    writing.write("recall", drafts)


def now_with(rows: Sequence[RecallPlace]) -> dict[int, Person | None]:
    """Who has each of these places now, by the place's id: who took its kit out, else who answers
    for it, else who had it when it was recalled."""
    having = holders.of_places([row.place for row in rows]) if rows else {}
    return {row.place_id: having.get(row.place_id) or row.person for row in rows}


Concern = tuple[Person, Room | None, Kit | None, list[RecalledKit], list[str]]
"""A person, the room and the kit of their notice, the kits that it tells of, and the rooms that
they keep."""


def _concerned(
    rows: Sequence[RecallPlace], having: Mapping[int, Person | None], *, keepers: bool = True
) -> Iterator[Concern]:
    """The people whom places of a recall concern. With `keepers` false, the keepers of a room get
    notices only of kits that nobody has or answers for."""
    of_room = recipients.Keepers()
    concerned: list[tuple[Person, tuple[RecallPlace, Room | None]]] = []
    for row in rows:
        kit, has = row.place.kit, having.get(row.place_id)
        own = [*([has] if has else ()), *recipients.responsible_for(kit)] if kit else []
        concerned += [(person, (row, None)) for person in own]
        if keepers or (kit is not None and not own):
            rooms = (kit.room, kit.home_room) if kit else (row.place.room,)
            concerned += [
                (person, (row, room)) for room in rooms if room for person in of_room.of(room)
            ]
    for person, places in grouped(concerned).items():
        kept = list(dict.fromkeys(room for _row, room in places if room))
        by_id = {row.place.kit.pk: row.place.kit for row, _room in places if row.place.kit}
        kits: dict[int, RecalledKit] = {}
        for row, room in places:
            if (kit := row.place.kit) is not None:
                before, facts = kits.get(kit.pk), _kit_facts(row, kit, having.get(row.place_id))
                theirs = room is None or bool(before and before["theirs"])
                kits[kit.pk] = {**_surest(before, facts), "theirs": theirs}
        by_name = sorted(kits.values(), key=lambda each: each["name"])
        first = by_id[by_name[0]["id"]] if by_name else None
        yield (
            person,
            next(iter(kept), first.home_room if first else None),
            first if len(kits) == 1 else None,
            by_name,
            [room.name for room in kept],
        )


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
