"""Parts of answers that several views share: each serializes a row or a result as it is."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any

from rest_framework import serializers

from gearroom.core.api.derived_serializer import DerivedSerializer
from gearroom.core.models import Person
from kits.models import AsFound, Checkout, Entry, Kit, Trip
from kits.rules.ledger.facts import Reason, Verdict
from kits.rules.lookup import label_codes
from kits.services.custody import use
from kits.services.custody.offers import OfferKind
from kits.services.text import reason_texts, verdict_texts


class Moment(serializers.DateTimeField):
    """A time with the offset that it is kept with."""

    def to_representation(self, value: datetime) -> str:
        """In ISO form; UTC as +00:00."""
        return value.isoformat()


class Answer(DerivedSerializer):
    kinds = {datetime: Moment}


def made(
    kind: type[serializers.Field[Any, Any, Any, Any]],
    of: Callable[[Any], Any],
    source: str | None = "*",
    **more: Any,
) -> Any:
    """A field of this kind that shows what a function makes of the row, or of another `source`
    (None: the attribute of the field's own name)."""

    class Made(kind):  # type: ignore[valid-type, misc]  # the kind is chosen by the caller
        def to_representation(self, value: Any) -> Any:
            result = of(value)
            return None if result is None else super().to_representation(result)

    return Made(source=source, **more)


class LabelCode(serializers.CharField):
    """The code of a label."""

    def to_representation(self, code: str) -> str:
        """As printed: XXXX-XXXX."""
        return label_codes.shown(code)


# Something of certain rooms: phones are shown only to whoever may see people in one.
class WithPhones(Answer):
    def rooms(self, row: Any) -> Iterable[int | None]:
        """The rooms that it is of."""
        raise NotImplementedError

    def shows_phones(self, row: Any) -> bool:
        """Whether whoever asks sees the phones in it."""
        actor = self.context["actor"]
        return any(actor.may("see_people", room) for room in self.rooms(row))

    def to_representation(self, row: Any) -> Any:
        """The row, without phones where they may not be seen."""
        visible = super().to_representation(row)
        return visible if self.shows_phones(row) else without_phones(visible)


_PHONES = ("phone", "leader_phone", "leader_email")


def without_phones(shown: Any) -> Any:
    """The same with every phone, and the address of a trip's leader, empty."""
    if isinstance(shown, dict):
        return {
            name: "" if name in _PHONES else without_phones(value) for name, value in shown.items()
        }
    return [without_phones(value) for value in shown] if isinstance(shown, list) else shown


def rooms_of(kit: Kit) -> tuple[int, int]:
    """The rooms that a kit is of: its home, and where it is."""
    return kit.home_room_id, kit.room_id


@Answer.of(Reason)
class ReasonAnswer(Answer):
    members = ["code", "weight", "text", "facts"]
    code = serializers.CharField(help_text="A stable code for the reason.")
    weight = serializers.ChoiceField(["note", "low", "short", "stops"])
    text = serializers.CharField(help_text="A sentence with the reason and its solution.")
    facts = serializers.DictField()

    def to_representation(self, why: Reason | Mapping[str, Any]) -> Any:
        """A reason as its sentence, where it is not one yet."""
        return super().to_representation(
            reason_texts.reason(why) if isinstance(why, Reason) else why
        )


@Answer.of(Verdict)
class VerdictAnswer(Answer):
    members = ["verdict", "verdict_text", "through", "fit", "may_go", "reasons"]
    sources = {"verdict": "word"}
    help_texts = {
        "through": "The day that the status is for.",
        "fit": "Ready, or at most low.",
        "may_go": "Ready, low, or short but may be taken out with a reason.",
    }
    verdict_text = made(
        serializers.CharField, verdict_texts.verdict, help_text="The status as shown on pages."
    )


class DaysAnswer(Answer):
    members = ["first_expiry", "fit_until", "may_go_until"]
    first_expiry = serializers.DateField(
        source="kit.first_expiry",
        allow_null=True,
        help_text="The earliest expiry date inside; null if nothing inside has one.",
    )
    fit_until = serializers.DateField(source="days.fit_until", allow_null=True)
    may_go_until = serializers.DateField(source="days.may_go_until", allow_null=True)


@Answer.of(Person)
class PersonAnswer(Answer):
    members = ["id", "name", "phone"]


class OfferAnswer(serializers.Serializer[Any]):
    """Something that can be done about a kit that may not simply be taken out."""

    do = serializers.ChoiceField(
        [each.value for each in OfferKind],
        help_text="look-inside: POST kits/{kit}/look-inside/; add: POST kits/{kit}/restock/;"
        " the others: POST kits/{kit}/check-out/.",
    )
    says = serializers.CharField()
    kit = serializers.CharField(help_text="The kit that this applies to.")
    fields = serializers.DictField(  # type: ignore[assignment]  # so the API names it
        help_text="What to send, as far as known."
    )
    needs = serializers.ListField(
        child=serializers.CharField(), help_text="Fields that still need to be sent."
    )
    people = PersonAnswer(many=True, help_text="People who may be named in “cleared_by”.")


@Answer.of(Trip)
class TripAnswer(Answer):
    members = ["id", "source", "reference", "name", "first_day", "last_day"]


@Answer.of(Checkout)
class CheckoutAnswer(WithPhones):
    members = [
        "id", "kit", "section", "person", "trip", "out_at", "due_at", "in_at", "as_found",
        "emergency",
    ]  # fmt: skip
    sources = {"kit": "kit.name", "section": "section.section_key"}
    help_texts = {"due_at": "Null if no return time was set."}
    as_found = serializers.ChoiceField([*AsFound.values, ""])

    def rooms(self, row: Any) -> Iterable[int | None]:
        """The kit's."""
        return rooms_of(row.kit)


@Answer.of(Entry)
class EntryAnswer(Answer):
    members = ["id", "kind", "occurred_at", "recorded_at", "irregular"]
    irregular = serializers.ListField(child=serializers.CharField())


class WithEntry(Answer):
    members = ["entry"]
    entry = EntryAnswer()


class EntryRow(EntryAnswer):
    members = ["person", "reason", "detail", "reverses"]
    sources = {"reverses": "reverses_id"}
    kinds = {datetime: serializers.DateTimeField}  # ends in Z in lists
    person = serializers.CharField(source="person.name", default=None, allow_null=True)
    detail = serializers.DictField()


class OfItem(Answer):
    members = ["item", "name"]
    sources = {"item": "item.pk", "name": "item.name"}


class LotUnits(Answer):
    members = ["item", "name", "lot", "number"]
    sources = {
        "item": "lot.item_id", "name": "lot.item.name", "lot": "lot.pk", "number": "lot.number",
    }  # fmt: skip


@Answer.of(use.UsedLine)
class UsedLineAnswer(LotUnits):
    members = ["section", "units", "lot_assumed", "found", "went"]
    sources = {"section": "section.section_key", "lot_assumed": "assumed"}
    help_texts = {"found": "How many of them were not on record."}


@Answer.of(use.UseResult)
class UsedAnswer(WithEntry):
    lines = UsedLineAnswer(many=True)


class DoneAnswer(serializers.Serializer[Any]):
    """An action that has been recorded."""

    entry = EntryAnswer(source="*")
