"""/api/v1/kits/: kits at a glance; added, edited, following a list, moved home, retired."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core import clock
from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import NotFound
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from gearroom.core.models import Person, Room
from kits.api import answers
from kits.models import Kit, PackingListVersion, WithheldKind
from kits.rules.ledger.facts import LivesIn, Word
from kits.rules.lookup import label_codes
from kits.services.kits import kits
from kits.services.lookup import find
from kits.services.overview import kits_overview
from kits.services.overview.kits_overview import Overview
from kits.services.text import verdict_texts

LIVES_IN = [v.value for v in LivesIn]
WHOLE = {"min_value": 1, "max_value": 10_000_000, "required": False, "allow_null": True}


# ------------------------------------------------------------------------------------------ shapes
class RoomAnswer(serializers.Serializer[Any]):
    slug = serializers.CharField()
    name = serializers.CharField()


class FollowsAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField(help_text="The kit list's.")
    name = serializers.CharField()
    version = serializers.IntegerField()
    people = serializers.IntegerField()
    days = serializers.IntegerField()
    hazards = serializers.ListField(child=serializers.CharField())
    signed_by = serializers.CharField(allow_null=True)
    signed_until = serializers.DateField(allow_null=True)


class KitSectionAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    key = serializers.CharField()
    name = serializers.CharField()
    seal = serializers.CharField(allow_null=True)
    on_list = serializers.BooleanField(
        help_text="False: its list has it no more, and it waits to be emptied."
    )
    out_with = answers.PersonAnswer(allow_null=True)


class OutAnswer(serializers.Serializer[Any]):
    checkout = serializers.IntegerField()
    person = answers.PersonAnswer(allow_null=True)
    trip = answers.TripAnswer(allow_null=True)
    out_at = serializers.DateTimeField()
    due_at = serializers.DateTimeField(allow_null=True, help_text="Null: nobody set a time.")
    overdue = serializers.BooleanField()


class PromiseAnswer(serializers.Serializer[Any]):
    reservation = serializers.IntegerField()
    trip = answers.TripAnswer()
    person = answers.PersonAnswer(allow_null=True, help_text="Who takes it; else its leader.")


class WithheldAnswer(serializers.Serializer[Any]):
    kind = serializers.ChoiceField(WithheldKind.values)
    note = serializers.CharField(allow_blank=True)
    since = serializers.DateTimeField()


class KitAtAGlanceAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    labels = serializers.ListField(child=serializers.CharField())
    room = RoomAnswer(help_text="Where it is, or was last seen.")
    home_room = RoomAnswer()
    packing_list = FollowsAnswer()
    responsible = answers.PersonAnswer(allow_null=True)
    deputy = answers.PersonAnswer(allow_null=True)
    lives_in = serializers.ChoiceField(LIVES_IN)
    bag = serializers.CharField(allow_blank=True)
    bag_volume_ml = serializers.IntegerField(allow_null=True)
    bag_mass_limit_g = serializers.IntegerField(allow_null=True)
    training = serializers.BooleanField()
    sections = KitSectionAnswer(many=True)
    seal = serializers.CharField(allow_null=True, help_text="The number of the seal that is on.")
    out = OutAnswer(allow_null=True, help_text="Who has it.")
    reserved = PromiseAnswer(allow_null=True, help_text="What it goes out for next.")
    verdict = serializers.ChoiceField([word.value for word in Word])
    verdict_text = serializers.CharField(help_text="The verdict as pages show it.")
    through = serializers.DateField(help_text="The day that was judged.")
    trip = answers.TripAnswer(allow_null=True, help_text="The trip that it was judged for.")
    first_expiry = serializers.DateField(
        allow_null=True, help_text="The earliest date inside; null: nothing in it is dated."
    )
    ready_until = serializers.DateField(
        allow_null=True, help_text="Null: not now. 9999-12-31: nothing in it ends."
    )
    fit_until = serializers.DateField(allow_null=True)
    may_go_until = serializers.DateField(allow_null=True)
    to_sort_since = serializers.DateTimeField(allow_null=True)
    laid_up_since = serializers.DateTimeField(allow_null=True)
    lost_since = serializers.DateTimeField(allow_null=True)
    withheld = WithheldAnswer(many=True)
    looked_inside_on = serializers.DateField(allow_null=True)
    looked_inside_by = serializers.CharField(allow_null=True)
    look_interval_days = serializers.IntegerField()
    retired_on = serializers.DateField(allow_null=True)
    revision = serializers.IntegerField()


class KitQuery(PageQuery):
    room = serializers.CharField(
        required=False, max_length=80, help_text="At home or now in this gear room: name or slug."
    )
    fit_through = serializers.DateField(
        required=False, help_text="Ready, or at most low, through this day."
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
    is_there = serializers.BooleanField(default=False, help_text="It stands there already.")


# ----------------------------------------------------------------------------------------- showing
def shown(seen: Overview) -> dict[str, Any]:
    """A kit at a glance as the API shows it."""
    kit, version, asked = seen.kit, seen.kit.list_version, seen.judged.question
    return {
        "id": kit.pk,
        "name": kit.name,
        "labels": [label_codes.shown(code) for code in seen.labels],
        "room": _room(kit.room),
        "home_room": _room(kit.home_room),
        "packing_list": {
            "id": version.packing_list_id,
            "name": version.packing_list.name,
            "version": version.number,
            "people": version.people,
            "days": version.days,
            "hazards": version.hazards,
            "signed_by": version.signed_by.name if version.signed_by else None,
            "signed_until": _iso(version.signed_until),
        },
        "responsible": _person(seen.responsible, seen),
        "deputy": _person(seen.deputy, seen),
        "lives_in": kit.lives_in,
        "bag": kit.bag,
        "bag_volume_ml": kit.bag_volume_ml,
        "bag_mass_limit_g": kit.bag_mass_limit_g,
        "training": kit.training,
        "sections": [
            {
                "id": part.place.pk,
                "key": part.place.section_key,
                "name": part.place.name,
                "seal": part.seal or None,
                "on_list": part.on_list,
                "out_with": _person(part.checkout.person, seen) if part.checkout else None,
            }
            for part in seen.sections
        ],
        "seal": seen.seal or None,
        "out": _out(seen),
        "reserved": _promise(seen),
        "verdict": str(seen.judged.verdict.word),
        "verdict_text": verdict_texts.verdict(seen.judged.verdict),
        "through": asked.through.isoformat(),
        "trip": answers.trip(asked.trip),
        "first_expiry": _iso(kit.first_expiry),
        "ready_until": _iso(seen.days.ready_until),
        "fit_until": _iso(seen.days.fit_until),
        "may_go_until": _iso(seen.days.may_go_until),
        "to_sort_since": _iso(kit.to_sort_since),
        "laid_up_since": _iso(kit.laid_up_since),
        "lost_since": _iso(kit.lost_since),
        "withheld": [
            {"kind": row.kind, "note": row.note, "since": _iso(row.since.occurred_at)}
            for row in seen.withheld
        ],
        "looked_inside_on": _iso(kit.looked_inside_on),
        "looked_inside_by": seen.looked_by.name if seen.looked_by else None,
        "look_interval_days": kit.look_interval_days,
        "retired_on": _iso(kit.retired_on),
        "revision": kit.revision,
    }


def _iso(moment: Any) -> str | None:
    return moment.isoformat() if moment is not None else None


def _room(room: Room) -> dict[str, str]:
    return {"slug": room.slug, "name": room.name}


def _person(person: Person | None, seen: Overview) -> dict[str, Any] | None:
    told = answers.person(person)
    return told and {**told, "phone": told["phone"] if seen.phones else ""}


def _out(seen: Overview) -> dict[str, Any] | None:
    held = seen.checkout
    if held is None:
        return None
    return {
        "checkout": held.pk,
        "person": _person(held.person, seen),
        "trip": answers.trip(held.trip),
        "out_at": _iso(held.out_at),
        "due_at": _iso(held.due_at),
        "overdue": held.due_at is not None and held.due_at < clock.now(),
    }


def _promise(seen: Overview) -> dict[str, Any] | None:
    if seen.reserved is None:
        return None
    return {
        "reservation": seen.reserved.pk,
        "trip": answers.trip(seen.reserved.trip),
        "person": _person(seen.guide, seen),
    }


# ------------------------------------------------------------------------------------------- views
def version_of(data: dict[str, Any]) -> PackingListVersion:
    """The version that a body names by list and number; takes both out of it."""
    wanted = data.pop("packing_list"), data.pop("version")
    found = (
        PackingListVersion.objects.defer("signed_page")
        .filter(packing_list=wanted[0], number=wanted[1])
        .first()
    )
    if found is None:
        raise NotFound("version of that kit list", wanted[1])
    return found


def people_in(actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
    """The body with people by id made persons."""
    for role in ("responsible", "deputy"):
        if data.get(role) is not None:
            data[role] = find.person(actor, data[role])
    return data


class _KitView(UseCaseView):
    use_case = "edit_kit"
    answers = {200: KitAtAGlanceAnswer}

    def kit(self) -> Kit:
        """The kit that the address names, of one's rooms."""
        assert self.actor is not None
        return find.kit(self.actor, self.kwargs["kit"])

    def shown(self, kit: Kit) -> dict[str, Any]:
        """It as it is now."""
        assert self.actor is not None
        return shown(kits_overview.overview(self.actor, kit))


class Kits(ListView, _KitView):
    query = KitQuery
    shows = KitAtAGlanceAnswer
    ordering = ("name",)
    body = AddKitBody
    answers = {201: KitAtAGlanceAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Kit]:
        """The kits of one's rooms at a glance, by name."""
        assert self.actor is not None
        if "room" in query:
            query["room"] = find.room(self.actor, query["room"])
        return kits_overview.listed(self.actor, **query)

    def show(self, page: list[Kit]) -> Any:
        """A page of them."""
        assert self.actor is not None
        return [shown(seen) for seen in kits_overview.overviews(self.actor, page)]

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add a kit, empty, that follows a published version of a kit list."""
        room = find.room(act.actor, data.pop("home_room"))
        version = version_of(data)
        made = kits.add_kit(act, list_version=version, home_room=room, **people_in(act.actor, data))
        return 201, self.shown(made)


class OneKit(ReadView, _KitView):
    shows = KitAtAGlanceAnswer
    method = "patch"
    body = EditKitBody

    def read(self, query: dict[str, Any]) -> Any:
        """A kit by label code or name: where it is, who has it, how it stands."""
        return self.shown(self.kit())

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change what is said of a kit."""
        return 200, self.shown(kits.edit_kit(act, self.kit(), **people_in(act.actor, data)))

    def whole(self, row: Kit) -> Any:
        """A kit as it is shown."""
        return self.shown(row)


class FollowList(_KitView):
    body = FollowBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Let a kit follow another published version of a list, or of another list."""
        return 200, self.shown(kits.follow_list(act, self.kit(), version_of(data)))


class MoveHome(_KitView):
    body = MoveHomeBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Let another room be a kit's home."""
        room = find.room(act.actor, data["room"])
        return 200, self.shown(kits.move_home(act, self.kit(), room, is_there=data["is_there"]))


class RetireKit(_KitView):
    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Take an empty kit out of use for good; its history stays."""
        return 200, self.shown(kits.retire_kit(act, self.kit()))
