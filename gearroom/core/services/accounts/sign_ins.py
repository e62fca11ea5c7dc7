"""Where somebody is signed in, ending it, and a new password for whoever forgot theirs."""

from datetime import datetime, timedelta
from importlib import import_module
from typing import Any

from django.conf import settings
from django.contrib.auth import password_validation
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils.encoding import force_str
from django.utils.http import urlsafe_base64_decode, urlsafe_base64_encode
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, NotAllowed, NotFound, actor_of, one
from gearroom.core.database_failures import tolerating_failure
from gearroom.core.models import PasswordReset, SignedIn, Token, User
from gearroom.core.services.accounts import account_changes, tokens

TOUCH_EVERY = timedelta(minutes=10)
HAND_OVER_LASTS = timedelta(days=31)
"""How long after somebody signed out on a phone what it signed before may still be handed over."""


class _Links(PasswordResetTokenGenerator):
    """Links that end with the password they were made for, and with the address they went to."""

    def _make_hash_value(self, user: Any, timestamp: int) -> str:
        return f"{super()._make_hash_value(user, timestamp)}{user.person.email}"


_links = _Links()
LINK_LASTS = timedelta(seconds=settings.PASSWORD_RESET_TIMEOUT)


# ---------------------------------------------------------------------------------- where signed in
def note(user: User, session_key: str, user_agent: str, address: str) -> None:
    """Note a browser that somebody signed in on just now, and forget those that ended long ago."""
    now = clock.now()
    theirs = SignedIn.objects.filter(user=user).exclude(session_key=session_key)
    over = [row.pk for row in _over(theirs) if _ended_at(row) < now - HAND_OVER_LASTS]
    theirs.filter(pk__in=over).delete()
    SignedIn.objects.update_or_create(
        session_key=session_key,
        defaults={
            "user": user,
            "on": kind_of(user_agent),
            "address": address[:45],
            "since": now,
            "seen_at": now,
            "ended_at": None,
        },
    )


def touch(session_key: str) -> None:
    """Note that it was used just now, if that can be written."""
    with tolerating_failure():
        SignedIn.objects.filter(session_key=session_key).update(seen_at=clock.now())


def kind_of(user_agent: str) -> str:
    """What a browser says it runs on: a phone, a tablet or a computer (RFC 9110 §10.1.5)."""
    agent = user_agent.casefold()
    if "tablet" in agent or "ipad" in agent or ("android" in agent and "mobile" not in agent):
        return "tablet"
    return "phone" if "mobi" in agent else "computer"


def of(user: User) -> list[SignedIn]:
    """Where somebody is signed in, the latest used first."""
    rows = SignedIn.objects.filter(user=user)
    return list(rows.filter(session_key__in=_live(rows)))


def _live(rows: QuerySet[SignedIn]) -> QuerySet[Session, str]:
    """The keys of those of their sessions that have not run out."""
    return Session.objects.filter(
        session_key__in=rows.values("session_key"), expire_date__gt=clock.now()
    ).values_list("session_key", flat=True)


def _over(rows: QuerySet[SignedIn]) -> QuerySet[SignedIn]:
    """Those whose session ran out or was ended on their own browser."""
    return rows.exclude(session_key__in=_live(rows))


def _ended_at(row: SignedIn) -> datetime:
    """When a sign-in that is over ended, at the latest."""
    lasts = timedelta(seconds=settings.SESSION_COOKIE_AGE)
    return row.ended_at or row.seen_at + lasts


def sign_out(session_key: str) -> None:
    """Note that somebody signs out on the browser that they are on."""
    SignedIn.objects.filter(session_key=session_key).update(ended_at=clock.now())


def could_sign(user: User, at: datetime) -> list[SignedIn]:
    """The sign-ins of somebody that were open at an instant, and of which what was done then may
    still be handed over. One that was withdrawn is not among them, whenever it was."""
    rows = SignedIn.objects.filter(user=user)
    last = clock.now() - HAND_OVER_LASTS
    over = {row.pk: _ended_at(row) for row in _over(rows)}
    return [row for row in rows if row.pk not in over or max(at, last) <= over[row.pk]]


def end(act: Act, signed_in_id: int) -> None:
    """Sign whoever asks out of one of their browsers. Raises NotFound."""
    act.actor.require("own_account")
    mine = SignedIn.objects.filter(user=act.actor.user, pk=signed_in_id, ended_at=None)
    _end_session(one(mine, "sign-in", signed_in_id))


def end_others(act: Act, but: str) -> int:
    """Sign whoever asks out of all their browsers but one (its session's key); says how many."""
    act.actor.require("own_account")
    rows = list(SignedIn.objects.filter(user=act.actor.user).exclude(session_key=but))
    for row in rows:
        _end_session(row)
    return sum(row.ended_at is None for row in rows)


def end_everywhere(user: User, at: datetime) -> None:
    """Sign somebody out of every browser and end their tokens, since they got another password by
    other means than the one they had."""
    for row in SignedIn.objects.filter(user=user):
        _end_session(row)
    tokens.end(Token.objects.filter(user=user), at)


def _end_session(row: SignedIn) -> None:
    import_module(settings.SESSION_ENGINE).SessionStore(row.session_key).delete()
    row.delete()


# ----------------------------------------------------------------------------------------- password
def change_password(act: Act, old: str, new: str) -> User:
    """Another password for whoever asks; their other browsers are signed out by it.

    Raises NotAllowed (`wrong-password`), Invalid with what a password must be.
    """
    act.actor.require("own_account")
    user = act.actor.user
    if user is None or not user.check_password(old):
        raise NotAllowed("wrong-password", _("That is not your current password. Type it again."))
    with transaction.atomic():
        _set_password(user, new)
        account_changes.note(act, user.person, account_changes.Kind.PASSWORD)
    return user


def _set_password(user: User, new: str) -> User:
    try:
        password_validation.validate_password(new, user)
    except ValidationError as error:
        raise Invalid(" ".join(error.messages), field="new") from None
    user.set_password(new)
    user.save(update_fields=["password"])
    return user


def ask_reset(name: str, base: str) -> int:
    """Note that somebody forgot their password, by user name or email address; how many users
    will get a mail. Whoever asks is told the same whatever it is. `base` is the scheme and host
    that the link leads to."""
    name = name.strip()[:254]
    if not name:
        return 0
    users = User.objects.filter(is_active=True, person__left_on=None, device=None).exclude(
        person__email=""
    )
    result = list(users.filter(username__iexact=name)) or list(
        users.filter(person__email__iexact=name)[:5]
    )
    with transaction.atomic():
        for user in result:
            since = clock.now() - LINK_LASTS
            waiting = PasswordReset.objects.filter(user=user, sent_at=None, asked_at__gte=since)
            if not waiting.exists():
                PasswordReset.objects.create(user=user, base=base, asked_at=clock.now())
    return len(result)


def link_of(user: User) -> tuple[str, str]:
    """What the link of a user's new password is made of: the id and a token that works once."""
    return urlsafe_base64_encode(str(user.pk).encode()), _links.make_token(user)


def user_of(uid: str, token: str) -> User | None:
    """Whose new password a link is for; None once it was used, ran out or was never given."""
    try:
        pk = int(force_str(urlsafe_base64_decode(uid)))
    except (ValueError, TypeError, OverflowError):
        return None
    user = User.objects.filter(pk=pk, is_active=True, device=None).first()
    return user if _links.check_token(user, token) else None


def reset(uid: str, token: str, new: str) -> User:
    """Set the new password that a link is for, and end where they are signed in and their tokens.
    Raises NotFound, Invalid."""
    with transaction.atomic():
        if (user := user_of(uid, token)) is None:
            raise NotFound("link for a new password")
        _set_password(user, new)
        act = Act(actor=actor_of(user))
        end_everywhere(user, act.received_at)
        account_changes.note(act, user.person, account_changes.Kind.PASSWORD)
    return user
