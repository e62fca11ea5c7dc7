"""What a scan answers: the shapes for the schema, and how outcomes become them."""

from typing import Any
from urllib.parse import quote

from rest_framework import serializers

from gearroom.core.api.derived_serializer import DerivedSerializer
from gearroom.core.api.requests.serializers import ProblemDocument
from kits.api import answers
from kits.rules.ledger.facts import Word
from labels.rules.codes.scans import Reading
from labels.services import passerby
from labels.services.scan import results

_API = "/api/v1/"

# Where each thing that can be done next is done; "{}" is what it is done to. What says its own
# intent is done by scanning on.
_WHERE = {
    results.Step.PASS: ("POST", "kits/{}/pass/"),
    results.Step.RESTOCK: ("GET", "kits/{}/restock/"),
    results.Step.LOOK_INSIDE: ("POST", "kits/{}/look-inside/"),
    results.Step.LOG_USE: ("POST", "kits/{}/use/"),
    results.Step.COUNT_KIT: ("POST", "kits/{}/count/"),
    results.Step.COUNT: ("POST", "stock/count/"),
    results.Step.RECEIVE: ("POST", "stock/receive/"),
    results.Step.ADD_ITEM: ("POST", "items/"),
    results.Step.ADD_PACK_CODE: ("POST", "items/{{item}}/pack-codes/"),
    results.Step.BIND: ("POST", "labels/{}/bind/"),
    results.Step.UNDO: ("POST", "entries/{}/reverse/"),
}
_SCAN = ("POST", "scans/")


@answers.Answer.of(Reading)
class ReadAnswer(answers.Answer):
    members = ["text", "symbology", "corners", "rung"]
    sources = {"text": "printable"}
    help_texts = {
        "text": "As encoded in the symbol.",
        "symbology": "The standard's name, or “typed”.",
        "rung": "Which step of the reader read it.",
    }
    corners = serializers.ListField(
        child=serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2),
        help_text="Top left, top right, bottom right, bottom left of the symbol, in pixels of the "
        "picture as stored; empty for a typed text.",
    )


class ThingAnswer(DerivedSerializer):
    def __init__(self, **more: Any) -> None:
        super().__init__(source="thing", allow_null=True, **more)

    def to_representation(self, thing: Any) -> Any:
        """Null where something else was read."""
        return super().to_representation(thing) if isinstance(thing, self.shown) else None


class KitAnswer(ThingAnswer):
    shown = results.ScannedKit
    help_texts = {
        "room": "Where it is now.",
        "fit": "Ready, or at most low.",
        "may_go": "Ready, low, or short but may be taken out with a reason.",
        "verdict_text": "The status as shown on pages.",
        "through": "The day that the status is for.",
        "to_sort": "Handed back but not sorted yet.",
        "not_ours": "A participant’s own item is still inside: give it back to its owner.",
        "training": "A training kit: for classes, not for emergencies.",
        "emergency": "It is out in an emergency.",
        "to_add": "What its kit list leaves out and its trip wants, as sentences.",
        "has_it": "The person who has it; empty if it is not out.",
        "trip": "The trip that the status is for.",
        "guide": "The person taking it on that trip.",
    }
    verdict = serializers.ChoiceField([word.value for word in Word])
    reasons = answers.ReasonAnswer(many=True)


class SectionAnswer(ThingAnswer):
    shown = results.ScannedSection


class WhereAnswer(serializers.Serializer[Any]):
    place = serializers.IntegerField()
    name = serializers.CharField()
    inside = serializers.CharField(
        allow_blank=True, help_text="The kit or gear room that it is in."
    )
    units = serializers.IntegerField()


class LotAnswer(ThingAnswer):
    shown = results.ScannedLot
    help_texts = {"fault": "Why it cannot be used; empty if it can."}
    where = WhereAnswer(many=True)


class ShelfAnswer(ThingAnswer):
    shown = results.ScannedShelf


class TagAnswer(ThingAnswer):
    shown = results.ScannedPerson


class PasserByAnswer(ThingAnswer):
    shown = passerby.Facts


@answers.Answer.of(results.ScannedPack)
class PackAnswer(DerivedSerializer):
    help_texts = {
        "count": "The number of units in the code itself.",
        "units": "The number of units in one such pack.",
        "item": "Null: this item is new here.",
        "lot": "The batch, if it is already on record.",
    }


@answers.Answer.of(results.NextStep)
class NextAnswer(DerivedSerializer):
    help_texts = {
        "about": "The name of the kit, or the id of what the action is about, if any.",
        "needs": "Fields that still need to be sent.",
    }
    method = answers.made(
        serializers.ChoiceField, lambda step: _call_of(step)[0], choices=["GET", "POST"]
    )
    url = answers.made(
        serializers.CharField,
        lambda step: _API + _call_of(step)[1].format(quote(step.about, safe="")),
    )
    fields = serializers.DictField(  # type: ignore[assignment]  # so the API names it
        help_text="What to send, as far as known."
    )
    people = answers.PersonAnswer(many=True, help_text="People who may be named in “cleared_by”.")


def _call_of(step: results.NextStep) -> tuple[str, str]:
    """The method and the path of the call that does a step."""
    return _SCAN if "intent" in step.fields else _WHERE[results.Step(step.do)]


@answers.Answer.of(results.Outcome)
class OutcomeAnswer(answers.Answer):
    members = [
        "read", "means", "outcome", "says", "label", "kit", "section", "lot", "shelf", "person",
        "passer_by", "packs", "entry", "problem", "next",
    ]  # fmt: skip
    sources = {"read": "seen"}
    help_texts = {
        "outcome": "identified, taken-out, handed-back, checked, added, holder, ready; or the"
        " problem's code.",
        "packs": "Possible readings of a maker's code, best first.",
        "next": "What can be done now.",
    }
    label = answers.LabelCode(source="label.code", allow_null=True)  # type: ignore[assignment]  # so the API names it
    kit = KitAnswer()
    section = SectionAnswer()
    lot = LotAnswer()
    shelf = ShelfAnswer()
    person = TagAnswer()
    passer_by = PasserByAnswer()
    problem = ProblemDocument(
        allow_null=True,
        help_text="Why nothing was done with it, as if it were the only label; null: it was done.",
    )


@answers.Answer.of(results.ScanAnswer)
class ScanAnswer(answers.Answer):
    members = ["scan_id", "intent", "rung", "outcomes"]
    sources = {"rung": "look.rung"}
    help_texts = {
        "rung": "The position in the code where the reader stopped.",
        "outcomes": "One for each label read, in reading order.",
    }


def shown(answer: results.ScanAnswer) -> dict[str, Any]:
    """A reading event as the API answers it."""
    return dict(ScanAnswer(answer).data)
