"""Editing the draft of advice, sending it as an exact copy, and withdrawing it."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Stale, Unacceptable
from kits.models import Advice, AdviceCopy, AdviceWithdrawal
from kits.rules.planning import advice as rules
from kits.rules.planning.advice import State
from kits.services.advice import access, document, drafts, reasons, register
from kits.services.advice.drafts import Line, Omitted
from kits.services.advice.links import withdrawn

MOST_WHY = 300


def edit(
    act: Act,
    advice: Advice,
    *,
    revision: int,
    lines: Sequence[Line],
    not_carried: Sequence[Omitted],
) -> Advice:
    """Give the draft other lines; a reason that is empty in every language becomes again what was
    made of the answers. `revision` is that of the draft which whoever edits has read.

    Raises Stale where it was changed since, Refused (`not-answered-yet`, `advice-withdrawn`), and
    what `reasons.settled` and `drafts.check` raise.
    """
    with _opened(act, advice, revision) as fresh:
        answers, draft = register.content(fresh)
        edited = reasons.settled(
            replace(draft, lines=lines, not_carried=not_carried), was=draft, answers=answers
        )
        drafts.check(edited, answers.trained)
        fresh.draft = edited.as_json()
        fresh.revision += 1
        fresh.save(update_fields=["draft", "revision"])
    return register.get(act.actor, fresh.pk)


def send(
    act: Act,
    advice: Advice,
    *,
    revision: int,
    not_after: date | None = None,
    duty_confirmed: bool = False,
) -> AdviceCopy:
    """Send the draft: keep the exact copy of all that it says, which its link shows from then on in
    place of any before it. It counts for trips until a year after today, or until `not_after`.

    Raises what `edit` raises, Unacceptable (`duty-not-confirmed`), Invalid for a day that is past
    or more than a year away.
    """
    with _opened(act, advice, revision) as fresh:
        if not duty_confirmed:
            raise Unacceptable(
                "duty-not-confirmed",
                _("Read the text about your duty of care, then tick that you have read it."),
            )
        today = clock.today(settings.TIME_ZONE)
        until = rules.counts_until(today, not_after)
        if until is None:
            raise Invalid(
                _(
                    "Choose the last day on which the advice is valid: from today to a year "
                    "from now."
                ),
                field="not_after",
            )
        answers, draft = register.content(fresh)
        drafts.check(draft, answers.trained)
        number = max((each.number for each in fresh.copies.all()), default=0) + 1
        copy = AdviceCopy.objects.create(
            advice=fresh,
            number=number,
            sent_by=act.person,
            sent_at=act.received_at,
            not_after=until,
            text=document.make(
                answers, draft, act.actor, number=number, sent_on=today, not_after=until
            ),
        )
        fresh.revision += 1
        fresh.save(update_fields=["revision"])
    return copy


def withdraw(act: Act, advice: Advice, *, reason: str) -> AdviceWithdrawal:
    """Withdraw advice, or a link that nobody has answered: the link says so from then on. Raises
    Refused (`advice-withdrawn`), Invalid without a reason."""
    access.require_sender(act.actor)
    reason = " ".join(reason.split())
    if not 0 < len(reason) <= MOST_WHY:
        raise Invalid(
            _("Enter the reason, in at most %(most)d characters.") % {"most": MOST_WHY},
            field="reason",
        )
    with transaction.atomic():
        fresh = register.fresh(advice.pk)
        if register.state_of(fresh) is State.WITHDRAWN:
            raise withdrawn()
        fresh.revision += 1
        fresh.save(update_fields=["revision"])
        return AdviceWithdrawal.objects.create(
            advice=fresh, person=act.person, at=act.received_at, reason=reason
        )


@contextmanager
def _opened(act: Act, advice: Advice, revision: int) -> Iterator[Advice]:
    """A draft that may be edited and sent, locked and as it was read."""
    access.require_sender(act.actor)
    with transaction.atomic():
        fresh = register.fresh(advice.pk)
        if register.state_of(fresh) is State.WITHDRAWN:
            raise withdrawn()
        register.content(fresh)
        if fresh.revision != revision:
            raise Stale(
                "changed-since",
                _(
                    "Somebody has changed this draft since you opened it. Look at it as it is now, "
                    "then make your change again."
                ),
            )
        yield fresh
