"""What the views of kits answer: the shapes for the schema, and how a result becomes one."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from rest_framework import serializers

from gearroom.core.acts.act import Actor
from gearroom.core.models import Person
from kits.models import AsFound, Checkout, Entry, Kit, Trip
from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Verdict, Word
from kits.services.custody.offers import OfferKind
from kits.services.custody.use import UseResult
from kits.services.text import reason_texts, verdict_texts


class ReasonAnswer(serializers.Serializer[Any]):
    code = serializers.CharField(help_text="Stable; what the reason is about.")
    weight = serializers.ChoiceField(["note", "low", "short", "stops"])
    text = serializers.CharField(help_text="A sentence, with what settles it.")
    facts = serializers.DictField()


class VerdictAnswer(serializers.Serializer[Any]):
    verdict = serializers.ChoiceField([word.value for word in Word])
    verdict_text = serializers.CharField(help_text="The verdict as pages show it.")
    through = serializers.DateField(help_text="The day that was judged.")
    fit = serializers.BooleanField(help_text="Ready, or at most low.")
    may_go = serializers.BooleanField(help_text="Ready, low, or short and may go with a reason.")
    reasons = ReasonAnswer(many=True)


class PersonAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    phone = serializers.CharField()


class OfferAnswer(serializers.Serializer[Any]):
    """A way on with a kit that may not go without a word."""

    do = serializers.ChoiceField(
        [each.value for each in OfferKind],
        help_text="look-inside: POST kits/{kit}/look-inside/; add: POST kits/{kit}/restock/;"
        " the others: POST kits/{kit}/check-out/.",
    )
    says = serializers.CharField()
    kit = serializers.CharField(help_text="The kit that it is done to.")
    fields = serializers.DictField(help_text="What to send, as far as it is known.")
    needs = serializers.ListField(
        child=serializers.CharField(), help_text="Fields that are still wanted."
    )
    people = PersonAnswer(many=True, help_text="Whom “cleared_by” may name.")


class TripAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    source = serializers.CharField()
    reference = serializers.CharField()
    name = serializers.CharField()
    first_day = serializers.DateField()
    last_day = serializers.DateField()


class CheckoutAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    kit = serializers.CharField()
    section = serializers.CharField(allow_null=True)
    person = PersonAnswer(allow_null=True)
    trip = TripAnswer(allow_null=True)
    out_at = serializers.DateTimeField()
    due_at = serializers.DateTimeField(allow_null=True, help_text="Null: nobody set a time.")
    in_at = serializers.DateTimeField(allow_null=True)
    as_found = serializers.ChoiceField([*AsFound.values, ""])
    emergency = serializers.BooleanField()


class EntryAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    kind = serializers.CharField()
    occurred_at = serializers.DateTimeField()
    recorded_at = serializers.DateTimeField()
    irregular = serializers.ListField(child=serializers.CharField())


class PassedAnswer(CheckoutAnswer):
    """All but the kit is null where it changed hands again since."""

    id = serializers.IntegerField(allow_null=True)
    out_at = serializers.DateTimeField(allow_null=True)
    as_found = serializers.ChoiceField([*AsFound.values, ""], allow_null=True)
    emergency = serializers.BooleanField(allow_null=True)
    entry = EntryAnswer()


class TakenAnswer(serializers.Serializer[Any]):
    checkout = CheckoutAnswer(
        allow_null=True,
        help_text="Null: it changed hands again since, so this is history; or the kit is of no room"
        " of yours.",
    )
    entry = EntryAnswer()
    verdict = VerdictAnswer(allow_null=True, help_text="Null: the kit is of no room of yours.")


class UsedLineAnswer(serializers.Serializer[Any]):
    item = serializers.IntegerField()
    name = serializers.CharField()
    lot = serializers.IntegerField()
    number = serializers.CharField()
    section = serializers.CharField()
    units = serializers.IntegerField()
    lot_assumed = serializers.BooleanField()
    found = serializers.IntegerField(help_text="How many of them the book did not hold.")
    went = serializers.ChoiceField([went.value for went in Went])


class UsedAnswer(serializers.Serializer[Any]):
    entry = EntryAnswer()
    lines = UsedLineAnswer(many=True)


class HandedBackAnswer(serializers.Serializer[Any]):
    kit = serializers.CharField()
    entry = EntryAnswer()
    checkout = CheckoutAnswer(allow_null=True)
    as_found = serializers.ChoiceField(AsFound.choices)
    used = UsedAnswer(allow_null=True)
    not_ours = serializers.BooleanField(
        help_text="Something of a participant’s own is still in it: give it back to its owner."
    )


class DoneAnswer(serializers.Serializer[Any]):
    """An act of which there is nothing to say but that it is in the book."""

    entry = EntryAnswer()


def verdict(of: Verdict, swaps: dict[int, str] | None = None) -> dict[str, Any]:
    """A verdict with its reasons as sentences."""
    return {
        "verdict": str(of.word),
        "verdict_text": verdict_texts.verdict(of),
        "through": of.through.isoformat(),
        "fit": of.fit,
        "may_go": of.may_go,
        "reasons": reason_texts.reasons(of.reasons, swaps),
    }


def iso(day: date | None) -> str | None:
    """A day as JSON has it."""
    return day.isoformat() if day else None


def person(of: Person | None) -> dict[str, Any] | None:
    """A person by name and phone."""
    return {"id": of.pk, "name": of.name, "phone": of.phone} if of else None


_PHONES = ("phone", "leader_phone")


def for_eyes_of(actor: Actor | None, rooms: Iterable[int | None], shown: Any) -> Any:
    """What is shown of something in these rooms: phones only to who may see people in one."""
    if actor is not None and any(actor.may("see_people", room) for room in rooms):
        return shown
    if isinstance(shown, dict):
        return {
            name: "" if name in _PHONES else for_eyes_of(None, (), value)
            for name, value in shown.items()
        }
    return [for_eyes_of(None, (), value) for value in shown] if isinstance(shown, list) else shown


def rooms_of(kit: Kit) -> tuple[int, int]:
    """The rooms that a kit is of: its home, and where it is."""
    return kit.home_room_id, kit.room_id


def trip(of: Trip | None) -> dict[str, Any] | None:
    """A trip in short."""
    if of is None:
        return None
    return {
        "id": of.pk,
        "source": of.source,
        "reference": of.reference,
        "name": of.name,
        "first_day": of.first_day.isoformat(),
        "last_day": of.last_day.isoformat(),
    }


def checkout(of: Checkout | None) -> dict[str, Any] | None:
    """A kit's time with a person."""
    if of is None:
        return None
    return {
        "id": of.pk,
        "kit": of.kit.name,
        "section": of.section.section_key if of.section else None,
        "person": person(of.person),
        "trip": trip(of.trip),
        "out_at": of.out_at.isoformat(),
        "due_at": of.due_at.isoformat() if of.due_at else None,
        "in_at": of.in_at.isoformat() if of.in_at else None,
        "as_found": of.as_found,
        "emergency": of.emergency,
    }


def entry(of: Entry) -> dict[str, Any]:
    """An entry in short."""
    return {
        "id": of.pk,
        "kind": of.kind,
        "occurred_at": of.occurred_at.isoformat(),
        "recorded_at": of.recorded_at.isoformat(),
        "irregular": of.irregular,
    }


def used(of: UseResult | None) -> dict[str, Any] | None:
    """What was written as used."""
    if of is None:
        return None
    return {
        "entry": entry(of.entry),
        "lines": [
            {
                "item": line.item.pk,
                "name": line.item.name,
                "lot": line.lot.pk,
                "number": line.lot.number,
                "section": line.section.section_key,
                "units": line.units,
                "lot_assumed": line.assumed,
                "found": line.found,
                "went": str(line.went),
            }
            for line in of.lines
        ],
    }


def done(of: Entry) -> dict[str, Any]:
    """An act that is in the book."""
    return {"entry": entry(of)}
