"""/api/v1/checkouts/, entries/ and movements/: the stock book and who had what, to read."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from gearroom.core import clock
from gearroom.core.acts.act import Actor
from gearroom.core.acts.problems import NotFound
from gearroom.core.api.requests.serializers import PageQuery
from gearroom.core.api.views import ListView, ReadView
from gearroom.core.models import Room
from kits.api import answers
from kits.models import Checkout, Entry, EntryKind, Movement
from kits.services.lookup import find
from kits.services.lookup.own_side import own_side, without_strangers


# --------------------------------------------------------------------------------------- checkouts
class CheckoutQuery(PageQuery):
    kit = serializers.CharField(required=False, max_length=60, help_text="Label code or name.")
    person = serializers.IntegerField(required=False, min_value=1)
    trip = serializers.CharField(required=False, max_length=130)
    room = serializers.CharField(required=False, max_length=80)
    open = serializers.BooleanField(required=False, help_text="Out now, or back.")
    overdue = serializers.BooleanField(required=False, help_text="Out past due.")


class Checkouts(ListView):
    query = CheckoutQuery
    shows = answers.CheckoutAnswer

    def rows(self, query: dict[str, Any]) -> QuerySet[Checkout]:
        """Who has and had the kits of one's rooms, newest first."""
        assert self.actor is not None
        rows = Checkout.objects.not_undone().select_related("kit", "section", "person", "trip")
        if not self.actor.everywhere:
            rooms = self.actor.room_ids
            theirs = Q(kit__home_room__in=rooms) | Q(opened_by__room__in=rooms)
            rows = rows.filter(theirs | Q(person=self.actor.person))
        if "kit" in query:
            rows = rows.filter(kit=find.kit(self.actor, query["kit"]))
        if "person" in query:
            rows = rows.filter(person=query["person"])
        if "trip" in query:
            rows = rows.filter(trip=find.trip(self.actor, query["trip"]))
        if "room" in query:
            rows = rows.filter(_of_rooms([find.room(self.actor, query["room"]).pk]))
        if "open" in query:
            rows = rows.filter(in_at__isnull=query["open"])
        if "overdue" in query:
            late = Q(in_at__isnull=True, due_at__lt=clock.now())
            rows = rows.filter(late if query["overdue"] else ~late)
        return rows

    def show(self, page: list[Checkout]) -> Any:
        """A page of them; phones for those who may see people."""
        assert self.actor is not None
        return [
            answers.for_eyes_of(self.actor, answers.rooms_of(row.kit), answers.checkout(row))
            for row in page
        ]


def _of_rooms(rooms: Any) -> Q:
    return Q(kit__home_room__in=rooms) | Q(kit__room__in=rooms)


# ----------------------------------------------------------------------------------------- entries
class MovementAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    entry = serializers.IntegerField(source="entry_id")
    kind = serializers.CharField(source="entry.kind")
    occurred_at = serializers.DateTimeField(source="entry.occurred_at")
    recorded_at = serializers.DateTimeField(source="entry.recorded_at")
    lot = serializers.IntegerField(source="lot_id")
    number = serializers.CharField(source="lot.number", allow_blank=True)
    item = serializers.IntegerField(source="lot.item_id")
    name = serializers.CharField(source="lot.item.name")
    units = serializers.IntegerField()
    from_place = serializers.IntegerField(
        source="from_place_id", allow_null=True, help_text="Null: a place of another room."
    )
    from_kind = serializers.CharField(source="from_place.kind")
    from_name = serializers.CharField(source="from_place.name")
    from_room = serializers.CharField(source="from_room.slug", default=None, allow_null=True)
    to_place = serializers.IntegerField(
        source="to_place_id", allow_null=True, help_text="Null: a place of another room."
    )
    to_kind = serializers.CharField(source="to_place.kind")
    to_name = serializers.CharField(source="to_place.name")
    to_room = serializers.CharField(source="to_room.slug", default=None, allow_null=True)
    lot_assumed = serializers.BooleanField(help_text="Nobody said which batch it was.")


class EntryInListAnswer(answers.EntryAnswer):
    kit = serializers.CharField(source="kit.name", default=None, allow_null=True)
    lot = serializers.IntegerField(source="lot_id", allow_null=True)
    room = serializers.CharField(source="room.slug", default=None, allow_null=True)
    trip = serializers.IntegerField(source="trip_id", allow_null=True)
    checkout = serializers.IntegerField(source="checkout_id", allow_null=True)
    person = serializers.CharField(source="person.name", default=None, allow_null=True)
    reason = serializers.CharField(allow_blank=True)
    incident = serializers.CharField(allow_blank=True)
    clock_offset_s = serializers.IntegerField(
        help_text="How far the claiming device's clock was ahead of ours, in seconds."
    )
    key = serializers.UUIDField(help_text="Of the request it came from.")
    part = serializers.IntegerField(help_text="Which of the entries of that request.")
    detail = serializers.DictField()
    reverses = serializers.IntegerField(source="reverses_id", allow_null=True)
    reversed_by = serializers.IntegerField(source="reversed_by.pk", default=None, allow_null=True)


class EntryWholeAnswer(EntryInListAnswer):
    movements = MovementAnswer(many=True)


class _PeriodQuery(PageQuery):
    kit = serializers.CharField(required=False, max_length=60, help_text="Label code or name.")
    lot = serializers.IntegerField(required=False, min_value=1)
    item = serializers.IntegerField(required=False, min_value=1)
    room = serializers.CharField(required=False, max_length=80)
    kind = serializers.ChoiceField(EntryKind.values, required=False)
    since = serializers.DateTimeField(required=False, help_text="Recorded at or after.")
    until = serializers.DateTimeField(required=False, help_text="Recorded before.")


class EntryQuery(_PeriodQuery):
    person = serializers.IntegerField(required=False, min_value=1, help_text="Who acted.")
    trip = serializers.CharField(required=False, max_length=130)
    irregular = serializers.BooleanField(required=False, help_text="Where a rule was broken.")


def entries_of(actor: Actor) -> QuerySet[Entry]:
    """The entries that somebody may see, with what is shown of them."""
    return find.entries_of(actor).select_related("kit", "room", "person", "reversed_by")


class Entries(ListView):
    reads_as = "read_history"
    query = EntryQuery
    shows = EntryInListAnswer

    def rows(self, query: dict[str, Any]) -> QuerySet[Entry]:
        """The stock book of one's rooms, newest first."""
        assert self.actor is not None
        rows = entries_of(self.actor)
        if "kit" in query:
            rows = rows.filter(kit=find.kit(self.actor, query["kit"]))
        if "room" in query:
            rows = rows.filter(room=find.room(self.actor, query["room"]))
        if "trip" in query:
            rows = rows.filter(trip=find.trip(self.actor, query["trip"]))
        if "irregular" in query:
            regular = Q(irregular=[])
            rows = rows.filter(~regular if query["irregular"] else regular)
        for name in ("lot", "item"):
            if name in query:
                column = "lot" if name == "lot" else "lot__item"
                moved = Movement.objects.filter(**{column: query[name]}).values("entry")
                rows = rows.filter(Q(**{column: query[name]}) | Q(pk__in=moved))
        return _in_period(rows, query, "").filter(
            **{name: query[name] for name in ("kind", "person") if name in query}
        )

    def show(self, page: list[Entry]) -> Any:
        """Without the names of people whom one may not see."""
        assert self.actor is not None
        return super().show(list(without_strangers(self.actor, page)))


class OneEntry(ReadView):
    reads_as = "read_history"
    shows = EntryWholeAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """One act with its movements."""
        assert self.actor is not None
        found = (
            entries_of(self.actor)
            .prefetch_related(
                "movements__lot__item",
                "movements__from_place",
                "movements__to_place",
                "movements__from_room",
                "movements__to_room",
                "movements__entry",
            )
            .filter(pk=self.kwargs["id"])
            .first()
        )
        if found is None:
            raise NotFound("entry", self.kwargs["id"])
        for movement in found.movements.all():
            own_side(self.actor, movement)
        without_strangers(self.actor, [found])
        return EntryWholeAnswer(found).data


# --------------------------------------------------------------------------------------- movements
class MovementQuery(_PeriodQuery):
    place = serializers.IntegerField(required=False, min_value=1, help_text="From or to it.")
    entry = serializers.IntegerField(required=False, min_value=1)
    lot_assumed = serializers.BooleanField(required=False)


class Movements(ListView):
    reads_as = "read_history"
    query = MovementQuery
    shows = MovementAnswer

    def rows(self, query: dict[str, Any]) -> QuerySet[Movement]:
        """Units of batches from place to place in one's rooms, newest first."""
        assert self.actor is not None
        rows = Movement.objects.select_related(
            "entry", "lot__item", "from_place", "to_place", "from_room", "to_room"
        )
        if not self.actor.everywhere:
            rows = rows.filter(_through(self.actor.room_ids))
        if "kit" in query:
            kit = find.kit(self.actor, query["kit"])
            rows = rows.filter(Q(from_place__kit=kit) | Q(to_place__kit=kit))
        if "room" in query:
            room: Room = find.room(self.actor, query["room"])
            rows = rows.filter(_through([room.pk]))
        if "place" in query:
            rows = rows.filter(Q(from_place=query["place"]) | Q(to_place=query["place"]))
        names = {
            "lot": "lot",
            "item": "lot__item",
            "entry": "entry",
            "kind": "entry__kind",
            "lot_assumed": "lot_assumed",
        }
        wanted = {column: query[name] for name, column in names.items() if name in query}
        return _in_period(rows, query, "entry__").filter(**wanted)

    def show(self, page: list[Movement]) -> Any:
        """Of another room's side, which room it is."""
        assert self.actor is not None
        return super().show([own_side(self.actor, movement) for movement in page])


def _through(rooms: Any) -> Q:
    return Q(from_room__in=rooms) | Q(to_room__in=rooms)


def _in_period(rows: QuerySet[Any], query: dict[str, Any], prefix: str) -> QuerySet[Any]:
    if "since" in query:
        rows = rows.filter(**{f"{prefix}recorded_at__gte": query["since"]})
    if "until" in query:
        rows = rows.filter(**{f"{prefix}recorded_at__lt": query["until"]})
    return rows
