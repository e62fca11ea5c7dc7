"""The link of a piece of advice: made by whoever may send it, and answered by a stranger.

The link is 32 random bytes; only its SHA-256 is kept, and looked up.
"""

import hashlib
import secrets
from collections.abc import Iterable
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, AlreadyAnswered, Invalid, NotFound, Refused
from kits.models import Activity, Advice, ItemNeed, Need
from kits.rules.ledger.facts import Kind
from kits.rules.planning.advice import MAY_ANSWER, State
from kits.rules.planning.drafting import SEASONS
from kits.rules.text.hazards import HAZARDS
from kits.services.advice import access, drafts, register
from kits.services.advice.drafts import Answers
from kits.services.lists.drafts import MOST_DAYS, MOST_PEOPLE

MOST_HOURS = Decimal(999)


def make(act: Act) -> tuple[Advice, str]:
    """Make a link; it is shown this once."""
    access.require_sender(act.actor)
    link = secrets.token_urlsafe(32)
    made = Advice.objects.create(sha256=_hash(link), made_by=act.person, made_at=act.received_at)
    return made, link


def by_link(link: str) -> Advice:
    """What a link is of. Raises NotFound for one that was never made, Refused (`advice-off`) while
    advice is off."""
    found = register.by_hash(_hash(link))
    if found is None:
        raise NotFound("link")
    if not access.is_on():
        raise Refused(
            "advice-off",
            _("Advice for others is turned off here. Do not use what this link showed before."),
        )
    return found


def needs_with_training() -> list[Need]:
    """The needs for which advice names something only where somebody is trained."""
    rows = ItemNeed.objects.filter(needs_training=True).exclude(item__kind=Kind.MEDICINE.value)
    return list(Need.objects.active().filter(pk__in=rows.values("need")).order_by("name"))


def answer(advice: Advice, answers: Answers) -> Advice:
    """Keep what a stranger answered, or corrected, and make the draft of it anew. The same answers
    again change nothing. Raises Invalid, AlreadyAnswered (`advice-sent`), Refused
    (`advice-withdrawn`)."""
    _refuse_wrong(answers)
    with transaction.atomic():
        fresh = register.fresh(advice.pk)
        state = register.state_of(fresh)
        if state is State.WITHDRAWN:
            raise withdrawn()
        if state not in MAY_ANSWER:
            raise AlreadyAnswered(
                "advice-sent",
                _("The answer has already been sent, so your answers can no longer be changed."),
            )
        kept = answers.as_json()
        if fresh.answers != kept:
            fresh.answers, fresh.answered_at = kept, clock.now()
            fresh.draft = drafts.make(answers).as_json()
            fresh.revision += 1
            fresh.save(update_fields=["answers", "answered_at", "draft", "revision"])
    return fresh


def withdrawn() -> Refused:
    """The refusal of whatever is done with advice that was withdrawn."""
    return Refused(
        "advice-withdrawn", _("This advice has been withdrawn. It should no longer be used.")
    )


def _refuse_wrong(answers: Answers) -> None:
    """Raise Invalid for answers that no form gives."""
    if not 1 <= answers.people <= MOST_PEOPLE:
        raise _wrong(
            _("Enter a number of people from 1 to %(most)d.") % {"most": MOST_PEOPLE}, "people"
        )
    if not 0 <= answers.children <= answers.people:
        raise _wrong(_("There cannot be more children than people."), "children")
    if not 1 <= answers.days <= MOST_DAYS:
        raise _wrong(_("Enter a number of days from 1 to %(most)d.") % {"most": MOST_DAYS}, "days")
    if answers.season not in SEASONS:
        raise _wrong(_("Choose a season."), "season")
    keys = Activity.objects.filter(retired_on=None).values_list("key", flat=True)
    if answers.activity and answers.activity not in keys:
        raise _wrong(_("Choose an activity from the list."), "activity")
    if not 0 <= Decimal(answers.hours_to_care) <= MOST_HOURS:
        raise _wrong(_("Enter how many hours away a hospital or doctor is."), "hours")
    _refuse_unknown(answers.hazards, HAZARDS, "hazard")
    _refuse_unknown(answers.trained, [need.key for need in needs_with_training()], "trained")


def _refuse_unknown(chosen: Iterable[str], known: Iterable[str], field: str) -> None:
    if set(chosen) - set(known):
        raise _wrong(_("This form was not sent from this page. Reload the page."), field)


def _wrong(sentence: str, field: str) -> Invalid:
    return Invalid(sentence, field=field)


def _hash(link: str) -> str:
    return hashlib.sha256(link.encode("utf-8", "surrogatepass")).hexdigest()
