"""Tokens, with which programs act as a user. The secret is shown once; only its SHA-256 is kept.

A token is never wider nor longer than what made it: one made with a token has none but its scopes,
ends when it ends, and ends with it. A token of a program ends when whoever answers for the program
loses the right over it.
"""

import hashlib
import secrets
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import (
    Act,
    Actor,
    Invalid,
    NotAllowed,
    locked,
    one,
    refuse_first,
    roles_of,
    store,
)
from gearroom.core.database_failures import tolerating_failure
from gearroom.core.models import Person, Token, User
from gearroom.core.rules.roles import Role, Scope, has_right_over

PREFIX = "gr_"
NOTE_USE_EVERY = timedelta(minutes=1)
MAX_DAYS = 3650


def make(
    *,
    user: User,
    name: str,
    scopes: Iterable[Scope | str],
    days: int | None = 365,
    made_with: Token | None = None,
    made_by: Person | None = None,
) -> tuple[Token, str]:
    """A new token of a user, and its secret.

    `scopes` are names of `Scope`; `days` from 1 to 3650 until it expires, or None: never; in any
    case when `made_with` does. `made_by` is who answers for the program that the token is for.
    """
    wanted = list(dict.fromkeys(str(scope) for scope in scopes))
    for scope in wanted:
        if scope not in set(Scope):
            raise Invalid(
                _("There is no scope “%(scope)s”. Valid scopes: %(known)s.")
                % {"scope": scope, "known": ", ".join(sorted(Scope))},
                field="scopes",
            )
    refuse_first(
        (not wanted, Invalid(_("A token needs at least one scope."), field="scopes")),
        (
            days is not None and not 1 <= days <= MAX_DAYS,
            Invalid(
                _("A token can be valid for 1 to %(most)d days.") % {"most": MAX_DAYS},
                field="days",
            ),
        ),
    )
    secret = PREFIX + secrets.token_urlsafe(32)
    now = clock.now()
    ends = [now + timedelta(days=days)] if days is not None else []
    if made_with is not None and made_with.expires_at is not None:
        ends.append(made_with.expires_at)
    token = Token.objects.create(
        user=user,
        name=name,
        prefix=secret[:9],
        sha256=_sha256(secret),
        scopes=wanted,
        created_at=now,
        expires_at=min(ends, default=None),
        made_with=made_with,
        made_by=made_by,
    )
    return token, secret


def by_secret(secret: str) -> Token | None:
    """The token of a secret if it may be used now; its use is noted at most once a minute."""
    now = clock.now()
    usable = Token.objects.filter(Q(expires_at=None) | Q(expires_at__gt=now), revoked_at=None)
    try:
        token = usable.select_related("user__person").get(
            sha256=_sha256(secret), user__is_active=True
        )
    except Token.DoesNotExist:
        return None
    if not _is_answered_for(token):
        end(Token.objects.filter(pk=token.pk), now)
        return None
    if token.last_used_at is None or token.last_used_at <= now - NOTE_USE_EVERY:
        # A failing database is no reason to refuse somebody: the next use notes it.
        with tolerating_failure():
            Token.objects.filter(pk=token.pk).update(last_used_at=now)
    return token


def _is_answered_for(token: Token) -> bool:
    """Whether somebody still has the right over the program that a token is for; true of a person's
    own."""
    if token.made_by is None:
        return True
    maker = token.made_by.merged_into or token.made_by
    return maker.left_on is None and has_right_over(roles_of(maker), roles_of(token.user.person))


def make_own(
    act: Act, *, name: str, scopes: Iterable[Scope], days: int | None
) -> tuple[Token, str]:
    """A token for whoever asks; one made with a token has no scope that the latter lacks, and ends
    no later."""
    act.actor.require("own_tokens")
    if (user := act.actor.user) is None:
        raise NotAllowed("not-allowed", _("Only people with a login can have tokens."))
    beyond = set(scopes) - (act.actor.scopes if act.actor.scopes is not None else set(Scope))
    if beyond:
        raise NotAllowed(
            "scope-missing",
            _("This token does not have the scope “%(scope)s”, so it cannot grant that scope.")
            % {"scope": min(beyond)},
            scope=str(min(beyond)),
        )
    is_program = any(Role.INTEGRATION in roles for roles in act.actor.roles.values())
    return make(
        user=user,
        name=name,
        scopes=scopes,
        days=days,
        made_with=act.actor.token,
        made_by=user.given_by if is_program else None,
    )


def own(actor: Actor) -> QuerySet[Token]:
    """The tokens of whoever asks."""
    return Token.objects.filter(user=actor.user)


def get(actor: Actor, token_id: int) -> Token:
    """One of one's own tokens; raises NotFound for any other."""
    return one(own(actor).filter(pk=token_id), "token", token_id)


def rename(act: Act, token: Token, name: str) -> Token:
    """Give a token another name."""
    act.actor.require("own_tokens")
    with transaction.atomic():
        token = locked(act, token)
        store(token, name=name)
    return token


def revoke(act: Act, token: Token) -> Token:
    """End a token at once, and those made with it; one ended already stays as it was."""
    act.actor.require("own_tokens")
    end(Token.objects.filter(pk=token.pk), act.received_at)
    token.refresh_from_db()
    return token


def end(rows: QuerySet[Token], at: datetime) -> None:
    """End tokens, and those made with them; those that ended already stay as they were."""
    ending = set(rows.values_list("pk", flat=True))
    while ending:
        Token.objects.filter(pk__in=ending, revoked_at=None).update(revoked_at=at)
        ending = set(Token.objects.filter(made_with__in=ending).values_list("pk", flat=True))


def _sha256(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
