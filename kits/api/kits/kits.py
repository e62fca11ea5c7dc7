"""/api/v1/kits/: kits at a glance; added, edited, following a list, moved home, retired."""

from collections.abc import Sequence
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core import clock
from gearroom.core.acts import Act, Actor
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView
from gearroom.core.models import Room
from kits.api import answers
from kits.api.problems import NAMED_KIT
from kits.api.views import KitView
from kits.models import Checkout, Kit, PackingListVersion, WithheldKind, Withholding
from kits.rules.ledger.facts import LivesIn
from kits.rules.text.hazards import HAZARDS
from kits.services.kits import kits
from kits.services.lists import packing_lists
from kits.services.lookup import find
from kits.services.overview import kits_overview
from kits.services.overview.kits_overview import Overview
from kits.services.text import verdict_texts

LIVES_IN = [v.value for v in LivesIn]
WHOLE: dict[str, Any] = {
    "min_value": 1,
    "max_value": 10_000_000,
    "required": False,
    "allow_null": True,
}


# ------------------------------------------------------------------------------------------ shapes
@answers.Answer.of(Room)
class RoomAnswer(answers.Answer):
    members = ["slug", "name"]


def _or_null(seal: str) -> str | None:
    return seal or None


class FollowsAnswer(answers.Answer):
    shown = PackingListVersion
    members = ["id", "name", "version", "people", "days", "hazards", "signed_by", "signed_until"]
    sources = {
        "id": "packing_list_id", "name": "packing_list.name", "version": "number",
        "signed_by": "signed_by.name",
    }  # fmt: skip
    help_texts = {"id": "The id of the kit list."}
    hazards = serializers.ListField(child=serializers.ChoiceField(list(HAZARDS)))


@answers.Answer.of(kits_overview.SectionOverview)
class KitSectionAnswer(answers.Answer):
    members = ["id", "key", "name", "seal", "on_list", "out_with"]
    sources = {
        "id": "place.pk", "key": "place.section_key", "name": "place.name",
        "out_with": "checkout.person",
    }  # fmt: skip
    help_texts = {"on_list": "False: the section is no longer on the kit list and must be emptied."}
    seal = answers.made(serializers.CharField, _or_null, source=None, allow_null=True)


class OutAnswer(answers.Answer):
    shown = Checkout
    members = ["checkout", "person", "trip", "out_at", "due_at", "overdue"]
    sources = {"checkout": "pk"}
    help_texts = {"due_at": "Null if no return time was set."}
    overdue = answers.made(
        serializers.BooleanField,
        lambda held: held.due_at is not None and held.due_at < clock.now(),
    )


class PromiseAnswer(serializers.Serializer[Any]):
    reservation = serializers.IntegerField(source="reserved.pk")
    trip = answers.TripAnswer(source="reserved.trip")
    person = answers.PersonAnswer(
        source="guide",
        allow_null=True,
        help_text="The person taking it; default: the trip's leader.",
    )

    def to_representation(self, seen: Overview) -> Any:
        """Null where nothing is reserved."""
        return super().to_representation(seen) if seen.reserved else None


@answers.Answer.of(Withholding)
class WithheldAnswer(answers.Answer):
    members = ["kind", "note", "since"]
    sources = {"since": "since.occurred_at"}
    kind = serializers.ChoiceField(WithheldKind.values)


@answers.Answer.of(Overview)
class KitAtAGlanceAnswer(answers.WithPhones, answers.DaysAnswer):
    members = [
        "id", "name", "labels", "room", "home_room", "packing_list", "responsible", "deputy",
        "lives_in", "location", "bag", "bag_volume_ml", "bag_mass_limit_g", "training", "sections",
        "seal",
        "out", "reserved", "verdict", "verdict_text", "through", "trip", "ready_until",
        "to_sort_since", "laid_up_since", "lost_since", "withheld", "looked_inside_on",
        "looked_inside_by", "look_interval_days", "retired_on", "revision",
    ]  # fmt: skip
    sources = {
        "id": "kit.pk", "name": "kit.name", "bag": "kit.bag", "bag_volume_ml": "kit.bag_volume_ml",
        "bag_mass_limit_g": "kit.bag_mass_limit_g", "training": "kit.training",
        "verdict": "judged.verdict.word", "through": "judged.question.through",
        "trip": "judged.question.trip", "ready_until": "days.ready_until",
        "to_sort_since": "kit.to_sort_since", "laid_up_since": "kit.laid_up_since",
        "lost_since": "kit.lost_since", "looked_inside_on": "kit.looked_inside_on",
        "looked_inside_by": "looked_by.name", "look_interval_days": "kit.look_interval_days",
        "retired_on": "kit.retired_on", "revision": "kit.revision", "room": "kit.room",
        "home_room": "kit.home_room", "location": "kit.location_id",
    }  # fmt: skip
    help_texts = {
        "through": "The day that the status is for.",
        "trip": "The trip that the status is for.",
        "ready_until": "Null: not at present. 9999-12-31: no end date.",
        "room": "Where it is, or was last seen.",
        "location": "The id of the van, hut or other location where it is kept.",
    }
    labels = serializers.ListField(child=answers.LabelCode())
    packing_list = FollowsAnswer(source="kit.list_version")
    lives_in = serializers.ChoiceField(LIVES_IN, source="kit.lives_in")
    seal = answers.made(
        serializers.CharField,
        _or_null,
        source=None,
        allow_null=True,
        help_text="The number of the current seal.",
    )
    out = OutAnswer(source="checkout", allow_null=True, help_text="The person who has it.")
    reserved = PromiseAnswer(source="*", allow_null=True, help_text="Its next trip.")
    verdict_text = answers.made(
        serializers.CharField,
        verdict_texts.verdict,
        source="judged.verdict",
        help_text="The status as shown on pages.",
    )

    def shows_phones(self, row: Overview) -> bool:
        """As the overview says."""
        return row.phones


class KitQuery(PageQuery):
    room = serializers.CharField(
        required=False,
        max_length=80,
        help_text="Kits whose home is this gear room, or that are there now: name or slug.",
    )
    fit_through = serializers.DateField(
        required=False, help_text="Ready, or at most low, up to and including this day."
    )
    out = serializers.BooleanField(required=False)
    reserved = serializers.BooleanField(required=False)
    training = serializers.BooleanField(required=False)
    retired = serializers.BooleanField(required=False, default=False)
    packing_list = serializers.IntegerField(required=False, min_value=1)
    search = serializers.CharField(required=False, max_length=40, help_text="Part of the name.")


class EditKitBody(ActBody):
    example = {"responsible": 7, "lives_in": "vehicle", "look_interval_days": 90}
    name = serializers.CharField(max_length=kits.LONGEST_NAME)
    responsible = serializers.IntegerField(min_value=1, required=False, allow_null=True)
    deputy = serializers.IntegerField(min_value=1, required=False, allow_null=True)
    lives_in = serializers.ChoiceField(LIVES_IN, required=False)
    location = serializers.IntegerField(min_value=1, required=False, allow_null=True)
    bag = serializers.CharField(max_length=80, required=False, allow_blank=True)
    bag_volume_ml = serializers.IntegerField(**WHOLE)
    bag_mass_limit_g = serializers.IntegerField(**WHOLE)
    training = serializers.BooleanField(required=False)
    look_interval_days = serializers.IntegerField(min_value=1, max_value=3650, required=False)


class AddKitBody(EditKitBody):
    example = {
        "name": "DAY-07", "home_room": "main-store", "packing_list": 2, "version": 1,
        "responsible": 7, "lives_in": "store",
    }  # fmt: skip
    home_room = serializers.CharField(max_length=80, help_text="A gear room: name or slug.")
    packing_list = serializers.IntegerField(min_value=1)
    version = serializers.IntegerField(min_value=1, help_text="A published version's number.")


class FollowBody(ActBody):
    example = {"packing_list": 2, "version": 1}
    packing_list = serializers.IntegerField(min_value=1)
    version = serializers.IntegerField(min_value=1)


class MoveHomeBody(ActBody):
    example = {"room": "cave-hut", "is_there": True}
    room = serializers.CharField(max_length=80, help_text="A gear room: name or slug.")
    is_there = serializers.BooleanField(default=False, help_text="True if it is already there.")


# ------------------------------------------------------------------------------------------- views
def version_of(data: dict[str, Any]) -> PackingListVersion:
    """The version that a body names by list and number; takes both out of it."""
    return packing_lists.version_of(data.pop("packing_list"), data.pop("version"))


def people_in(actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
    """The body with people and a location by id made what they are."""
    for role in ("responsible", "deputy"):
        if data.get(role) is not None:
            data[role] = find.person(actor, data[role])
    if data.get("location") is not None:
        data["location"] = find.location(actor, data["location"])
    return data


class _KitView(KitView):
    use_case = "edit_kit"
    answers = {200: KitAtAGlanceAnswer}

    def whole(self, row: Kit) -> Overview:
        """It as it is now."""
        return kits_overview.overview(self.actor, row)


class Kits(ListView, _KitView):
    problems = ("deputy-is-another", "name-taken", "not-published")
    query = KitQuery
    shows = KitAtAGlanceAnswer
    ordering = ("name",)
    body = AddKitBody
    answers = {201: KitAtAGlanceAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Kit]:
        """The kits of your gear rooms at a glance, by name."""
        if "room" in query:
            query["room"] = find.room(self.actor, query["room"])
        return kits_overview.listed(self.actor, **query)

    def whole_page(self, page: list[Kit]) -> Sequence[Overview]:
        """A page of them."""
        return kits_overview.overviews(self.actor, page)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add an empty kit that uses a published version of a kit list."""
        data["home_room"] = find.room(act.actor, data["home_room"])
        return 201, self.whole(
            kits.add_kit(act, list_version=version_of(data), **people_in(act.actor, data))
        )


class OneKit(ReadView, _KitView):
    shows = KitAtAGlanceAnswer
    method = "patch"
    problems = (
        "deputy-is-another", "kit-retired", "name-taken", "training-stock-inside",
    )  # fmt: skip
    read_problems = NAMED_KIT
    body = EditKitBody

    def read(self, query: dict[str, Any]) -> Any:
        """A kit by label code or name: where it is, who has it, whether it is ready."""
        return self.whole(self.kit())

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change the details of a kit."""
        return 200, self.whole(kits.edit_kit(act, self.kit(), **people_in(act.actor, data)))


class FollowList(_KitView):
    problems = ("follows-already", "kit-retired", "not-published")
    body = FollowBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Switch a kit to another published version of its list, or to another list."""
        return 200, self.whole(kits.follow_list(act, self.kit(), version_of(data)))


class MoveHome(_KitView):
    problems = ("kit-is-out", "kit-retired")
    body = MoveHomeBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change a kit's home gear room."""
        return 200, self.whole(
            kits.move_home(
                act, self.kit(), find.room(act.actor, data["room"]), is_there=data["is_there"]
            )
        )


class RetireKit(_KitView):
    problems = ("kit-is-out", "kit-not-empty", "kit-reserved")

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Retire an empty kit for good; its history is kept."""
        return 200, self.whole(kits.retire_kit(act, self.kit()))
