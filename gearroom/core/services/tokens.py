"""Tokens, with which programs act as a user. The secret is shown once; only its SHA-256 is kept."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from datetime import timedelta

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.act import Act, Actor
from gearroom.core.models import Token, User
from gearroom.core.problems import Invalid, NotAllowed, NotFound
from gearroom.core.rules.roles import Scope
from gearroom.core.services.rows import locked
from gearroom.core.trouble import if_it_can

PREFIX = "gr_"
NOTE_USE_EVERY = timedelta(minutes=1)
MAX_DAYS = 3650


def make(
    *, user: User, name: str, scopes: Iterable[Scope | str] = tuple(Scope), days: int | None = 365
) -> tuple[Token, str]:
    """A new token of a user, and its secret.

    `scopes` are names of `Scope`; `days` from 1 to 3650 until it expires, or None: never.
    """
    known = {scope.value for scope in Scope}
    wanted = list(dict.fromkeys(str(scope) for scope in scopes))
    for scope in wanted:
        if scope not in known:
            raise Invalid(
                _("There is no scope “%(scope)s”. Known: %(known)s.")
                % {"scope": scope, "known": ", ".join(sorted(known))},
                field="scopes",
            )
    if not wanted:
        raise Invalid(_("A token needs at least one scope."), field="scopes")
    if days is not None and not 1 <= days <= MAX_DAYS:
        raise Invalid(
            _("A token lasts from 1 to %(most)d days.") % {"most": MAX_DAYS}, field="days"
        )
    secret = PREFIX + secrets.token_urlsafe(32)
    now = clock.now()
    token = Token.objects.create(
        user=user,
        name=name,
        prefix=secret[:9],
        sha256=_sha256(secret),
        scopes=wanted,
        created_at=now,
        expires_at=now + timedelta(days=days) if days is not None else None,
    )
    return token, secret


def by_secret(secret: str) -> Token | None:
    """The token of a secret if it may be used now; its use is noted at most once a minute."""
    now = clock.now()
    token = (
        Token.objects.select_related("user__person")
        .filter(Q(expires_at=None) | Q(expires_at__gt=now), sha256=_sha256(secret))
        .filter(revoked_at=None, user__is_active=True)
        .first()
    )
    if token and (token.last_used_at is None or token.last_used_at <= now - NOTE_USE_EVERY):
        # A database in trouble is no reason to refuse somebody: the next use notes it.
        with if_it_can():
            Token.objects.filter(pk=token.pk).update(last_used_at=now)
    return token


def make_own(
    act: Act, *, name: str, scopes: Iterable[Scope], days: int | None
) -> tuple[Token, str]:
    """A token for whoever asks; one made with a token has no scope that the latter lacks."""
    act.actor.require("own_tokens")
    if act.actor.user is None:
        raise NotAllowed("not-allowed", _("Only somebody with a sign-in can have tokens."))
    beyond = set(scopes) - (act.actor.scopes if act.actor.scopes is not None else set(Scope))
    if beyond:
        raise NotAllowed(
            "scope-missing",
            _("This token lacks the scope “%(scope)s”, so it cannot give it.")
            % {"scope": min(beyond)},
            scope=str(min(beyond)),
        )
    return make(user=act.actor.user, name=name, scopes=scopes, days=days)


def own(actor: Actor) -> QuerySet[Token]:
    """The tokens of whoever asks."""
    return Token.objects.filter(user=actor.user)


def get(actor: Actor, token_id: int) -> Token:
    """One of one's own tokens; raises NotFound for any other."""
    token = own(actor).filter(pk=token_id).first()
    if token is None:
        raise NotFound("token", token_id)
    return token


def rename(act: Act, token: Token, name: str) -> Token:
    """Give a token another name."""
    act.actor.require("own_tokens")
    with transaction.atomic():
        token = locked(act, token)
        token.name = name
        token.save(update_fields=["name"])
    return token


def revoke(act: Act, token: Token) -> Token:
    """End a token at once; one ended already stays as it was."""
    act.actor.require("own_tokens")
    if token.revoked_at is None:
        token.revoked_at = act.received_at
        token.save(update_fields=["revoked_at"])
    return token


def _sha256(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
