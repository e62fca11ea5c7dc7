"""/api/v1/advice/: links for trips of others, their drafts, what was sent and withdrawn. While
advice is off, nothing is here."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.any_view import View
from gearroom.core.api.requests.serializers import ActBody
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from kits.api import answers
from kits.models import Advice
from kits.rules.planning.advice import State
from kits.services.advice import access, document, links, register, sending
from kits.services.text.planning.planning_texts import CAUTION


class AdviceView(View):
    """A view that is as if it were not there while advice is off."""

    def require(self, use_case: str) -> None:
        """Raise what an address without anything raises, else NotAllowed."""
        access.refuse_while_off()
        super().require(use_case)


class Texts(serializers.DictField):
    child = serializers.CharField()


class AdviceLineShown(answers.Answer):
    item = serializers.IntegerField()
    quantity = serializers.IntegerField()
    reason = Texts(help_text="By language.")


class NotAdvisedShown(answers.Answer):
    item = serializers.IntegerField(allow_null=True)
    need = serializers.CharField(
        allow_null=True, help_text="By its key from GET plans/vocabulary/."
    )
    reason = Texts(help_text="By language.")


class CopyShown(answers.Answer):
    number = serializers.IntegerField()
    sent_at = answers.Moment()
    not_after = serializers.DateField(help_text="Not for trips after this day.")


class AdviceShown(answers.Answer):
    id = serializers.IntegerField(source="pk")
    state = answers.made(
        serializers.ChoiceField, register.state_of, choices=[state.value for state in State]
    )
    revision = serializers.IntegerField(help_text="Goes up with every change.")
    made_at = answers.Moment()
    answered_at = answers.Moment(allow_null=True)
    withdrawn_at = answers.Moment(source="withdrawal.at", default=None, allow_null=True)
    copies = CopyShown(
        source="copies.all",
        many=True,
        help_text="Answers as they were sent; the last one is in force.",
    )


class OneAdviceShown(answers.Answer):
    advice = AdviceShown()
    trip = serializers.DictField(
        allow_null=True, help_text="What was answered of the trip; null: nothing yet."
    )
    lines = AdviceLineShown(many=True, help_text="What the draft carries.")
    not_carried = NotAdvisedShown(many=True, help_text="What the draft does not carry.")
    page = serializers.DictField(
        allow_null=True,
        help_text="All that the link shows, in your language; null: nothing was sent.",
    )
    caution = answers.made(serializers.CharField, lambda of: str(CAUTION))


class LinkMade(answers.Answer):
    advice = AdviceShown()
    address = serializers.CharField(
        allow_null=True, help_text="Shown only once. Null if the same key is sent again."
    )


class _OfOne(AdviceView):
    def one(self) -> Advice:
        """The advice that the address names."""
        return register.get(self.actor, self.kwargs["id"])

    def all_of_it(self) -> document.Whole:
        """All of it, as it is now."""
        return document.whole(self.one())


class AllAdvice(AdviceView, ListView, UseCaseView):
    """Advice for trips of others."""

    reads_as = use_case = "send_advice"
    shows = AdviceShown
    answers = {201: LinkMade}

    def rows(self, query: dict[str, Any]) -> QuerySet[Advice]:
        """List all advice, the newest first."""
        return register.rows(self.actor)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Make a link that asks somebody outside eight questions about a trip.

        The link is shown only in this answer and is not stored.
        """
        made, link = links.make(act)
        address = self.request.build_absolute_uri(f"/trip-advice/{link}/")
        return 201, {"advice": register.get(act.actor, made.pk), "address": address}

    def kept(self, body: Any) -> Any:
        """The answer less the link."""
        return {**body, "address": None} if "address" in body else body


class OneAdvice(_OfOne, ReadView):
    """One piece of advice."""

    reads_as = "send_advice"
    shows = OneAdviceShown

    def read(self, query: dict[str, Any]) -> Any:
        """Show what was answered, the draft, and what was sent."""
        return self.all_of_it()


class SendAdviceBody(ActBody):
    example = {"revision": 2, "duty_confirmed": True}
    revision = serializers.IntegerField(min_value=1, help_text="Of the draft as you have read it.")
    not_after = serializers.DateField(
        required=False,
        allow_null=True,
        help_text="Not for trips after this day; a year from today unless given.",
    )
    duty_confirmed = serializers.BooleanField(
        help_text="That you have read that no wording removes a duty of care, and answer for it."
    )


class SendAdvice(_OfOne, UseCaseView):
    use_case = "send_advice"
    problems = (
        "advice-withdrawn", "duty-not-confirmed", "must-have-left-out", "names-a-dose",
        "names-a-medicine", "needs-training", "not-answered-yet",
    )  # fmt: skip
    body = SendAdviceBody
    answers = {200: OneAdviceShown}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Send the draft: the link shows it from then on. Sent again, it takes the place of what
        was sent before."""
        sending.send(act, self.one(), **data)
        return 200, self.all_of_it()


class WithdrawAdviceBody(ActBody):
    example = {"reason": "An item on it was recalled."}


class WithdrawAdvice(_OfOne, UseCaseView):
    use_case = "send_advice"
    problems = ("advice-withdrawn",)
    body = WithdrawAdviceBody
    answers = {200: OneAdviceShown}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Withdraw advice for good: its link says so, and why."""
        sending.withdraw(act, self.one(), reason=act.reason)
        return 200, self.all_of_it()
