"""At the hand-back: needs not met, kits mixed up, what may come back, and what in a kit belongs
to a participant."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView, named
from kits.api import answers, bodies
from kits.api.problems import NAMED_KIT
from kits.api.views import KitView, ReportView
from kits.models import UnmetNeed
from kits.services.custody import returns
from kits.services.kits import holds
from kits.services.lookup import find, reporters
from kits.services.stock import away


class NeededBody(ActBody):
    example = {"needed": [{"words": "a second sling"}, {"item": 4}]}
    needed = bodies.lines(bodies.NeedBody, allow_empty=False)


class ReportNeeds(ReportView):
    use_case = "log_use"
    body = NeededBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record what was needed but not in a kit, for the trip that it is or was out on."""
        return 201, returns.report_needs(act, self.kit(), bodies.needed(data["needed"]))


class MixedBody(ActBody):
    example = {"kits": ["DAY-02"]}
    kits = serializers.ListField(
        child=serializers.CharField(max_length=40),
        min_length=1,
        max_length=bodies.MOST_KITS,
        help_text="The other kits, by name or code.",
    )


class ReportMixed(ReportView):
    use_case = "withhold"
    body = MixedBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that a kit's contents were mixed with other kits': all of them must be counted."""
        return 201, holds.report_mixed(
            act, self.kit(), [reporters.kit(act.actor, ref) for ref in data["kits"]]
        )


class NotOursBody(ActBody):
    example = {"inside": True}
    inside = serializers.BooleanField(help_text="True: it is in the kit. False: given back.")


class ParticipantsOwn(ReportView):
    use_case = "log_use"
    body = NotOursBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that a participant's own item is in a kit, or was given back to its owner."""
        return 201, returns.report_own(act, self.kit(), inside=data["inside"])


# ------------------------------------------------ what may come back
@answers.Answer.of(away.UnitsAway)
class AwayAnswer(answers.LotUnits):
    members = ["kit", "number", "units", "since"]
    sources = {"kit": "kit.name"}
    number = answers.made(serializers.CharField, lambda lot: lot.number or lot.serial, source="lot")


class AwayList(serializers.Serializer[Any]):
    results = AwayAnswer(many=True)


class AwayUnits(ReadView):
    shows = AwayList

    def read(self, query: dict[str, Any]) -> Any:
        """Items from the kits of your gear rooms that went with a casualty and may be returned."""
        return {"results": away.visible_to(self.actor)}


class WriteOffBody(bodies.StockBody):
    example = {"lot": "12", "units": 1}


class ComeBackBody(WriteOffBody):
    example = {"lot": "12", "units": 1, "shelf": "3"}
    shelf = serializers.CharField(max_length=40, help_text="By id or by label code.")


class ComeBack(KitView):
    use_case = "come_back"
    problems = ("not-away", "not-enough", "wrong-label")
    body = ComeBackBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Put items that were returned from a casualty on a shelf."""
        return 201, away.come_back(
            act,
            self.kit(),
            find.lot(data["lot"]),
            data["units"],
            find.shelf(act.actor, data["shelf"]),
        )


class WriteOff(KitView):
    use_case = "write_off"
    problems = ("not-away", "not-enough", "wrong-label")
    body = WriteOffBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that items that went with a casualty will not be returned: they were used."""
        return 201, away.write_off(act, self.kit(), find.lot(data["lot"]), data["units"])


# ------------------------------------------------ what is not carried
@answers.Answer.of(UnmetNeed)
class UnmetNeedAnswer(answers.Answer):
    members = ["id", "kit", "trip", "item", "words", "occurred_at", "entry"]
    sources = {"trip": "entry.trip_id", "item": "item_id", "entry": "entry_id"}
    help_texts = {"words": "Can be sent instead of an item."}
    kit = serializers.CharField(source="entry.kit.name")
    occurred_at = serializers.DateTimeField(source="entry.occurred_at")


class UnmetNeedQuery(PageQuery):
    kit = serializers.CharField(required=False, max_length=60, help_text="Label code or name.")


class UnmetNeeds(ListView):
    read_problems = NAMED_KIT
    query = UnmetNeedQuery
    shows = UnmetNeedAnswer
    filters = {"kit": named(find.kit, "entry__kit")}

    def rows(self, query: dict[str, Any]) -> QuerySet[UnmetNeed]:
        """What was needed but not in the kits of your gear rooms, newest first."""
        rows = returns.needs_in_force()
        return rows if self.actor.everywhere else rows.filter(entry__in=find.entries_of(self.actor))
