"""A list taken on past trips."""

from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.openapi.member_rules import needs, one_of
from gearroom.core.api.requests.serializers import ActBody
from gearroom.core.api.views import UseCaseView
from kits.api import answers
from kits.api.problems import NAMED_KIT
from kits.services.lists import packing_lists
from kits.services.lookup import find
from kits.services.planning import replays
from kits.services.text.planning.planning_texts import CAUTION


class ShortageAnswer(answers.Answer):
    trip = serializers.CharField(
        source="trip.trip.name", allow_null=True, help_text="Null: a trip of a room not yours."
    )
    kit = serializers.CharField(
        source="kit.name", allow_null=True, help_text="Null: a kit that you may not see."
    )
    first_day = serializers.DateField(source="trip.trip.first_day")
    item = serializers.CharField(source="item.name")
    on_list = serializers.BooleanField(
        source="short.on_list",
        help_text="It, or what stands in for it, is on this list and ran out; false: it is not on "
        "the list at all.",
    )
    stood_in = serializers.IntegerField(
        source="short.stood_in",
        help_text="Units for which something else on the list did instead.",
    )
    wanted = serializers.IntegerField(source="short.wanted")
    lacking = serializers.IntegerField(source="short.lacking")
    at_least = serializers.BooleanField(
        source="short.at_least", help_text="All that was carried then went: perhaps even more."
    )


class ReplayAnswer(answers.Answer):
    trips = serializers.IntegerField(source="done.counted")
    not_counted = answers.made(serializers.IntegerField, lambda of: len(of.done.not_counted))
    wants_not_counted = serializers.IntegerField(
        help_text="Times that an item was noted as not there on trips that are not counted."
    )
    short_trips = serializers.IntegerField(source="done.short_trips")
    not_on_list_trips = serializers.IntegerField(
        source="done.not_on_list_trips",
        help_text="Trips that wanted something which is not on the list at all.",
    )
    ran_out_trips = serializers.IntegerField(
        source="done.ran_out_trips", help_text="Trips on which something on the list ran out."
    )
    perhaps_trips = serializers.IntegerField(
        source="done.perhaps_trips",
        help_text="More trips, on which perhaps it ran out: all that was carried then went.",
    )
    stood_in_trips = serializers.IntegerField(
        source="done.stood_in_trips",
        help_text="Trips on which something else on the list did instead of an item.",
    )
    shortages = ShortageAnswer(many=True)
    perhaps = ShortageAnswer(
        many=True, help_text="Just enough as far as is recorded: all that was carried then went."
    )
    stood_in = ShortageAnswer(
        many=True, help_text="Nothing lacking: something else on the list did instead."
    )
    own_words_count = answers.made(
        serializers.IntegerField,
        lambda of: len(of.own_words),
        help_text="Wants noted in own words, which are not counted.",
    )
    own_words = answers.made(
        serializers.ListField,
        lambda of: [words for _trip, words in of.own_words],
        child=serializers.CharField(),
        help_text="Those of them that you may read.",
    )
    mass_g = serializers.IntegerField(source="done.mass_g")
    lighter_g = serializers.IntegerField(help_text="Than the version that is followed now.")
    waste = serializers.DecimalField(12, 2, source="done.waste")
    saved = serializers.DecimalField(12, 2, help_text="Of waste, against what is followed now.")
    caution = answers.made(serializers.CharField, lambda of: str(CAUTION))

    def to_representation(self, done: replays.Comparison) -> Any:
        """What it came to; trips and kits of rooms that are not theirs without their names."""
        shown, who = super().to_representation(done), self.context["actor"]
        theirs = replays.visible_trips(who, done)
        for name in ("shortages", "perhaps", "stood_in"):
            for row, each in zip(shown[name], getattr(done, name), strict=True):
                if each.trip.trip.pk not in theirs:
                    row["trip"] = None
                if not find.sees_kit(who, each.kit):
                    row["kit"] = None
        shown["own_words"] = replays.visible_words(who, done)
        return shown


class ReplayBody(ActBody):
    example = {"list": 1, "version": 2}
    rules = (
        one_of(("kit", "list"), _("Name a kit, or a kit list and one of its versions.")),
        needs("list", "version", _("Name the version of the kit list."), "version"),
        needs("version", "list", _("Name the kit list that this is a version of."), "list"),
    )

    kit = serializers.CharField(required=False, max_length=40, help_text="By name or label code.")
    list = serializers.IntegerField(required=False, min_value=1)
    version = serializers.IntegerField(required=False, min_value=1)


class TakeOnPastTrips(UseCaseView):
    use_case = "look"
    problems = NAMED_KIT
    body = ReplayBody
    answers = {200: ReplayAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Take a list on past trips: a kit's own, or those of all kits that follow the list."""
        if "kit" in data:
            kit = find.kit(act.actor, data["kit"])
            return 200, replays.of_version(kit.list_version, kit)
        return 200, replays.of_version(packing_lists.version_of(data["list"], data["version"]))

    def kept(self, body: Any) -> Any:
        """Nothing: it only asks."""
        return None
