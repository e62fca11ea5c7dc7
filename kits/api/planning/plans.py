"""/api/v1/plans/: what kits and lists come to, and the rates that it rests on."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, NoteField, QuerySerializer
from gearroom.core.api.views import ReadView, UseCaseView
from kits.api import answers
from kits.api.problems import NAMED_KIT
from kits.models import Activity, PackingListVersion, RateSource
from kits.rules.planning.fit import Fits
from kits.rules.planning.quantities import Basis
from kits.rules.planning.records import rates as rules, studies
from kits.services.lists import packing_lists
from kits.services.lookup import find
from kits.services.planning import fit, plans, vocabulary
from kits.services.planning.records import priors, rates
from kits.services.planning.records.rates import NeedRate
from kits.services.text.planning.planning_texts import CAUTION

PER = 1000
"""Rates are shown in uses per so many participant-days."""


def per_1000(rate: float | None) -> float | None:
    """A rate in uses a participant-day, as it is shown."""
    return None if rate is None else rate * PER


COVERS = {True: "all-activities", False: "one-activity"}


class PriorAnswer(answers.Answer):
    per_1000 = answers.made(
        serializers.FloatField, lambda of: of.prior.mean * PER if of.prior else None,
        allow_null=True,
        help_text="Uses per 1,000 participant-days; null: nobody stated any.",
    )  # fmt: skip
    weight = answers.made(
        serializers.FloatField, lambda of: of.prior.weight if of.prior else None,
        allow_null=True,
        help_text="It counts for so many uses, at most 2.",
    )  # fmt: skip
    source = answers.made(
        serializers.CharField, lambda of: of.stated.source if of.stated else None,
        allow_null=True,
        help_text="`adviser` or `study`; null: nobody stated any.",
    )  # fmt: skip
    study = answers.made(serializers.CharField, lambda of: of.stated.study if of.stated else "")
    note = answers.made(serializers.CharField, lambda of: of.stated.note if of.stated else "")


class RateAnswer(answers.Answer):
    need = serializers.CharField(source="need.key")
    name = serializers.CharField(source="need.name")
    group = serializers.CharField(source="need.group")
    activity = serializers.CharField(
        help_text="By its key from GET plans/vocabulary/; empty: all activities."
    )
    covers = answers.made(
        serializers.ChoiceField, lambda of: COVERS[of.pooled], choices=list(COVERS.values()),
        help_text="What `shape`, `per_days` and `dispersion` are of.",
    )  # fmt: skip
    prior = PriorAnswer(source="*")
    uses = serializers.FloatField(
        help_text="Uses recorded, what was not there included; where all that was carried went, "
        "there may have been more."
    )
    exposure_days = serializers.FloatField(
        source="days", help_text="Participant-days over which they were recorded."
    )
    known_trips = serializers.IntegerField(
        help_text="Times out of which it is known what was used."
    )
    trips = serializers.IntegerField()
    shape = answers.made(
        serializers.FloatField,
        lambda of: of.rate.shape if of.rate else None,
        allow_null=True,
    )
    per_days = answers.made(
        serializers.FloatField,
        lambda of: of.rate.per_days if of.rate else None,
        allow_null=True,
    )
    dispersion = answers.made(
        serializers.FloatField,
        lambda of: of.rate.dispersion if of.rate else None,
        allow_null=True,
    )
    mean = answers.made(
        serializers.FloatField, lambda of: per_1000(of.rate.mean) if of.rate else None,
        allow_null=True,
        help_text="Uses per 1,000 participant-days; null: no rate.",
    )  # fmt: skip
    low = answers.made(
        serializers.FloatField, lambda of: per_1000(of.interval[0]) if of.interval else None,
        allow_null=True,
        help_text="Nineteen in twenty of what is believed lie above it, per 1,000.",
    )  # fmt: skip
    high = answers.made(
        serializers.FloatField,
        lambda of: per_1000(of.interval[1]) if of.interval else None,
        allow_null=True,
    )


class Chances(serializers.ListField):
    child = serializers.FloatField()


class NeedAnswer(answers.Answer):
    need = serializers.CharField(source="rate.need.key")
    rate = RateAnswer()
    units_per_use = Chances(help_text="The chances of 1, 2 … units a use.")


class LineAnswer(answers.Answer):
    item = serializers.IntegerField(source="line.item_id")
    name = serializers.CharField(source="line.item.name")
    section = serializers.CharField(source="line.section.key")
    priority = serializers.CharField(source="line.criticality")
    basis = serializers.ChoiceField(
        [each.value for each in Basis], help_text="What is worked out of it, or why nothing is."
    )
    need = NeedAnswer(source="needs", many=True, help_text="What the item is for.")
    planned_days = serializers.FloatField(help_text="Participant-days of one trip.")
    demand = answers.made(
        Chances,
        lambda of: None if of.demand is None else of.demand.tolist(),
        allow_null=True,
        help_text="The chances of 0, 1, 2 … units wanted on one trip; null: see `basis`.",
    )
    quantity = serializers.IntegerField()
    enough = serializers.IntegerField(help_text="Units that are enough with `service_level`.")
    service_level = serializers.FloatField()
    runs_out = serializers.FloatField(source="change.runs_out", default=None, allow_null=True)
    with_one_fewer = serializers.FloatField(
        source="change.with_one_fewer", default=None, allow_null=True
    )
    with_one_more = serializers.FloatField(
        source="change.with_one_more", default=None, allow_null=True
    )
    expires_unused = serializers.FloatField(
        allow_null=True, help_text="The chance that a unit bought now goes out of date unused."
    )
    shelf_life_days = serializers.IntegerField(source="purchase.shelf_life_days", allow_null=True)
    currency = serializers.CharField(source="purchase.currency", allow_blank=True)
    waste_per_year = serializers.DecimalField(
        12, 2, source="per_year.waste", default=None, allow_null=True
    )
    cost_per_year = serializers.DecimalField(
        12, 2, source="per_year.carrying", default=None, allow_null=True
    )


class Ids(serializers.ListField):
    child = serializers.IntegerField()


@answers.Answer.of(fit.Move)
class MoveAnswer(answers.OfItem):
    members = ["units", "volume_ml"]


@answers.Answer.of(fit.BagFit)
class BagFitAnswer(answers.Answer):
    """Whether what goes into the bag, or into one of its sections, fits."""

    members = ["key", "name", "outside", "volume_ml", "takes_ml", "fits", "closed", "move"]
    sources = {"volume_ml": "bulk.volume_ml", "takes_ml": "takes.expected"}
    help_texts = {
        "key": "The section; empty: the whole bag.",
        "outside": "It is carried outside the bag.",
        "volume_ml": "Of the items whose volume is known.",
        "takes_ml": "What it is thought to take; null: nothing is known.",
        "closed": "What was said of it when it was last sealed.",
        "move": "Move these or make them smaller.",
    }
    fits = serializers.ChoiceField([each.value for each in Fits])
    move = MoveAnswer(many=True)


@answers.Answer.of(fit.Fit)
class FitAnswer(answers.Answer):
    """Whether it fits the bag of a kit, by section and whole, and what it weighs."""

    members = ["kit", "whole", "sections", "mass_g", "volume_unknown", "mass_unknown"]
    sources = {"mass_g": "carried.mass_g"}
    help_texts = {
        "mass_g": "Of the items whose weight is known, outside the bag too.",
        "volume_unknown": "Items, by id, that have no volume.",
        "mass_unknown": "Items, by id, that have no weight.",
    }
    kit = serializers.CharField(source="kit.name", default=None, allow_null=True)
    whole = BagFitAnswer()
    sections = BagFitAnswer(many=True)
    volume_unknown = answers.made(Ids, lambda of: [item.pk for item in of], source=None)
    mass_unknown = answers.made(Ids, lambda of: [item.pk for item in of], source=None)


class PlanAnswer(answers.Answer):
    packing_list = serializers.IntegerField(source="version.packing_list_id")
    version = serializers.IntegerField(source="version.number")
    people = serializers.IntegerField()
    days = serializers.IntegerField()
    activity = serializers.CharField(allow_blank=True)
    planned_days = serializers.FloatField(help_text="Participant-days of one trip.")
    yearly_days = serializers.FloatField(help_text="Participant-days a year of one such kit.")
    lines = LineAnswer(many=True)
    lacks_something = serializers.FloatField(
        help_text="The chance that at least one line with a rate runs out on one trip."
    )
    lacks_must_have = serializers.FloatField(help_text="The same of its must-haves alone.")
    fit = FitAnswer()
    caution = answers.made(serializers.CharField, lambda of: str(CAUTION))


class PlanQuery(QuerySerializer):
    people = serializers.IntegerField(required=False, min_value=1, max_value=1000)
    days = serializers.IntegerField(required=False, min_value=1, max_value=365)
    activity = serializers.SlugField(required=False, max_length=40)


def activity_of(key: str | None) -> Activity | None:
    """An activity by its key; None for none. Raises NotFound."""
    return vocabulary.activity_of(key) if key else None


class _PlanView(ReadView):
    query = PlanQuery
    shows = PlanAnswer

    def plan_of(
        self, version: PackingListVersion, bag: fit.Fit, query: dict[str, Any]
    ) -> dict[str, Any]:
        """A version's plan for what the query asks, and whether it fits a bag."""
        activity = activity_of(query.pop("activity", None))
        return {**vars(plans.plan(version, activity=activity, **query)), "fit": bag}


class KitPlan(_PlanView):
    read_problems = NAMED_KIT

    def read(self, query: dict[str, Any]) -> Any:
        """What a kit's list comes to."""
        kit = find.kit(self.actor, self.kwargs["kit"])
        return self.plan_of(kit.list_version, fit.of_kit(kit), query)


class VersionPlan(_PlanView):
    def read(self, query: dict[str, Any]) -> Any:
        """What a version of a list comes to, a draft too."""
        version = packing_lists.version_of(self.kwargs["list"], self.kwargs["number"])
        kits = find.kits_of(self.actor).filter(list_version__packing_list=version.packing_list)
        return self.plan_of(version, fit.of_version(version, kits.active())[0], query)


# ------------------------------------------------------------------------------------------- rates
class StudyAnswer(answers.Answer):
    key = serializers.CharField()
    authors = serializers.CharField()
    published = serializers.CharField()
    year = serializers.IntegerField()
    doi = serializers.CharField(allow_blank=True)
    setting = serializers.CharField()
    counts = serializers.CharField(help_text="What was counted.")
    person_days = serializers.IntegerField(allow_null=True)
    rates = serializers.DictField(
        child=serializers.FloatField(), help_text="Per 1,000 person-days, by what was counted."
    )
    note = serializers.CharField(allow_blank=True)
    read = serializers.CharField(help_text="What of it was read.")


class RatesAnswer(answers.Answer):
    rates = RateAnswer(many=True)
    studies = StudyAnswer(many=True)
    caution = answers.made(serializers.CharField, lambda of: str(CAUTION))


class RatesQuery(QuerySerializer):
    activity = serializers.SlugField(required=False, max_length=40)


class Rates(ReadView):
    query = RatesQuery
    shows = RatesAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """How often each need comes up here, and what has been published."""
        activity = activity_of(query.get("activity"))
        known = rates.records()
        rows: Sequence[NeedRate] = [
            known.rate_in(need, activity)
            for need in known.needs.values()
            if need.retired_on is None
        ]
        return {"rates": rows, "studies": studies.STUDIES}


class StateRateBody(ActBody):
    example = {"per_1000": "3.5", "weight": "1", "note": "From ten seasons of course reports."}
    per_1000 = serializers.DecimalField(
        9,
        4,
        min_value=0,
        allow_null=True,
        help_text="Uses per 1,000 participant-days; null: blank.",
    )
    weight = serializers.DecimalField(
        3, 2, default=Decimal(1), min_value=0, max_value=int(rules.MOST_WEIGHT),
        help_text="It counts for so many uses.",
    )  # fmt: skip
    study = serializers.CharField(default="", allow_blank=True, max_length=40)
    note = NoteField(max_length=300, default="", allow_blank=True)


class StatedAnswer(answers.Answer):
    need = serializers.CharField(source="need.key")
    activity = serializers.CharField(source="activity.key", default=None, allow_null=True)
    per_1000 = serializers.FloatField(allow_null=True)
    weight = serializers.FloatField()
    source = serializers.ChoiceField(RateSource.values)  # type: ignore[assignment]  # so the API names it
    study = serializers.CharField(allow_blank=True)
    note = serializers.CharField(allow_blank=True)
    stated_by = serializers.CharField(source="stated_by.name", default=None, allow_null=True)
    stated_at = answers.Moment()


class StateRate(UseCaseView):
    use_case = "state_rate"
    method = "put"
    body = StateRateBody
    answers = {200: StatedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """State how often a need comes up in an activity (`any`: in all)."""
        need, key = vocabulary.need_of(self.kwargs["need"]), self.kwargs["activity"]
        return 200, priors.state(act, need, activity_of(None if key == "any" else key), **data)
