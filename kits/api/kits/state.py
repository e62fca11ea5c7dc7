"""A kit to read: how ready it is, what is and was inside, its history."""

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from rest_framework import serializers

from gearroom.core.acts import Invalid
from gearroom.core.api.requests.serializers import PageQuery, QuerySerializer
from gearroom.core.api.views import ListView, ReadView
from kits.api import answers
from kits.api.fields import DayOrInstantField
from kits.api.problems import NAMED_KIT
from kits.models import Entry
from kits.rules.ledger.facts import Word
from kits.services.custody import offers
from kits.services.kits import history
from kits.services.ledger import LooseLevel, readiness, verdicts
from kits.services.lookup import find
from kits.services.restocking import sorting
from kits.services.text import reason_texts, verdict_texts


class ReadinessQuery(QuerySerializer):
    through = serializers.DateField(
        required=False, help_text="The day; default: the trip's last day, or today."
    )
    trip = serializers.CharField(required=False, max_length=130)


class ReadinessAnswer(answers.DaysAnswer):
    verdict = serializers.ChoiceField([word.value for word in Word], source="verdict.word")
    verdict_text = answers.made(
        serializers.CharField,
        verdict_texts.verdict,
        source="verdict",
        help_text="The status as shown on pages.",
    )
    through = serializers.DateField(
        source="verdict.through", help_text="The day that the status is for."
    )
    fit = serializers.BooleanField(source="verdict.fit", help_text="Ready, or at most low.")
    may_go = serializers.BooleanField(
        source="verdict.may_go",
        help_text="Ready, low, or short but may be taken out with a reason.",
    )
    reasons = answers.ReasonAnswer(many=True)
    kit = serializers.CharField(source="kit.name")
    trip = answers.TripAnswer(allow_null=True)
    ready_until = serializers.DateField(source="days.ready_until", allow_null=True)
    offers = answers.OfferAnswer(
        many=True,
        help_text="What can be done about it, quickest first; empty if the kit can"
        " simply be taken out.",
    )


class Readiness(ReadView):
    read_problems = NAMED_KIT
    query = ReadinessQuery
    shows = ReadinessAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """Whether a kit is ready up to a day or for a trip, with every reason and its solution.
        Without either: for the trip it is out on, else its next trip within seven days, else
        today."""
        kit = find.kit(self.actor, self.kwargs["kit"])
        trip = find.trip(self.actor, query["trip"]) if "trip" in query else None
        today = readiness.today_of(kit)
        if trip is None and "through" not in query:
            question = verdicts.questions_of([kit])[kit.pk]
        else:
            day = query.get("through") or (max(trip.last_day, today) if trip else today)
            question = verdicts.Question(day, trip)
        through, trip = question.through, question.trip
        if through < today:
            raise Invalid(
                _("That day is in the past. To see what was inside then, use contents/?on=."),
                field="through",
            )
        verdict = verdicts.verdicts([kit], {kit.pk: question})[kit.pk].verdict
        swaps = sorting.swaps(sorting.restock_list(kit, through=through))
        return {
            "kit": kit,
            "trip": trip,
            "verdict": verdict,
            "reasons": reason_texts.reasons(verdict.reasons, swaps),
            "days": readiness.days_now(kit),
            "offers": offers.as_values(
                self.actor, kit, offers.offers(self.actor, kit, verdict, trip=trip)
            ),
        }


class ContentsQuery(QuerySerializer):
    on = DayOrInstantField(
        required=False, help_text="A day, or a time with its offset; default: now."
    )
    known_by = serializers.DateTimeField(
        required=False, help_text="As known at that time; default: as known today."
    )


@answers.Answer.of(history.Content)
class ContentAnswer(answers.LotUnits):
    members = ["section", "expiry", "units"]
    sources = {"section": "section.section_key"}
    number = serializers.CharField()


@answers.Answer.of(LooseLevel)
class ContentLevelAnswer(answers.OfItem):
    section = serializers.CharField(source="section.section_key")
    level = serializers.CharField()


@answers.Answer.of(history.Contents)
class ContentsAnswer(answers.Answer):
    members = ["kit", "on", "known_by", "seal", "holder", "lines", "levels"]
    sources = {"kit": "name"}


class Contents(ReadView):
    read_problems = NAMED_KIT
    query = ContentsQuery
    shows = ContentsAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """The contents of a kit now or on a given day, as known now or as known then."""
        kit = find.kit(self.actor, self.kwargs["kit"])
        if query:  # as it was, which is not of the room where it stands now
            history.refuse_unless_known(self.actor, kit)
        return history.contents(kit, on=query.get("on"), known_by=query.get("known_by"))


class HistoryAnswer(answers.EntryRow):
    trip = serializers.CharField(source="trip.name", default=None, allow_null=True)


class History(ListView):
    reads_as = "read_history"
    read_problems = NAMED_KIT
    query = PageQuery
    shows = HistoryAnswer

    def rows(self, query: dict[str, Any]) -> QuerySet[Entry]:
        """The history of a kit, newest first.

        People from another gear room see what happened to it there, and what they did themselves.
        """
        return (
            find.entries_of(self.actor)
            .filter(kit=find.kit(self.actor, self.kwargs["kit"]))
            .select_related("person", "trip")
        )
