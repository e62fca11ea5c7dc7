"""/api/v1/trips/{source}/{reference}/proposal/: which kits to send with a trip."""

from collections.abc import Iterable
from typing import Any

from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.views import ReadView
from kits.api import answers
from kits.api.problems import NOT_OPEN
from kits.api.trips.trips import TripView
from kits.models import Kit
from kits.services.trips import proposals


class KitNames(serializers.ListField):
    """Kits by name."""

    child = serializers.CharField()

    def to_representation(self, kits: Iterable[Kit]) -> list[str]:
        """In the order given."""
        return [kit.name for kit in kits]


@answers.Answer.of(proposals.PassedOverKit)
class PassedOverAnswer(answers.Answer):
    sources = {"kit": "kit.name"}
    reasons = answers.ReasonAnswer(many=True)


@answers.Answer.of(proposals.TripProposal)
class ProposalAnswer(answers.Answer):
    members = ["trip", "as_of", "promised", "proposed", "suits", "lacking", "passed_over"]
    help_texts = {"as_of": "When this was worked out: kits may be taken or reserved since."}
    promised = KitNames(help_text="Kits by name.")
    proposed = KitNames()
    suits = answers.made(
        serializers.BooleanField,
        lambda proposal: not proposal.lacking,
        help_text="True if all of them together suit the trip.",
    )
    lacking = answers.ReasonAnswer(many=True)


class Proposal(ReadView, TripView):
    shows = ProposalAnswer
    use_case = "look"
    older_way = True
    problems = read_problems = NOT_OPEN
    answers = {200: ProposalAnswer}

    def read(self, query: dict[str, Any]) -> Any:
        """Propose the fewest free kits that suit the trip, as things stand now, with reasons
        against the others."""
        return proposals.proposal(self.actor, self.trip())

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """The same as the GET, as it was asked before that was there."""
        return 200, proposals.proposal(act.actor, self.trip())

    def kept(self, body: Any) -> Any:
        """Nothing: it only asks."""
        return None
