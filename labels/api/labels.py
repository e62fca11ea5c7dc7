"""Labels: made, listed, bound to what they are stuck on, cancelled and replaced."""

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _, gettext_lazy as _lazy
from rest_framework import serializers

from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.api.openapi.member_rules import needs, one_of
from gearroom.core.api.requests.serializers import ActBody, PageQuery, StrictSerializer
from gearroom.core.api.views import ListView, ReadView, UseCaseView, named, present
from kits.api import answers, bodies
from kits.api.problems import NAMED_KIT
from kits.models import Label, LabelKind
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.lookup import find

_MOST_TARGETS = 500
_ONE_THING = _lazy("Specify exactly one of: kit, kit and section, lot, shelf or person.")


@answers.Answer.of(Label)
class LabelAnswer(answers.Answer):
    members = [
        "code", "kind", "on", "kit", "section", "lot", "shelf", "person", "room", "made_at",
        "bound_at", "printed_at", "cancelled_at", "cancelled_why", "replaced_by",
    ]  # fmt: skip
    sources = {"kit": "of_kit.name", "lot": "lot_id", "person": "person_id", "room": "room.slug"}
    kinds = {datetime: serializers.DateTimeField}
    code = answers.LabelCode(help_text="As printed: XXXX-XXXX.")
    kind = serializers.ChoiceField([str(kind) for kind in LabelKind])
    on = answers.made(
        serializers.CharField, labelling.name_of, help_text="What it is on, in a few words."
    )
    section = answers.made(
        serializers.CharField,
        lambda place: place.section_key if place.kit else None,
        source="place",
        allow_null=True,
        help_text="The section's key; “kit” names its kit.",
    )
    shelf = answers.made(
        serializers.IntegerField,
        lambda place: None if place.kit else place.pk,
        source="place",
        allow_null=True,
    )
    replaced_by = answers.LabelCode(source="replaced_by.code", allow_null=True)


class LabelsAnswer(serializers.Serializer[Any]):
    labels = LabelAnswer(many=True)


class TargetBody(StrictSerializer):
    """What a label is on: exactly one of these; a section by its kit and its key."""

    rules = (
        one_of(("kit", "lot", "shelf", "person"), _ONE_THING),
        needs("section", "kit", _ONE_THING),
    )

    kit = serializers.CharField(
        required=False, max_length=40, help_text="By name or by label code."
    )
    section = serializers.CharField(
        required=False, max_length=80, help_text="A section of the kit, by key or name."
    )
    lot = serializers.CharField(required=False, max_length=40, help_text="A batch, by id.")
    shelf = serializers.CharField(required=False, max_length=40, help_text="By id.")
    person = serializers.CharField(required=False, max_length=40, help_text="By id.")


def target(actor: Actor, data: dict[str, Any]) -> labelling.Target:
    """What a body names. Raises NotFound, Invalid."""
    if "kit" in data:
        kit = find.kit(actor, data["kit"])
        return find.section(kit, data["section"]) if "section" in data else kit
    if "lot" in data:
        return find.lot(data["lot"])
    if "shelf" in data:
        return find.shelf(actor, data["shelf"])
    actor.require("see_people")
    return find.person(actor, data["person"])


class LabelQuery(PageQuery):
    kind = serializers.ChoiceField([str(kind) for kind in LabelKind], required=False)
    kit = serializers.CharField(required=False, max_length=40)
    lot = serializers.IntegerField(required=False, min_value=1)
    shelf = serializers.IntegerField(required=False, min_value=1)
    person = serializers.IntegerField(required=False, min_value=1)
    room = serializers.CharField(required=False, max_length=80)
    cancelled = serializers.BooleanField(required=False)
    printed = serializers.BooleanField(required=False)


class MakeBody(bodies.HereBody):
    example = {"on": [{"kit": "DAY-02"}, {"kit": "DAY-02", "section": "main"}]}
    rules = (
        one_of(
            ("on", "blanks"),
            _lazy("Specify either “on” (what the labels go on) or “blanks”."),
            "on",
        ),
        needs(
            "blanks", "room", _lazy("Specify the gear room that the blank labels are for."), "room"
        ),
    )

    on = bodies.lines(
        TargetBody, most=_MOST_TARGETS, required=False, allow_empty=False,
        help_text="What to make labels for.",
    )  # fmt: skip
    blanks = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=labelling.MOST_BLANKS,
        help_text="How many blank labels to create for a gear room, to be linked once they are"
        " on something.",
    )
    again = serializers.BooleanField(
        default=False, help_text="Create another label even if there already is one."
    )


class Labels(ListView, UseCaseView):
    use_case = "print_labels"
    problems = ("wrong-label", *NAMED_KIT)
    read_problems = NAMED_KIT
    query = LabelQuery
    shows = LabelAnswer
    filters = {
        "kit": named(find.kit, "kit", "place__kit"),
        "room": named(find.room, "room"),
        "shelf": "place",
        "kind": "kind",
        "lot": "lot",
        "person": "person",
        "cancelled": present("cancelled_at"),
        "printed": present("printed_at"),
    }
    body = MakeBody
    answers = {201: LabelsAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Label]:
        """The labels of your gear rooms."""
        labels = labelling.labels_of(self.actor)
        all_kinds = self.actor.may("see_people")
        return labels if all_kinds else labels.exclude(kind=LabelKind.PERSON)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Create labels: for kits, sections, batches, shelves or people, or blank ones for a room.

        Anything that already has a valid label keeps it, unless “again” is sent; the answer
        contains that label.
        """
        act = bodies.here(act, data)
        if "blanks" in data and act.room is not None:  # the body asks for both
            made = labelling.blanks(act, act.room, data["blanks"])
        else:
            things = [target(act.actor, row) for row in data["on"]]
            made = labelling.labels_for(act, things, act.room, again=data["again"])
        return 201, {"labels": made}


class OneLabel(ReadView):
    shows = LabelAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """One label of your gear rooms by its code, even if it was cancelled."""
        return labelling.one_of(self.actor, self.kwargs["code"])


class BindBody(bodies.HereBody):
    example = {"to": {"kit": "DAY-02"}}
    to = TargetBody(help_text="What the label is on.")


class Bind(UseCaseView):
    use_case = "bind_label"
    problems = ("label-bound", "wrong-label", *NAMED_KIT)
    body = BindBody
    answers = {200: LabelAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Link a blank label to what it is on."""
        act = bodies.here(act, data)
        return 200, labelling.bind(act, self.kwargs["code"], target(act.actor, data["to"]))


class CancelBody(ActBody):
    example = {"why": "Worn off.", "replace": True}
    why = serializers.CharField(max_length=200, help_text="Shown to anyone who scans it later.")
    replace = serializers.BooleanField(default=False, help_text="Create a replacement label.")


class CancelAnswer(serializers.Serializer[Any]):
    cancelled = LabelAnswer(source="*")
    replacement = LabelAnswer(source="replaced_by", allow_null=True)


class Cancel(UseCaseView):
    use_case = "cancel_label"
    problems = ("label-cancelled",)
    body = CancelBody
    answers = {200: CancelAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Cancel a label that is worn, lost or on the wrong item, and replace it if you like."""
        label = labelling.one_of(act.actor, self.kwargs["code"])
        return 200, labelling.cancel(act, label.code, data["why"], and_replace=data["replace"])


def wanted_codes(texts: list[str]) -> list[str]:
    """The codes among what somebody wrote. Raises Invalid for what is no code."""
    codes = []
    for text in texts:
        if (code := label_codes.parse(text)) is None:
            raise Invalid(
                _("“%(text)s” is not a label code. Check the code.") % {"text": text},
                field="labels",
            )
        codes.append(code)
    return codes
