"""Sorting: check contents, restock, take out what is out of date, borrow, reseal, count."""

from typing import Any, cast

from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import (
    ActBody,
    AnyField,
    NoteField,
    QuerySerializer,
    StrictSerializer,
)
from gearroom.core.api.views import ReadView
from kits.api import answers, bodies
from kits.api.problems import NAMED_KIT, PUT_IN
from kits.api.views import KitView
from kits.models import Kit, Place
from kits.rules.ledger.expiry import good_through
from kits.rules.restocking import picking
from kits.services.ledger import readiness, verdicts
from kits.services.lookup import find
from kits.services.restocking import adding, borrowing, sealing, sorting
from kits.services.restocking.borrowing import BorrowLine
from kits.services.restocking.sealing import MOST_MASS_G, Closed
from kits.services.restocking.sorting import PutIn, RestockDifference, RestockResult


# ------------------------------------------------------------------------------ looking inside
class LookInsideBody(bodies.LevelsBody):
    example = {"levels": [{"section": "main", "item": 9, "level": "full"}]}
    note = NoteField(required=False, max_length=300)


class LookInside(KitView):
    use_case = "look_inside"
    can_be_handed_over = True
    body = LookInsideBody
    answers = {200: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that a kit's contents were checked and match the record."""
        kit = self.kit()
        return 200, sorting.look_inside(
            act,
            kit,
            levels=bodies.loose_levels(kit, data.get("levels", [])),
            note=data.get("note", ""),
        )


# ----------------------------------------------------------------------------------- restocking
class RestockQuery(QuerySerializer):
    through = serializers.DateField(
        required=False,
        help_text="Items put in must last until this day; default: until the end of the kit's"
        " next trip.",
    )


def _plan(field: AnyField) -> sorting.Restock:
    """The restock list that a field is shown in."""
    return cast(sorting.Restock, field.root.instance)


class ShelfName(serializers.CharField):
    """The name of the shelf that a row of a restock list takes from."""

    def to_representation(self, shelf: str) -> str:
        """By the shelf's id."""
        return _plan(self).shelves[int(shelf)].name


class Destination(serializers.CharField):
    """The name of the place that a row of a restock list goes to."""

    def to_representation(self, row: picking.TakeOut) -> str:  # type: ignore[override]  # of a row
        """By the list."""
        return sorting.destination(_plan(self), row).name


class _ItemRow(answers.Answer):
    members = ["item", "name"]
    sources = {"item": "thing.id", "name": "thing.name"}


@answers.Answer.of(picking.PutIn)
class PutInAnswer(_ItemRow):
    members = [
        "units", "lot", "number", "good_until", "shelf", "shelf_name", "section", "instead_of",
    ]  # fmt: skip
    sources = {
        "units": "count", "lot": "batch.id", "number": "batch.number",
        "instead_of": "instead_of.name",
    }  # fmt: skip
    good_until = answers.made(serializers.DateField, good_through, source="batch", allow_null=True)
    shelf = serializers.IntegerField()
    shelf_name = ShelfName(source="shelf")


@answers.Answer.of(picking.TakeOut)
class TakeOutAnswer(answers.Answer):
    members = ["item", "name", "units", "lot", "number", "section", "why", "to"]
    sources = {
        "item": "batch.thing.id", "name": "batch.thing.name", "units": "count", "lot": "batch.id",
        "number": "batch.number",
    }  # fmt: skip
    why = serializers.CharField()
    to = Destination(source="*")


@answers.Answer.of(picking.FillUp)
class FillUpAnswer(_ItemRow):
    members = ["section", "level", "shelf_name"]
    level = serializers.CharField(allow_null=True)
    shelf_name = ShelfName(source="shelf", allow_null=True)


@answers.Answer.of(picking.Missing)
class MissingAnswer(_ItemRow):
    members = ["units", "below_minimum"]
    sources = {"units": "count"}


@answers.Answer.of(sorting.Restock)
class RestockAnswer(answers.Answer):
    """A restock list, in the order in which to work through it."""

    members = [
        "kit", "through", "take_out", "put_in", "fill_up", "missing", "not_now", "next_seal",
    ]  # fmt: skip
    sources = {
        "kit": "kit.name", "take_out": "list.take_out", "put_in": "list.put_in",
        "fill_up": "list.fill_up", "missing": "list.missing",
        "not_now": "list.not_now",
    }  # fmt: skip

    next_seal = answers.made(
        serializers.CharField, sealing.next_seal_number, source="kit.room", allow_blank=True
    )


class DifferingBody(StrictSerializer):
    item = serializers.IntegerField(min_value=1)
    section = serializers.CharField(max_length=80)
    instead = bodies.lines(
        bodies.PutInBody,
        required=False,
        help_text="What was put in; empty if nothing was.",
    )


class RestockBody(ActBody):
    example = {
        "as_listed": False,
        "extra": [{"lot": "12", "shelf": "3", "section": "main", "units": 2}],
        "levels": [{"section": "main", "item": 9, "level": "full"}],
    }  # fmt: skip
    line = serializers.IntegerField(
        required=False,
        min_value=1,
        help_text="Only what this item on the kit list lacks. This is not a check of the kit,"
        " and the kit still needs sorting if it did before.",
    )
    as_listed = serializers.BooleanField(default=True)
    exceptions = bodies.lines(DifferingBody, required=False)
    extra = bodies.lines(bodies.PutInBody, required=False)
    levels = bodies.lines(
        bodies.LevelBody,
        required=False,
        help_text="Default: all loose items were topped up.",
    )
    through = serializers.DateField(required=False)
    to_training = serializers.BooleanField(
        default=False,
        help_text="What comes out because it is out of date goes into the training box, as far as"
        " a class can use it.",
    )


class RestockedAnswer(answers.WithEntry):
    units_put_in = serializers.IntegerField()
    units_taken_out = serializers.IntegerField()
    verdict = answers.VerdictAnswer()


class RestockView(ReadView, KitView):
    use_case = "restock"
    problems = ("keep-as-it-came-back", "not-enough", "nothing-to-add", "wrong-label", *PUT_IN)
    read_problems = NAMED_KIT
    query = RestockQuery
    shows = RestockAnswer
    body = RestockBody
    answers = {201: RestockedAnswer}

    def read(self, query: dict[str, Any]) -> Any:
        """What to remove, what to put in from which shelf, and what is not in stock."""
        return sorting.restock_list(self.kit(), through=query.get("through"))

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Restock a kit: as listed, with exceptions, or only what one item lacks."""
        kit = self.kit()
        if "line" in data:
            done = adding.add(act, kit, data["line"], through=data.get("through"))
        else:
            done = self._restocked(act, kit, data)
        return 201, {
            "entry": done.entry,
            "units_put_in": sum(put.units for put in done.put_in),
            "units_taken_out": sum(leg.units for leg in done.taken_out),
            "verdict": verdicts.verdict(kit, data.get("through") or sorting.through_day(kit)),
        }

    def _restocked(self, act: Act, kit: Kit, data: dict[str, Any]) -> RestockResult:
        levels = data.get("levels")
        return sorting.restock(
            act,
            kit,
            as_listed=data["as_listed"],
            exceptions=[
                RestockDifference(
                    find.item(row["item"]),
                    section := find.section(kit, row["section"]),
                    [put_in(act, kit, p, section) for p in row.get("instead", [])],
                )
                for row in data.get("exceptions", [])
            ],
            extra=[put_in(act, kit, row, None) for row in data.get("extra", [])],
            levels=None if levels is None else bodies.loose_levels(kit, levels),
            through=data.get("through"),
            to_training=data["to_training"],
        )


def put_in(act: Act, kit: Kit, row: dict[str, Any], section: Place | None) -> PutIn:
    """A batch from a shelf into a section, as the service takes it."""
    if "section" in row or section is None:
        section = find.section(kit, row.get("section", ""))
    return PutIn(find.lot(row["lot"]), find.shelf(act.actor, row["shelf"]), section, row["units"])


# ------------------------------------------------------------------------------------- the rest
class TakeExpiredOut(KitView):
    use_case = "take_expired_out"
    problems = ("keep-as-it-came-back", "nothing-to-take-out")
    answers = {200: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Remove everything that may not stay in a kit."""
        return 200, sorting.take_expired_out(act, self.kit())


class BorrowLineBody(StrictSerializer):
    lot = serializers.CharField(max_length=40)
    units = serializers.IntegerField(**bodies.UNITS)
    from_section = serializers.CharField(required=False, max_length=80)
    section = serializers.CharField(required=False, max_length=80)


class BorrowBody(ActBody):
    example = {"giver": "DAY-02", "lines": [{"lot": "12", "units": 1}]}
    giver = serializers.CharField(
        max_length=40, help_text="The kit to borrow from, by name or code."
    )
    lines = bodies.lines(BorrowLineBody, allow_empty=False)
    already_done = serializers.BooleanField(
        default=False,
        help_text="A report of something that has already happened: it is always recorded.",
    )


class Borrow(KitView):
    use_case = "borrow"
    problems = ("keep-as-it-came-back", "not-enough", "wrong-label", *PUT_IN)
    can_be_handed_over = True
    body = BorrowBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Move items from another kit into this one."""
        taker = self.kit()
        giver = find.kit(act.actor, data["giver"])
        lines = [
            BorrowLine(
                find.lot(row["lot"]),
                find.section(giver, row.get("from_section", "")),
                find.section(taker, row.get("section", "")),
                row["units"],
            )
            for row in data["lines"]
        ]
        return 201, borrowing.borrow(act, giver, taker, lines, already_done=data["already_done"])


class ResealBody(ActBody):
    example = {"seal": "004711"}
    seal = serializers.CharField(max_length=40)
    section = serializers.CharField(required=False, max_length=80)
    anyway = serializers.BooleanField(
        default=False, help_text="Seal it although some items used have not been replaced."
    )
    closed = serializers.BooleanField(
        default=None, allow_null=True, help_text="Whether the bag closed; null: nobody said."
    )
    mass_g = serializers.IntegerField(
        default=None,
        allow_null=True,
        min_value=1,
        max_value=MOST_MASS_G,
        help_text="What it weighs on a scale, in grams.",
    )


class ResealedAnswer(answers.DaysAnswer, answers.WithEntry):
    seal = serializers.CharField()
    to_sort = serializers.BooleanField(
        help_text="True if it still needs sorting: nobody has checked its contents since it"
        " came back."
    )
    verdict = answers.VerdictAnswer()


class Reseal(KitView):
    use_case = "reseal"
    problems = ("not-replaced", "opened-since", "seal-in-use", "sealed-already")
    can_be_handed_over = True
    body = ResealBody
    answers = {201: ResealedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record a new numbered seal.

        The answer has the dates for the kit tag, and the kit's status.
        """
        kit = self.kit()
        section = find.section(kit, data["section"]) if "section" in data else None
        seal = sealing.reseal(
            act,
            kit,
            data["seal"],
            section=section,
            anyway=data["anyway"],
            closed=Closed(data["closed"], data["mass_g"]),
        )
        kit = find.any_kit(kit.name)
        return 201, {
            "entry": seal.put_on,
            "seal": seal.number,
            "kit": kit,
            "days": readiness.days_now(kit),
            "to_sort": kit.to_sort_since is not None,
            "verdict": verdicts.judged_one(kit).verdict,
        }
