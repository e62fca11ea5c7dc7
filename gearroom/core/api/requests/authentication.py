"""Who is asking: a program with a token, or somebody signed in on the pages.

The views make of either the actor, with roles by room and the token's scopes.
"""

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework import authentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from gearroom.core.models import Token, User
from gearroom.core.services.accounts import tokens


class TokenAuthentication(authentication.BaseAuthentication):
    """`Authorization: Bearer gr_…` (RFC 6750)."""

    def authenticate(self, request: Request) -> tuple[User, Token] | None:
        """The token's user; None without such a header; 401 with a token that is not valid."""
        scheme, _, secret = authentication.get_authorization_header(request).partition(b" ")
        if scheme.lower() != b"bearer":
            return None
        if (token := tokens.by_secret(secret.strip().decode("latin-1"))) is None:
            raise AuthenticationFailed(code="token-refused")
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        """What a 401 says in WWW-Authenticate."""
        refused = request.META.get("HTTP_AUTHORIZATION", "").lower().startswith("bearer")
        return 'Bearer realm="gearroom"' + (', error="invalid_token"' if refused else "")


class SessionAuthentication(authentication.SessionAuthentication):
    """Somebody signed in on the pages; writes need the CSRF token as well."""


class TokenScheme(OpenApiAuthenticationExtension):
    """How the schema describes tokens."""

    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        """An HTTP bearer scheme."""
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A token created on the pages, at /api/v1/tokens/ or with `manage.py"
            " issue_token USERNAME`. It may do no more than whoever it is of, and of that what its"
            " scopes allow: `read`: read; `custody`: take out, hand back and swap kits, record use;"
            " `stock`: restock kits; count, receive and dispose of items; `lists`: edit kits, items"
            " and kit lists; `labels`: create and print labels; `people`: add and edit people;"
            " `trips`: trips and reservations; `admin`: gear rooms, tokens, webhooks, resending"
            " notifications. Where one is missing, the answer is a 403 that names it.",
        }


class SessionScheme(OpenApiAuthenticationExtension):
    """How the schema describes the pages' session."""

    target_class = SessionAuthentication
    name = "session"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        """The session cookie."""
        return {
            "type": "apiKey",
            "in": "cookie",
            "name": "sessionid",
            "description": "The login on the pages; requests that change data must also send"
            " the header X-CSRFToken.",
        }
