"""Counting, and correcting a mistake."""

from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.openapi.member_rules import one_of
from gearroom.core.api.requests.serializers import ActBody, StrictSerializer
from gearroom.core.api.views import UseCaseView
from kits.api import answers, bodies
from kits.api.problems import NAMED_BY_LABEL, NAMED_KIT
from kits.api.views import KitView
from kits.models import Entry, Place
from kits.services.custody import wrong_kit
from kits.services.ledger.undo import kit_summary, reversal
from kits.services.lookup import find
from kits.services.stock import counting

COMPLETE = (
    "True: nothing else is there. Otherwise anything that is not listed counts as not counted"
    " and stays as it is on record."
)


class FoundBody(StrictSerializer):
    rules = (
        one_of(("lot", "item"), _("Specify either the batch (lot) or the item (item), not both.")),
    )

    lot = serializers.CharField(required=False, max_length=40)
    item = serializers.IntegerField(required=False, min_value=1)
    section = serializers.CharField(required=False, max_length=80)
    units = serializers.IntegerField(min_value=0, max_value=1_000_000)


class CountKitBody(bodies.LevelsBody):
    example = {
        "found": [{"item": 4, "section": "main", "units": 6}],
        "complete": True, "levels": [{"section": "main", "item": 9, "level": "low"}],
    }  # fmt: skip
    section = serializers.CharField(
        required=False, max_length=80, help_text="Only this section; default: the whole kit."
    )
    found = bodies.lines(FoundBody)
    complete = serializers.BooleanField(default=False, help_text=COMPLETE)
    preview = serializers.BooleanField(
        default=False, help_text="Show the differences without recording anything."
    )


class CountShelfBody(ActBody):
    example = {"shelf": "3", "found": [{"lot": "12", "units": 11}]}
    shelf = serializers.CharField(max_length=40, help_text="By id or by label code.")
    found = bodies.lines(FoundBody)
    complete = serializers.BooleanField(default=False, help_text=COMPLETE)
    preview = serializers.BooleanField(default=False)


@answers.Answer.of(counting.Difference)
class DifferenceAnswer(answers.LotUnits):
    members = ["place", "booked", "found", "lot_assumed"]
    sources = {"place": "place.name", "lot_assumed": "assumed"}


@answers.Answer.of(counting.CountResult)
class CountedAnswer(answers.Answer):
    members = ["entry", "differences"]
    entry = answers.EntryAnswer(allow_null=True)


class CountKit(KitView):
    use_case = "count"
    problems = ("serial-known-otherwise", "wrong-label")
    body = CountKitBody
    answers = {200: CountedAnswer, 201: CountedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Count a kit or one of its sections."""
        kit = self.kit()
        one = [find.section(kit, data["section"])] if "section" in data else None
        places = one or list(kit.sections.all())
        result = [
            _count_line(row, find.section(kit, row["section"]) if "section" in row else places[0])
            for row in data["found"]
        ]
        return _count(act, places, result, data, bodies.loose_levels(kit, data.get("levels", [])))


class CountShelf(UseCaseView):
    use_case = "count"
    problems = ("serial-known-otherwise", *NAMED_BY_LABEL)
    body = CountShelfBody
    answers = {200: CountedAnswer, 201: CountedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Count a shelf."""
        shelf = find.shelf(act.actor, data["shelf"])
        return _count(act, [shelf], [_count_line(row, shelf) for row in data["found"]], data, [])


def _count_line(row: dict[str, Any], place: Place) -> counting.CountLine:
    return counting.CountLine(
        place,
        row["units"],
        lot=find.lot(row["lot"]) if "lot" in row else None,
        item=find.item(row["item"]) if "item" in row else None,
    )


def _count(
    act: Act,
    places: list[Place],
    found: list[counting.CountLine],
    data: dict[str, Any],
    levels: list[Any],
) -> tuple[int, Any]:
    if data["preview"]:
        changed = counting.differences(places, found, complete=data["complete"], levels=levels)
        return 200, {"entry": None, "differences": changed}
    return 201, counting.count(act, places, found, complete=data["complete"], levels=levels)


_TO_UNDO = (
    "the scope `custody`, and `stock` for what somebody else did, or what was done over a day ago"
)


class ReverseBody(ActBody):
    example = {"reason": "It was the wrong kit.", "together": True, "through": 118}
    together = serializers.BooleanField(
        required=False, default=False, help_text="Also undo the later actions that depend on it."
    )
    through = serializers.IntegerField(
        required=False,
        min_value=1,
        help_text="With `together`: the last entry listed in `later`.",
    )


class LaterAnswer(serializers.Serializer[Any]):
    entry = serializers.IntegerField()
    kind = serializers.CharField()
    when = serializers.DateTimeField()
    who = serializers.CharField(allow_null=True)
    text = serializers.CharField()

    def to_representation(self, entry: Entry) -> Any:
        """The act that an entry is of."""
        return super().to_representation(kit_summary.act(entry))


@answers.Answer.of(kit_summary.Change)
class ChangeAnswer(answers.Answer):
    pass


@answers.Answer.of(reversal.Reversed)
class ReversedAnswer(answers.Answer):
    members = ["entries", "notices_taken_back", "later", "changes"]
    help_texts = {"changes": "What is different now."}
    later = LaterAnswer(many=True, help_text="The later actions that were undone with it.")


class Reverse(UseCaseView):
    use_case = "take_back"  # whose act it was decides the rest
    problems = ("built-on", "not-enough", "not-reversible", "reversed-already")
    body = ReverseBody
    answers = {201: ReversedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Correct a mistake: undo the action that an entry belongs to.

        If later ones depend on it, 409 `built-on` lists them; with `together` and `through` they
        are undone too.
        """
        return 201, reversal.reverse(
            act, self.kwargs["id"], together=data["together"], through=data.get("through")
        )


class ReallyBody(ActBody):
    example = {"kit": "DAY-02"}
    kit = serializers.CharField(
        max_length=40, help_text="The kit that it really was, by label code or name."
    )


class ReallyAnswer(serializers.Serializer[Any]):
    entry = answers.EntryAnswer(
        allow_null=True, help_text="Null if that kit already has such a record, or a later one."
    )


class MoveToOtherKit(UseCaseView):
    use_case = "take_back"
    token_needs = _TO_UNDO
    problems = (
        "same-kit", "built-on", "not-enough", "not-reversible", "reversed-already", *NAMED_KIT,
    )  # fmt: skip
    body = ReallyBody
    answers = {201: ReallyAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Undo an action and record it for the kit that it really was."""
        return 201, wrong_kit.correct_kit(act, self.kwargs["id"], find.kit(act.actor, data["kit"]))
