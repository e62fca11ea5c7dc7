"""What a scan answers: the shapes for the schema, and how outcomes become them."""

from __future__ import annotations

import dataclasses
from typing import Any
from urllib.parse import quote

from rest_framework import serializers

from gearroom.core.acts.problems import document
from gearroom.core.api.requests.serializers import ProblemDocument
from kits.api import answers
from kits.rules.ledger.facts import Word
from kits.rules.lookup import label_codes
from labels.rules.codes.scans import Intent, Means
from labels.services import passerby
from labels.services.scan import results as outcomes
from labels.services.scan.results import Step

_API = "/api/v1/"

# Where each thing that can be done next is done; "{}" is what it is done to. What says its own
# intent is done by scanning on.
_WHERE = {
    Step.PASS: ("POST", "kits/{}/pass/"),
    Step.RESTOCK: ("GET", "kits/{}/restock/"),
    Step.LOOK_INSIDE: ("POST", "kits/{}/look-inside/"),
    Step.LOG_USE: ("POST", "kits/{}/use/"),
    Step.COUNT_KIT: ("POST", "kits/{}/count/"),
    Step.COUNT: ("POST", "stock/count/"),
    Step.RECEIVE: ("POST", "stock/receive/"),
    Step.ADD_ITEM: ("POST", "items/"),
    Step.ADD_PACK_CODE: ("POST", "items/{{item}}/pack-codes/"),
    Step.BIND: ("POST", "labels/{}/bind/"),
    Step.UNDO: ("POST", "entries/{}/reverse/"),
}
_SCAN = ("POST", "scans/")


class ReadAnswer(serializers.Serializer[Any]):
    text = serializers.CharField(allow_blank=True, help_text="As the symbol has it.")
    symbology = serializers.CharField(help_text="The standard's name, or “typed”.")
    corners = serializers.ListField(
        child=serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2),
        help_text="Top left, top right, bottom right, bottom left of the symbol, in pixels of the "
        "picture as stored; empty for a typed text.",
    )
    rung = serializers.CharField(allow_blank=True, help_text="What of the reader read it.")


class KitAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    packing_list = serializers.CharField()
    room = serializers.CharField(help_text="Where it is now.")
    home_room = serializers.CharField()
    fit = serializers.BooleanField(help_text="Ready, or at most low.")
    may_go = serializers.BooleanField(help_text="Ready, low, or short and may go with a reason.")
    verdict = serializers.ChoiceField([word.value for word in Word])
    verdict_text = serializers.CharField(help_text="The verdict as pages show it.")
    first_expiry = serializers.DateField(allow_null=True)
    through = serializers.DateField(help_text="The day that was judged.")
    ready_until = serializers.DateField(allow_null=True)
    fit_until = serializers.DateField(allow_null=True)
    may_go_until = serializers.DateField(allow_null=True)
    reasons = answers.ReasonAnswer(many=True)
    seal = serializers.CharField(allow_blank=True)
    to_sort = serializers.BooleanField(help_text="Handed back and not sorted yet.")
    not_ours = serializers.BooleanField(
        help_text="Something of a participant’s own is in it: give it back to its owner."
    )
    responsible = serializers.CharField(allow_blank=True)
    has_it = serializers.CharField(allow_blank=True, help_text="Who has it; empty when it is in.")
    has_it_id = serializers.IntegerField(allow_null=True)
    has_it_phone = serializers.CharField(allow_blank=True)
    out_since = serializers.DateTimeField(allow_null=True)
    due_at = serializers.DateTimeField(allow_null=True)
    trip = serializers.IntegerField(allow_null=True, help_text="The trip that was judged.")
    trip_name = serializers.CharField(allow_blank=True)
    trip_departs_at = serializers.DateTimeField(allow_null=True)
    trip_last_day = serializers.DateField(allow_null=True)
    guide = serializers.IntegerField(allow_null=True, help_text="Who takes it on that trip.")
    guide_name = serializers.CharField(allow_blank=True)


class SectionAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    key = serializers.CharField()
    kit = serializers.CharField()
    seal = serializers.CharField(allow_blank=True)


class WhereAnswer(serializers.Serializer[Any]):
    place = serializers.IntegerField()
    name = serializers.CharField()
    inside = serializers.CharField(allow_blank=True, help_text="The kit or room it is in.")
    units = serializers.IntegerField()


class LotAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    item = serializers.IntegerField()
    item_name = serializers.CharField()
    base_unit = serializers.CharField()
    number = serializers.CharField(allow_blank=True)
    serial = serializers.CharField(allow_blank=True)
    expiry = serializers.DateField(allow_null=True)
    recalled = serializers.BooleanField()
    fault = serializers.CharField(allow_blank=True, help_text="Why it is not good; empty if it is.")
    where = WhereAnswer(many=True)


class ShelfAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    room = serializers.CharField()


class TagAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    kits = serializers.ListField(child=serializers.CharField())


class PasserByAnswer(serializers.Serializer[Any]):
    code = serializers.CharField()
    kind = serializers.CharField()
    what = serializers.CharField()
    whose = serializers.CharField(allow_blank=True)
    how_to_return = serializers.CharField(allow_blank=True)
    phone = serializers.CharField(allow_blank=True)
    yours = serializers.BooleanField()
    cancelled = serializers.BooleanField()
    replaced_by = serializers.CharField(allow_blank=True)


class PackAnswer(serializers.Serializer[Any]):
    gtin = serializers.CharField(allow_blank=True)
    number = serializers.CharField(allow_blank=True)
    serial = serializers.CharField(allow_blank=True)
    expiry = serializers.DateField(allow_null=True)
    count = serializers.IntegerField(allow_null=True, help_text="Units that the code itself says.")
    units_per_pack = serializers.IntegerField(allow_null=True)
    units = serializers.IntegerField(allow_null=True, help_text="What one such pack adds.")
    item = serializers.IntegerField(allow_null=True, help_text="Null: this thing is new here.")
    item_name = serializers.CharField(allow_blank=True)
    base_unit = serializers.CharField(allow_blank=True)
    lot = serializers.IntegerField(allow_null=True, help_text="The batch, if it is known already.")
    recalled = serializers.BooleanField()


class NextAnswer(serializers.Serializer[Any]):
    do = serializers.CharField()
    says = serializers.CharField()
    about = serializers.CharField(
        allow_blank=True, help_text="The kit’s name or the id that it is done to, if any."
    )
    method = serializers.ChoiceField(["GET", "POST"])
    url = serializers.CharField()
    fields = serializers.DictField(help_text="What to send, as far as it is known.")
    needs = serializers.ListField(
        child=serializers.CharField(), help_text="Fields that are still wanted."
    )
    people = answers.PersonAnswer(many=True, help_text="Whom “cleared_by” may name.")


class OutcomeAnswer(serializers.Serializer[Any]):
    read = ReadAnswer()
    means = serializers.ChoiceField([str(means) for means in Means])
    outcome = serializers.CharField(
        help_text="identified, taken-out, handed-back, checked, added, holder, ready; or the"
        " problem's code."
    )
    says = serializers.CharField()
    label = serializers.CharField(allow_null=True)
    kit = KitAnswer(allow_null=True)
    section = SectionAnswer(allow_null=True)
    lot = LotAnswer(allow_null=True)
    shelf = ShelfAnswer(allow_null=True)
    person = TagAnswer(allow_null=True)
    passer_by = PasserByAnswer(allow_null=True)
    packs = PackAnswer(many=True, help_text="Readings of a maker's code, best first.")
    entry = answers.EntryAnswer(allow_null=True)
    problem = ProblemDocument(allow_null=True)
    next = NextAnswer(many=True, help_text="What can be done now.")


class ScanAnswer(serializers.Serializer[Any]):
    scan_id = serializers.UUIDField()
    intent = serializers.ChoiceField([str(intent) for intent in Intent])
    rung = serializers.CharField(allow_blank=True, help_text="Where the reader stopped.")
    outcomes = OutcomeAnswer(many=True, help_text="One for each thing read, in reading order.")


_SHOWN_AS = {
    outcomes.KitSeen: "kit",
    outcomes.SectionSeen: "section",
    outcomes.LotSeen: "lot",
    outcomes.ShelfSeen: "shelf",
    outcomes.PersonSeen: "person",
    passerby.Facts: "passer_by",
}


def shown(answer: outcomes.ScanAnswer) -> dict[str, Any]:
    """A reading event as the API answers it."""
    return {
        "scan_id": str(answer.scan_id),
        "intent": str(answer.intent),
        "rung": answer.look.rung,
        "outcomes": [_outcome(each) for each in answer.outcomes],
    }


def _outcome(of: outcomes.Outcome) -> dict[str, Any]:
    things: dict[str, Any] = dict.fromkeys(_SHOWN_AS.values())
    if of.thing is not None:
        things[_SHOWN_AS[type(of.thing)]] = dataclasses.asdict(of.thing)
    return {
        "read": {
            "text": of.seen.printable,
            "symbology": of.seen.symbology,
            "corners": [list(corner) for corner in of.seen.corners],
            "rung": of.seen.rung,
        },
        "means": str(of.means),
        "outcome": of.outcome,
        "says": of.says,
        "label": label_codes.shown(of.label.code) if of.label else None,
        **things,
        "packs": [dataclasses.asdict(pack) for pack in of.packs],
        "entry": answers.entry(of.entry) if of.entry else None,
        "problem": document(of.problem) if of.problem else None,
        "next": [next_step(step) for step in of.next],
    }


def next_step(step: outcomes.Next) -> dict[str, Any]:
    """Something that can be done now, with the call that does it."""
    method, path = _SCAN if "intent" in step.fields else _WHERE[step.do]
    return {
        "do": step.do,
        "says": step.says,
        "about": step.about,
        "method": method,
        "url": _API + path.format(quote(step.about, safe="")),
        "fields": dict(step.fields),
        "needs": list(step.needs),
        "people": [dict(each) for each in step.people],
    }
