"""/api/v1/checkouts/, entries/ and movements/: the stock book and who had what, to read."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.api.requests.serializers import PageQuery
from gearroom.core.api.views import Filter, ListView, ReadView, named, one_of
from kits.api import answers
from kits.api.problems import NAMED_KIT
from kits.models import Checkout, Entry, EntryKind, Movement
from kits.services.lookup import find, without_strangers
from kits.services.lookup.own_side import own_side


# --------------------------------------------------------------------------------------- checkouts
class CheckoutQuery(PageQuery):
    kit = serializers.CharField(required=False, max_length=60, help_text="Label code or name.")
    person = serializers.IntegerField(required=False, min_value=1)
    trip = serializers.CharField(required=False, max_length=130)
    room = serializers.CharField(required=False, max_length=80)
    open = serializers.BooleanField(required=False, help_text="Out now, or back.")
    overdue = serializers.BooleanField(required=False, help_text="Out and overdue.")


class Checkouts(ListView):
    read_problems = NAMED_KIT
    query = CheckoutQuery
    shows = answers.CheckoutAnswer
    filters = {
        "kit": named(find.kit, "kit"),
        "person": "person",
        "trip": named(find.trip, "trip"),
        "room": named(find.room, "kit__home_room", "kit__room"),
        "open": "in_at__isnull",
        "overdue": lambda actor, wanted: _overdue() if wanted else ~_overdue(),
    }

    def rows(self, query: dict[str, Any]) -> QuerySet[Checkout]:
        """Who has, and who has had, the kits of your gear rooms, newest first."""
        rows = Checkout.objects.not_undone().select_related("kit", "section", "person", "trip")
        rooms = self.actor.room_ids
        theirs = Q(kit__home_room__in=rooms) | Q(opened_by__room__in=rooms)
        theirs |= Q(person=self.actor.person)
        return rows if self.actor.everywhere else rows.filter(theirs)


def _overdue() -> Q:
    return Q(in_at__isnull=True, due_at__lt=clock.now())


# ----------------------------------------------------------------------------------------- entries
@answers.Answer.of(Movement)
class MovementAnswer(answers.LotUnits):
    members = [
        "id", "entry", "kind", "occurred_at", "recorded_at", "units", "from_place", "from_kind",
        "from_name", "from_room", "to_place", "to_kind", "to_name", "to_room", "lot_assumed",
    ]  # fmt: skip
    sources = {
        "entry": "entry_id", "kind": "entry.kind", "occurred_at": "entry.occurred_at",
        "recorded_at": "entry.recorded_at", "from_kind": "from_place.kind",
        "from_name": "from_place.name", "to_kind": "to_place.kind", "to_name": "to_place.name",
    }  # fmt: skip
    help_texts = {"lot_assumed": "True if no batch was given."}
    kinds = {datetime: serializers.DateTimeField}
    from_place = serializers.IntegerField(
        source="from_place_id",
        allow_null=True,
        help_text="Null if the place is in another gear room.",
    )
    from_room = serializers.CharField(source="from_room.slug", default=None, allow_null=True)
    to_place = serializers.IntegerField(
        source="to_place_id",
        allow_null=True,
        help_text="Null if the place is in another gear room.",
    )
    to_room = serializers.CharField(source="to_room.slug", default=None, allow_null=True)


class EntryInListAnswer(answers.EntryRow):
    members = [
        "kit", "lot", "room", "trip", "checkout", "incident", "clock_offset_s", "key", "part",
        "reversed_by",
    ]  # fmt: skip
    sources = {"lot": "lot_id", "trip": "trip_id", "checkout": "checkout_id"}
    help_texts = {
        "clock_offset_s": "How far the device's clock was ahead of the server's, in seconds.",
        "key": "The key of the request that it came from.",
        "part": "Its position among the entries of that request.",
    }
    kit = serializers.CharField(source="kit.name", default=None, allow_null=True)
    room = serializers.CharField(source="room.slug", default=None, allow_null=True)
    reversed_by = serializers.IntegerField(source="reversed_by.pk", default=None, allow_null=True)


class EntryWholeAnswer(EntryInListAnswer):
    members = ["movements"]


class _PeriodQuery(PageQuery):
    kit = serializers.CharField(required=False, max_length=60, help_text="Label code or name.")
    lot = serializers.IntegerField(required=False, min_value=1)
    item = serializers.IntegerField(required=False, min_value=1)
    room = serializers.CharField(required=False, max_length=80)
    kind = serializers.ChoiceField(EntryKind.values, required=False)
    since = serializers.DateTimeField(required=False, help_text="Recorded at or after.")
    until = serializers.DateTimeField(required=False, help_text="Recorded before.")


class EntryQuery(_PeriodQuery):
    person = serializers.IntegerField(
        required=False, min_value=1, help_text="The person who did it."
    )
    trip = serializers.CharField(required=False, max_length=130)
    irregular = serializers.BooleanField(
        required=False, help_text="Only entries that broke a rule."
    )


def entries_of(actor: Actor) -> QuerySet[Entry]:
    """The entries that somebody may see, with what is shown of them."""
    return find.entries_of(actor).select_related("kit", "room", "person", "reversed_by")


def _about(lookup: str) -> Filter:
    """Entries about something, or that moved units of it."""

    def condition(actor: Actor, wanted: int) -> Q:
        named = Q((lookup, wanted))
        return named | Q(pk__in=Movement.objects.filter(named).values("entry"))

    return condition


class Entries(ListView):
    reads_as = "read_history"
    read_problems = NAMED_KIT
    query = EntryQuery
    shows = EntryInListAnswer
    filters = {
        "kit": named(find.kit, "kit"),
        "room": named(find.room, "room"),
        "trip": named(find.trip, "trip"),
        "irregular": lambda actor, wanted: ~Q(irregular=[]) if wanted else Q(irregular=[]),
        "lot": _about("lot"),
        "item": _about("lot__item"),
        "kind": "kind",
        "person": "person",
        "since": "recorded_at__gte",
        "until": "recorded_at__lt",
    }

    def rows(self, query: dict[str, Any]) -> QuerySet[Entry]:
        """The records of your gear rooms, newest first."""
        return entries_of(self.actor)

    def whole_page(self, page: list[Entry]) -> Sequence[Entry]:
        """Without the names of people whom one may not see."""
        return list(without_strangers(self.actor, page))


class OneEntry(ReadView):
    reads_as = "read_history"
    shows = EntryWholeAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """One entry with its movements."""
        rows = entries_of(self.actor).prefetch_related(
            "movements__lot__item",
            "movements__from_place",
            "movements__to_place",
            "movements__from_room",
            "movements__to_room",
            "movements__entry",
        )
        entry = one_of(rows, "entry", self.kwargs["id"])
        for movement in entry.movements.all():
            own_side(self.actor, movement)
        without_strangers(self.actor, [entry])
        return entry


# --------------------------------------------------------------------------------------- movements
class MovementQuery(_PeriodQuery):
    place = serializers.IntegerField(
        required=False, min_value=1, help_text="Movements from or to this place."
    )
    entry = serializers.IntegerField(required=False, min_value=1)
    lot_assumed = serializers.BooleanField(required=False)


class Movements(ListView):
    reads_as = "read_history"
    read_problems = NAMED_KIT
    query = MovementQuery
    shows = MovementAnswer
    filters = {
        "kit": named(find.kit, "from_place__kit", "to_place__kit"),
        "room": named(find.room, "from_room", "to_room"),
        "place": lambda actor, place: Q(from_place=place) | Q(to_place=place),
        "lot": "lot",
        "item": "lot__item",
        "entry": "entry",
        "kind": "entry__kind",
        "lot_assumed": "lot_assumed",
        "since": "entry__recorded_at__gte",
        "until": "entry__recorded_at__lt",
    }

    def rows(self, query: dict[str, Any]) -> QuerySet[Movement]:
        """Movements of units between places in your gear rooms, newest first."""
        rows = Movement.objects.select_related(
            "entry", "lot__item", "from_place", "to_place", "from_room", "to_room"
        )
        mine = self.actor.room_ids
        near = Q(from_room__in=mine) | Q(to_room__in=mine)
        return rows if self.actor.everywhere else rows.filter(near)

    def whole_page(self, page: list[Movement]) -> Sequence[Movement]:
        """Of another room's side, which room it is."""
        return [own_side(self.actor, movement) for movement in page]
