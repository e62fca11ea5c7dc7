"""A kit to read: how ready it is, what is and was inside, its history."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from rest_framework import serializers

from gearroom.core.acts.problems import Invalid
from gearroom.core.api.requests.serializers import PageQuery, QuerySerializer
from gearroom.core.api.views import ListView, ReadView
from kits.api import answers
from kits.api.fields import DayOrInstantField
from kits.models import Entry, Kit
from kits.services.custody import offers
from kits.services.kits import contents
from kits.services.ledger import readiness, verdicts
from kits.services.lookup import find
from kits.services.restocking import sorting


class ReadinessQuery(QuerySerializer):
    through = serializers.DateField(
        required=False, help_text="The day; without it the trip's last, or today."
    )
    trip = serializers.CharField(required=False, max_length=130)


class ReadinessAnswer(answers.VerdictAnswer):
    kit = serializers.CharField()
    trip = answers.TripAnswer(allow_null=True)
    ready_until = serializers.DateField(allow_null=True)
    fit_until = serializers.DateField(allow_null=True)
    may_go_until = serializers.DateField(allow_null=True)
    first_expiry = serializers.DateField(
        allow_null=True, help_text="The earliest date inside; null where nothing is dated."
    )
    offers = answers.OfferAnswer(
        many=True, help_text="What to do about it, the quickest first; none where it just goes."
    )


class Readiness(ReadView):
    query = ReadinessQuery
    shows = ReadinessAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """Ready through a day or for a trip, with every reason and what settles it. Without
        either: for the trip it is out on, else its next within seven days, else today."""
        assert self.actor is not None
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
                _("That day is past. Ask what was inside then with contents/?on=."), field="through"
            )
        verdict = verdicts.verdicts([kit], {kit.pk: question})[kit.pk].verdict
        swaps = sorting.swaps(sorting.restock_list(kit, through=through))
        ways = offers.offers(self.actor, kit, verdict, trip=trip)
        days = readiness.days_now(kit)
        return {
            "kit": kit.name,
            "offers": offers.as_values(self.actor, kit, ways),
            "trip": answers.trip(trip),
            "ready_until": answers.iso(days.ready_until),
            "fit_until": answers.iso(days.fit_until),
            "may_go_until": answers.iso(days.may_go_until),
            "first_expiry": answers.iso(kit.first_expiry),
            **answers.verdict(verdict, swaps),
        }


class ContentsQuery(QuerySerializer):
    on = DayOrInstantField(required=False, help_text="A day, or a time with its offset; else now.")
    known_by = serializers.DateTimeField(
        required=False, help_text="As it was known then; else as known today."
    )


class ContentAnswer(serializers.Serializer[Any]):
    section = serializers.CharField()
    item = serializers.IntegerField()
    name = serializers.CharField()
    lot = serializers.IntegerField()
    number = serializers.CharField()
    expiry = serializers.DateField(allow_null=True)
    units = serializers.IntegerField()


class ContentLevelAnswer(serializers.Serializer[Any]):
    section = serializers.CharField()
    item = serializers.IntegerField()
    name = serializers.CharField()
    level = serializers.CharField()


class ContentsAnswer(serializers.Serializer[Any]):
    kit = serializers.CharField()
    on = serializers.DateTimeField()
    known_by = serializers.DateTimeField()
    seal = serializers.CharField(allow_blank=True)
    holder = serializers.CharField(allow_blank=True)
    lines = ContentAnswer(many=True)
    levels = ContentLevelAnswer(many=True)


class Contents(ReadView):
    query = ContentsQuery
    shows = ContentsAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """What is in a kit, or was on a day, as known now or as it was known then."""
        assert self.actor is not None
        kit = find.kit(self.actor, self.kwargs["kit"])
        if query:  # as it was, which is not of the room where it stands now
            contents.refuse_unless_known(self.actor, kit)
        found = contents.contents(kit, on=query.get("on"), known_by=query.get("known_by"))
        return contents_shown(kit, found)


def contents_shown(kit: Kit, found: contents.Contents) -> dict[str, Any]:
    """A kit's contents by section."""
    return {
        "kit": found.name,
        "on": found.on.isoformat(),
        "known_by": found.known_by.isoformat(),
        "seal": found.seal,
        "holder": found.holder,
        "lines": [
            {
                "section": line.section.section_key,
                "item": line.lot.item_id,
                "name": line.lot.item.name,
                "lot": line.lot.pk,
                "number": line.number,
                "expiry": line.expiry.isoformat() if line.expiry else None,
                "units": line.units,
            }
            for line in found.lines
        ],
        "levels": [
            {
                "section": place.section_key,
                "item": item.pk,
                "name": item.name,
                "level": str(level),
            }
            for place, item, level in found.levels
        ],
    }


class HistoryAnswer(answers.EntryAnswer):
    person = serializers.CharField(source="person.name", default=None, allow_null=True)
    trip = serializers.CharField(source="trip.name", default=None, allow_null=True)
    reason = serializers.CharField(allow_blank=True)
    detail = serializers.DictField()
    reverses = serializers.IntegerField(source="reverses_id", allow_null=True)


class History(ListView):
    reads_as = "read_history"
    query = PageQuery
    shows = HistoryAnswer

    def rows(self, query: dict[str, Any]) -> QuerySet[Entry]:
        """Everything that happened to a kit, newest first; to those of another room what happened
        to it there, and what they did themselves."""
        assert self.actor is not None
        kit = find.kit(self.actor, self.kwargs["kit"])
        return find.entries_of(self.actor).filter(kit=kit).select_related("person", "trip")
