"""/api/v1/tokens/: one's own tokens."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from gearroom.core.models import Token
from gearroom.core.rules.roles import Scope
from gearroom.core.services.accounts import tokens

SCOPES = [scope.value for scope in Scope]


class TokenShown(serializers.ModelSerializer[Token]):
    """A token without its secret."""

    scopes = serializers.ListField(child=serializers.ChoiceField(choices=SCOPES))

    class Meta:
        model = Token
        fields = [
            "id",
            "name",
            "prefix",
            "scopes",
            "created_at",
            "expires_at",
            "revoked_at",
            "last_used_at",
        ]


class TokenMade(TokenShown):
    """A new token with its secret."""

    secret = serializers.CharField(
        allow_null=True, help_text="Shown only once. Null if the same key is sent again."
    )

    class Meta(TokenShown.Meta):
        fields = [*TokenShown.Meta.fields, "secret"]


class TokenEdit(ActBody):
    """The fields of a token that can be changed."""

    example = {"name": "Booking system"}
    name = serializers.CharField(max_length=80, help_text="What it is for.")


class TokenBody(TokenEdit):
    """A new token."""

    example = {"name": "Booking system", "scopes": ["trips"], "days": 365}
    scopes = serializers.ListField(
        child=serializers.ChoiceField(choices=SCOPES), min_length=1, max_length=len(SCOPES)
    )
    days = serializers.IntegerField(
        min_value=1,
        max_value=tokens.MAX_DAYS,
        default=365,
        allow_null=True,
        help_text="The days until it expires; null: never. A token created with another token"
        " ends when that one does.",
    )


class Tokens(ListView, UseCaseView):
    """Your tokens."""

    shows = TokenShown
    reads_as = use_case = "own_tokens"
    body = TokenBody
    answers = {201: TokenMade}

    def rows(self, query: dict[str, Any]) -> QuerySet[Token]:
        """List your tokens, newest first, including revoked ones."""
        return tokens.own(self.actor)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Create a token.

        Its secret is shown only in this answer and is not stored.
        """
        token, secret = tokens.make_own(act, **data)
        return 201, {**TokenShown(token).data, "secret": secret}

    def kept(self, body: Any) -> Any:
        """The answer less the secret."""
        return {**body, "secret": None} if "secret" in body else body


class OneToken(ReadView, UseCaseView):
    """One of your tokens."""

    shows = TokenShown
    reads_as = use_case = "own_tokens"
    method = "patch"
    body = TokenEdit
    answers = {200: TokenShown}

    def read(self, query: dict[str, Any]) -> Any:
        """Show a token."""
        return tokens.get(self.actor, self.kwargs["id"])

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Rename a token."""
        token = tokens.get(act.actor, self.kwargs["id"])
        return 200, tokens.rename(act, token, data.get("name", token.name))


class Revoke(UseCaseView):
    """A token's end."""

    use_case = "own_tokens"
    answers = {200: TokenShown}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Revoke a token immediately."""
        return 200, tokens.revoke(act, tokens.get(act.actor, self.kwargs["id"]))
