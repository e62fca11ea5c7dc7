"""The mail with the link to a new password: asked for on a page, sent by the worker.

It is no notice: whoever keeps the room may read those, and a link is for one person alone. So it is
made when it is sent and kept nowhere.
"""

from functools import partial

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.models import PasswordReset, Person
from gearroom.core.services.accounts import sign_ins
from gearroom.site.mail import account_mail
from kits.rules.mail.plain_text import Letter, LetterRow


def send_waiting() -> int:
    """Send what was asked for and is not sent yet; how many were sent. What the mail server did
    not take is tried with the next sweep, until the hour of asking is over; what cannot be written
    (an address that no mail can have) is not tried again."""
    sent = 0
    since = clock.now() - sign_ins.LINK_LASTS
    waiting = PasswordReset.objects.filter(sent_at=None, asked_at__gte=since)
    for reset in waiting.select_related("user__person").order_by("pk")[:100]:
        row = PasswordReset.objects.filter(pk=reset.pk)
        if not row.filter(sent_at=None).update(sent_at=clock.now()):
            continue  # another worker has it
        person = reset.user.person
        taken = account_mail.send(person, partial(_letter, reset, person))
        if taken is False:
            row.update(sent_at=None)
        sent += taken is True
    return sent


def _letter(reset: PasswordReset, person: Person) -> Letter:
    uid, token = sign_ins.link_of(reset.user)
    link = reset.base + reverse("new-password", args=[uid, token])
    text = _("%(name)s, use this link to choose a new password. Your username is %(username)s.") % {
        "name": person.name,
        "username": reset.user.username,
    }
    return Letter(
        subject=_("A new password for %(organisation)s")
        % {"organisation": settings.ORGANISATION or _("the gear room")},
        first=(LetterRow(text, link),),
        closing=(
            _("The link can be used once and is valid for one hour. If you did not ask for it, "
              "you do not need to do anything: your password stays the same."),
        ),
    )  # fmt: skip
