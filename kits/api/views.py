"""What the views of one kit share."""

from gearroom.core.api.views import UseCaseView
from kits.api.answers import DoneAnswer
from kits.api.problems import NAMED_KIT
from kits.models import Kit
from kits.services.lookup import find, reporters


class KitView(UseCaseView):
    """Something that is done to a kit; unless it answers with more, with the entry alone."""

    problems = NAMED_KIT
    answers = {201: DoneAnswer}

    def kit(self) -> Kit:
        """The kit that the address names, of one's rooms."""
        return find.kit(self.actor, self.kwargs["kit"])


class ReportView(KitView):
    """A fact that is reported of a kit, by whoever may report it."""

    def kit(self) -> Kit:
        """The kit that the address names, of whichever room."""
        return reporters.kit(self.actor, self.kwargs["kit"])
