"""A kit's time with people: out, passed on, back; on hold and released."""

import dataclasses
from typing import Any

from rest_framework import serializers

from gearroom.core.acts import NOT_GIVEN, Act
from gearroom.core.api.requests.serializers import ActBody
from gearroom.core.api.views import UseCaseView
from kits.api import answers, bodies
from kits.api.problems import NAMED_KIT, NOT_TO_GO, SWAPPING
from kits.api.views import KitView, ReportView
from kits.models import AsFound, Kit, WithheldKind
from kits.services.custody import custody, passing_on, returns, use
from kits.services.custody.returns import Remarks
from kits.services.kits import holds
from kits.services.lookup import find
from kits.services.trips import claims, due_times


class CheckOutBody(bodies.HereBody):
    example = {"person": "7", "trip": "bookings:118", "due_at": "2035-05-31T18:00:00+01:00"}
    person = serializers.CharField(
        required=False, max_length=40, help_text="The person taking it, by id or by tag code."
    )
    trip = serializers.CharField(
        required=False,
        allow_null=True,
        max_length=130,
        help_text="By id or as source:reference; null for no trip. If left out: the kit's"
        " reserved trip that starts by tomorrow, if the person taking the kit is that"
        " trip's guide.",
    )
    due_at = serializers.DateTimeField(
        required=False,
        allow_null=True,
        help_text="Null for no return time. If left out: when the trip returns, or when the"
        " gear room closes.",
    )
    section = serializers.CharField(
        required=False, max_length=80, help_text="Take out only this sealed section."
    )
    short_reason = serializers.CharField(
        required=False,
        max_length=300,
        help_text="The reason for taking it out although it is not ready.",
    )
    cleared_by = serializers.CharField(
        required=False,
        max_length=40,
        help_text="The person who cleared it by telephone, by id or by tag code. They are asked"
        " to confirm this.",
    )
    take_reason = serializers.CharField(
        required=False,
        max_length=300,
        help_text="The reason for taking it although it is reserved for another trip.",
    )
    swap = serializers.BooleanField(
        default=False,
        help_text="Swap it with the kit that is reserved for the trip or, if this kit is"
        " reserved for another trip, with one that suits that trip.",
    )
    emergency = serializers.BooleanField(
        default=False,
        help_text="An emergency: it can be taken whatever its state, and this is recorded.",
    )
    already_gone = serializers.BooleanField(
        default=False,
        help_text="A report of something that has already happened: it is always recorded.",
    )


class TakenAnswer(answers.WithEntry):
    checkout = answers.CheckoutAnswer(
        allow_null=True,
        help_text="Null if it has changed hands again since, or if the kit is in none of your"
        " gear rooms.",
    )
    verdict = answers.VerdictAnswer(
        allow_null=True, help_text="Null if the kit is in none of your gear rooms."
    )


class CheckOut(KitView):
    use_case = "identify"  # the service asks for more: a request, or one of two facts
    token_needs = "the scope `custody`"
    problems = (
        "due-in-the-past", "reserved-for-another", "who-takes-it",
        "wrong-label", *SWAPPING, *NOT_TO_GO,
    )  # fmt: skip
    can_be_handed_over = True
    body = CheckOutBody
    answers = {201: TakenAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Take a kit out."""
        act = bodies.here(act, data)
        fact = data["emergency"] or data["already_gone"]
        kit = self.kit_taken(data)
        person = find.person(act.actor, data.pop("person")) if "person" in data else NOT_GIVEN
        trip = bodies.trip_of(act, data)
        section = find.section(kit, data.pop("section")) if "section" in data else None
        if "cleared_by" in data:
            data["cleared_by"] = find.person(act.actor, data["cleared_by"])
        if data.pop("swap") and section is None and not fact:
            terms = claims.Terms(
                trip,
                data.get("due_at", NOT_GIVEN),
                swap=True,
                take_reason=data.get("take_reason", ""),
            )
            holder = None if person is NOT_GIVEN else person
            goes = claims.settle(act, kit, terms, holder, alone=True)
            trip, person = goes.trip, goes.holder or NOT_GIVEN
        taken = custody.check_out(act, kit, person=person, trip=trip, section=section, **data)
        if find.sees_kit(act.actor, kit):
            return 201, taken
        return 201, {"checkout": None, "entry": taken.entry, "verdict": None}

    def kit_taken(self, data: dict[str, Any]) -> Kit:
        """The kit that the address names; in an emergency it is of whatever room."""
        if not data["emergency"]:
            return self.kit()
        self.actor.require("emergency")
        return find.any_kit(self.kwargs["kit"], self.actor)


class CheckInBody(bodies.HereBody, bodies.LevelsBody):
    example = {
        "as_found": "opened", "used": [{"item": 4, "units": 2}],
        "levels": [{"section": "main", "item": 9, "level": "low"}], "wet": True,
    }  # fmt: skip
    as_found = serializers.ChoiceField(AsFound.choices, default=AsFound.SORT_LATER)
    section = serializers.CharField(required=False, max_length=80)
    seal_seen = serializers.CharField(
        required=False, max_length=40, help_text="The seal's number, or its last three characters."
    )
    used = bodies.lines(bodies.UseLineBody, required=False)
    sharps_or_blood = serializers.BooleanField(default=False)
    wet = serializers.BooleanField(default=False)
    wrong = serializers.CharField(required=False, max_length=300)
    incident = serializers.CharField(
        required=False, max_length=80, help_text="A reference; nothing about casualties."
    )
    needed = bodies.lines(
        bodies.NeedBody,
        required=False,
        help_text="What was needed but not in the kit.",
    )
    mixed_with = serializers.ListField(
        child=serializers.CharField(max_length=40),
        max_length=bodies.MOST_KITS,
        required=False,
        help_text="The kits, by name or code, whose contents were mixed with this one's: all"
        " must be counted.",
    )
    given_back = serializers.BooleanField(
        default=False,
        help_text="The participant's item in the “not ours” pouch was given back to its owner.",
    )


@answers.Answer.of(custody.CheckIn)
class HandedBackAnswer(answers.WithEntry):
    members = ["kit", "checkout", "as_found", "used", "not_ours"]
    sources = {"kit": "kit.name", "used": "use"}
    as_found = serializers.ChoiceField(AsFound.choices)
    not_ours = answers.made(
        serializers.BooleanField,
        returns.has_own,
        source="kit",
        help_text="A participant’s own item is still inside: give it back to its owner.",
    )


class CheckIn(UseCaseView):
    use_case = "check_in"
    problems = ("wrong-label", *NAMED_KIT)
    can_be_handed_over = True
    body = CheckInBody
    answers = {200: HandedBackAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Hand a kit back; anybody may, in any gear room."""
        act = bodies.here(act, data)
        kit = find.any_kit(self.kwargs["kit"], act.actor)
        data["used"] = bodies.use_lines(kit, data.get("used", []))
        data["levels"] = bodies.loose_levels(kit, data.get("levels", []))
        data["section"] = find.section(kit, data["section"]) if "section" in data else None
        data["as_found"] = AsFound(data["as_found"])
        data["remarks"] = Remarks(
            bodies.needed(data.pop("needed", [])),
            [find.any_kit(ref, act.actor) for ref in data.pop("mixed_with", [])],
            data.pop("given_back"),
        )
        back = custody.check_in(act, kit, **data)
        held = back.checkout
        own = held is not None and act.person is not None and held.person_id == act.person.pk
        if not own and not find.knows_kit(act.actor, back.kit):
            back = dataclasses.replace(back, checkout=None)
        return 200, back


class DueBody(ActBody):
    example = {"due_at": "2035-05-31T18:00:00+01:00"}
    due_at = serializers.DateTimeField(allow_null=True, help_text="Null if no time is set.")
    section = serializers.CharField(required=False, max_length=80)


class Due(KitView):
    use_case = "set_due"
    problems = ("due-in-the-past", "not-out")
    body = DueBody
    answers = {200: answers.CheckoutAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change the return time of a kit that is out."""
        kit = self.kit()
        section = find.section(kit, data["section"]) if "section" in data else None
        return 200, due_times.set_due(act, kit, data["due_at"], section)


class PassBody(ActBody):
    example = {"person": "7"}
    person = serializers.CharField(max_length=40, help_text="By id or by tag code.")


class PassedAnswer(answers.CheckoutAnswer):
    """Everything except the kit is null if it has changed hands again since."""

    id = serializers.IntegerField(allow_null=True)
    out_at = answers.Moment(allow_null=True)
    as_found = serializers.ChoiceField([*AsFound.values, ""], allow_null=True)
    emergency = serializers.BooleanField(allow_null=True)
    entry = answers.EntryAnswer()

    def to_representation(self, passed: custody.ChangeOfHands) -> Any:
        """The checkout as it is now, with the entry of the act."""
        visible = {**dict.fromkeys(self.fields), "kit": passed.kit.name}
        if passed.checkout is not None:
            visible |= answers.CheckoutAnswer(passed.checkout, context=self.context).data
        return {**visible, "entry": answers.EntryAnswer(passed.entry).data}


class Pass(ReportView):
    use_case = "pass"
    problems = ("who-takes-it", "wrong-label")
    can_be_handed_over = True
    body = PassBody
    answers = {200: PassedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that a kit was passed on to another person.

        Nothing changes if they already have it.
        """
        return 200, passing_on.pass_on(act, self.kit(), find.person(act.actor, data["person"]))


class UseBody(bodies.LevelsBody):
    example = {"used": [{"item": 4, "units": 2}], "incident": "2035-17"}
    used = bodies.lines(bodies.UseLineBody, allow_empty=False)
    incident = serializers.CharField(required=False, max_length=80)


class Use(ReportView):
    use_case = "log_use"
    problems = ("wrong-label",)
    can_be_handed_over = True
    body = UseBody
    answers = {201: answers.UsedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record what was used from a kit, for its trip."""
        kit = self.kit()
        return 201, use.log_use(
            act,
            kit,
            bodies.use_lines(kit, data["used"]),
            levels=bodies.loose_levels(kit, data.get("levels", [])),
            incident=data.get("incident", ""),
        )


class WithholdBody(ActBody):
    example = {"kind": "drying", "note": "Left open in the rain."}
    kind = serializers.ChoiceField(WithheldKind.choices)
    note = serializers.CharField(required=False, max_length=300)


class Withhold(ReportView):
    use_case = "withhold"
    body = WithholdBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Put a kit on hold: drying, something wrong, keep as it came back."""
        return 201, holds.withhold(
            act, self.kit(), WithheldKind(data["kind"]), data.get("note", "")
        )


class ReleaseBody(ActBody):
    example = {"kind": "drying"}
    kind = serializers.ChoiceField(WithheldKind.choices)


class Release(KitView):
    use_case = "release"
    problems = ("count-first", "not-withheld")
    body = ReleaseBody
    answers = {200: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Release a kit that is on hold."""
        return 200, holds.release(act, self.kit(), WithheldKind(data["kind"]))


class LayUpBody(ActBody):
    example = {"wake": False}
    wake = serializers.BooleanField(default=False, help_text="True: put it back into use.")


class LayUp(KitView):
    use_case = "lay_up"
    problems = ("kit-is-out", "laid-up-already", "not-laid-up")
    body = LayUpBody
    answers = {200: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Put a kit in storage, or back into use."""
        do = holds.wake if data["wake"] else holds.lay_up
        return 200, do(act, self.kit())


class LostBody(ActBody):
    example = {"found": False, "reason": "Not on the shelf at the count."}
    found = serializers.BooleanField(default=False, help_text="True: it has been found again.")


class Lost(ReportView):
    use_case = "report_lost"
    body = LostBody
    answers = {200: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that a kit cannot be found, or that it has been found."""
        do = holds.find_again if data["found"] else holds.mark_lost
        return 200, do(act, self.kit())
