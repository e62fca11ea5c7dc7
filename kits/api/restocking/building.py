"""A kit's first filling, emptying it, and the checks of its instruments."""

from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from gearroom.core.acts import Act, Invalid
from gearroom.core.api.requests.serializers import ActBody, StrictSerializer
from kits.api import answers, bodies
from kits.api.fields import currency_field, price_field
from kits.api.problems import PUT_IN
from kits.api.stock.lots import (
    CheckBody,
    CheckedAnswer,
    LotBody,
    checked as check_and_show,
    expiry_in,
    with_batches,
)
from kits.api.views import KitView
from kits.models import Disposal, Holding, Kit, Lot
from kits.rules.buying.bought_kit import Fate
from kits.rules.ledger.facts import Kind
from kits.services.ledger import readiness
from kits.services.lookup import find
from kits.services.restocking import building, emptying
from kits.services.restocking.building import BoughtItem
from kits.services.restocking.emptying import Destination, EmptyLine
from kits.services.restocking.sorting import Placed, PutIn


@answers.Answer.of(building.Shortage)
class WantedAnswer(answers.OfItem):
    members = ["units", "below_minimum", "on_shelves", "cost"]
    help_texts = {
        "on_shelves": "How many of the units are on the shelves of the kit's gear room and"
        " usable today.",
        "cost": "At the last price paid.",
    }


@answers.Answer.of(Placed)
class PlacedAnswer(answers.Answer):
    pass


class BuiltAnswer(answers.WithEntry):
    put_in = PlacedAnswer(many=True)
    wanted = WantedAnswer(many=True, help_text="What the kit still needs according to its list.")


# ---------------------------------------------------------------------------------------- building
class BuildLineBody(bodies.PutInBody):
    """A batch to move from a shelf into a section."""


class BuildBody(ActBody):
    example = {
        "lines": [{"lot": "12", "shelf": "3", "section": "main", "units": 6}],
        "levels": [{"section": "main", "item": 9, "level": "full"}],
    }  # fmt: skip
    lines = bodies.lines(
        BuildLineBody,
        required=False,
        help_text="What goes in; default: everything on the restock list.",
    )
    levels = bodies.lines(
        bodies.LevelBody,
        required=False,
        help_text="Levels of loose items; default: all topped up.",
    )
    through = serializers.DateField(required=False)


class Build(KitView):
    use_case = "build"
    problems = ("keep-as-it-came-back", "kit-is-out", "not-enough", "wrong-label", *PUT_IN)
    body = BuildBody
    answers = {201: BuiltAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Fill a kit from the shelves."""
        kit = self.kit()
        lines = None
        if "lines" in data:
            lines = [
                PutIn(
                    find.lot(row["lot"]),
                    find.place(act.actor, row["shelf"]),
                    find.section(kit, row.get("section", "")),
                    row["units"],
                )
                for row in data["lines"]
            ]
        levels = bodies.loose_levels(kit, data["levels"]) if "levels" in data else None
        done = building.build(act, kit, lines=lines, levels=levels, through=data.get("through"))
        with_batches(put.lot for put in done.put_in)
        placed = [Placed(put.lot, put.section, put.units) for put in done.put_in]
        return 201, {"entry": done.entry, "put_in": placed, "wanted": done.wanted}


# --------------------------------------------------------------------------------------- stripping
class _TargetBody(StrictSerializer):
    units = serializers.IntegerField(**bodies.UNITS)
    why = serializers.CharField(required=False, max_length=300, allow_blank=True)
    shelf = serializers.CharField(required=False, max_length=40, help_text="Where it was put.")
    disposal = serializers.ChoiceField(Disposal.choices, required=False)


class ThingBody(LotBody, _TargetBody):
    item = serializers.IntegerField(min_value=1)
    fate = serializers.ChoiceField(list(Fate))
    section = serializers.CharField(required=False, max_length=80, help_text="Where it is kept.")
    price = price_field(required=False, help_text="For these alone.")


class StripBody(bodies.LevelsBody):
    example = {
        "things": [
            {"item": 4, "units": 6, "number": "D1", "expiry": "2035-05-31", "fate": "shelf",
             "shelf": "3"},
            {"item": 5, "units": 1, "fate": "dispose", "why": "Blunt", "disposal": "bin"},
        ],
        "supplier": "Invented Supplies", "price": "24.50", "currency": "GBP",
    }  # fmt: skip
    things = bodies.lines(ThingBody, allow_empty=False)
    supplier = serializers.CharField(required=False, max_length=120, allow_blank=True)
    price = price_field(required=False, allow_null=True, help_text="For the bought kit as a whole.")
    currency = currency_field()


@answers.Answer.of(building.StripResult)
class StrippedAnswer(answers.WithEntry):
    members = ["went", "wanted", "bought_for", "cost_with_rest", "currency", "unpriced"]
    help_texts = {
        "wanted": "What remains to be added.",
        "cost_with_rest": "Including the remaining items, at the last prices paid.",
    }
    unpriced = serializers.ListField(
        child=serializers.CharField(), help_text="Remaining items without a known price."
    )


class Strip(KitView):
    use_case = "strip"
    problems = (
        "instrument-held", "keep-as-it-came-back", "kit-is-out", "not-for-class",
        "serial-known-otherwise", "wrong-bin", "wrong-label", *PUT_IN,
    )  # fmt: skip
    body = StripBody
    answers = {201: StrippedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Break down a bought kit, item by item: keep, shelf, training or dispose of."""
        kit = self.kit()
        done = building.strip(
            act,
            kit,
            [_thing(act, kit, row) for row in data["things"]],
            supplier=data.get("supplier", ""),
            price=data.get("price"),
            currency=data.get("currency", ""),
            levels=bodies.loose_levels(kit, data.get("levels", [])),
        )
        with_batches(row.lot for row in done.went)
        return 201, {**vars(done), "unpriced": [item.name for item in done.unpriced]}


def _thing(act: Act, kit: Kit, row: dict[str, Any]) -> BoughtItem:
    expiry = expiry_in(row, readiness.today_of(kit))
    return BoughtItem(
        item=find.item(row["item"]),
        units=row["units"],
        fate=Fate(row["fate"]),
        reason=row.get("why", ""),
        number=row.get("number", ""),
        expiry=expiry,
        serial=row.get("serial", ""),
        section=find.section(kit, row["section"]) if "section" in row else None,
        shelf=find.shelf(act.actor, row["shelf"]) if "shelf" in row else None,
        disposal=Disposal(row["disposal"]) if "disposal" in row else None,
        price=row.get("price"),
    )


# ---------------------------------------------------------------------------------------- checking
class CheckInKitBody(CheckBody):
    example = {"passed": True, "answer": "In the green", "checked_on": "2026-05-31"}
    lot = serializers.CharField(
        required=False,
        max_length=40,
        help_text="The instrument, by id or label; not needed if the kit has only one.",
    )


class CheckInKit(KitView):
    use_case = "check_instrument"
    problems = ("not-an-instrument", "wrong-label")
    body = CheckInKitBody
    answers = {201: CheckedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record a check of an instrument in a kit: is the gauge in the green?"""
        return check_and_show(act, _instrument(self.kit(), data.pop("lot", None)), data)


def _instrument(kit: Kit, ref: str | None) -> Lot:
    held = {
        row.lot_id: row.lot
        for row in Holding.objects.on_hand()
        .filter(place__kit=kit, lot__item__kind=Kind.INSTRUMENT)
        .select_related("lot__item")
    }
    if ref is not None:
        named = find.lot(ref)
        if named.pk in held:
            return named
    elif len(held) == 1:
        return next(iter(held.values()))
    names = ", ".join(f"{lot.item.name} {lot.serial}" for lot in held.values())
    raise Invalid(
        _("Specify which instrument in %(kit)s: %(names)s.") % {"kit": kit.name, "names": names}
        if held
        else _("%(kit)s has no instrument on record.") % {"kit": kit.name},
        field="lot",
    )


# ---------------------------------------------------------------------------------------- emptying
class OutBody(_TargetBody):
    lot = serializers.CharField(max_length=40, help_text="By id or by label code.")
    section = serializers.CharField(required=False, max_length=80, help_text="Where it is.")
    way = serializers.ChoiceField(list(Destination))


class EmptyBody(ActBody):
    example = {
        "lines": [{"lot": "12", "section": "main", "units": 2, "way": "shelf", "shelf": "3"}],
    }  # fmt: skip
    lines = bodies.lines(OutBody, required=False)
    levels = bodies.lines(bodies.LevelBody, required=False, help_text="The levels of loose items.")


@answers.Answer.of(emptying.EmptyResult)
class EmptiedAnswer(answers.WithEntry):
    members = ["went", "left"]
    help_texts = {
        "went": "Goes to quarantine instead of a shelf where necessary.",
        "left": "Units still inside; at 0 the kit may be retired.",
    }


class Empty(KitView):
    use_case = "strip"
    problems = (
        "keep-as-it-came-back", "kit-is-out", "not-for-class", "training-never-back", "wrong-bin",
        "wrong-label",
    )  # fmt: skip
    body = EmptyBody
    answers = {201: EmptiedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Remove items from a kit: to a shelf, to training, sold, given away or disposed of."""
        kit = self.kit()
        lines = [
            EmptyLine(
                section=find.section(kit, row.get("section", "")),
                lot=find.lot(row["lot"]),
                units=row["units"],
                way=Destination(row["way"]),
                reason=row.get("why", ""),
                shelf=find.shelf(act.actor, row["shelf"]) if "shelf" in row else None,
                disposal=Disposal(row["disposal"]) if "disposal" in row else None,
            )
            for row in data.get("lines", [])
        ]
        done = emptying.empty(
            act, kit, lines, levels=bodies.loose_levels(kit, data.get("levels", []))
        )
        with_batches(row.lot for row in done.went)
        return 201, done
