"""What all views of the API have: who asks, strict query parameters, private answers."""

from typing import Any, ClassVar, cast

from django.http import Http404, HttpResponse, HttpResponseBase
from django.utils.cache import patch_vary_headers
from django.utils.translation import gettext as _
from rest_framework.exceptions import NotAuthenticated
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.permissions import AllowAny, BasePermission, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from gearroom.core.acts import Actor, Invalid, actor_of
from gearroom.core.api.openapi.description import ViewSchema
from gearroom.core.api.requests.etags import etag, unchanged
from gearroom.core.api.requests.parsing import MAX_INTEGER
from gearroom.core.api.requests.serializers import QuerySerializer
from gearroom.core.api.requests.throttling import Quota
from gearroom.core.models import Token
from gearroom.core.rules.roles import ANYONE, USE_CASES
from gearroom.core.services.accounts.shared_devices import actor_at
from gearroom.core.setup.languages import speak


class AlwaysJSON(DefaultContentNegotiation):
    """The API has one form, whatever Accept says (RFC 9110 §12.5.1 allows it)."""

    def select_renderer(
        self, request: Request, renderers: Any, format_suffix: str | None = None
    ) -> tuple[Any, str]:
        """The first renderer."""
        return renderers[0], renderers[0].media_type


class View(APIView):
    """What all views have: the actor, strict query parameters, private answers."""

    public: ClassVar[bool] = False
    query: ClassVar[type[QuerySerializer] | None] = None
    shows: ClassVar[type[BaseSerializer[Any]] | None] = None
    problems: ClassVar[tuple[str, ...]] = ()
    """The codes of the problems that its write may answer with besides those that all may; those of
    the classes above it are added."""
    read_problems: ClassVar[tuple[str, ...]] = ()
    token_needs: ClassVar[str] = ""
    """The scopes that a token needs to write, where they are not just that of its use case."""
    schema: Any = ViewSchema()
    content_negotiation_class = AlwaysJSON
    quota: Quota | None = None
    """What is left of the rate limit, once this request was counted."""
    _actor: Actor | None = None

    @property
    def actor(self) -> Actor:
        """Who asks; raises NotAuthenticated on a public view when nobody is signed in."""
        if self._actor is None:
            raise NotAuthenticated
        return self._actor

    @classmethod
    def as_view(cls, **initkwargs: Any) -> Any:
        """The view; a missing slash is a 404 rather than a redirect that would lose the body."""
        view: Any = super().as_view(**initkwargs)
        view.should_append_slash = False
        return view

    @classmethod
    def particular_problems(cls, writes: bool) -> tuple[str, ...]:
        """The codes of the problems that are particular to its write, or to its read."""
        name = "problems" if writes else "read_problems"
        codes = (code for each in cls.__mro__ for code in each.__dict__.get(name, ()))
        return tuple(dict.fromkeys(codes))

    def get_permissions(self) -> list[BasePermission]:
        """Signed in, unless the view is public."""
        return [AllowAny() if self.public else IsAuthenticated()]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Before the method: who asks, and whether the address can name anything."""
        super().initial(request, *args, **kwargs)
        if any(isinstance(value, int) and value > MAX_INTEGER for value in kwargs.values()):
            raise Http404  # no row has such a number, and databases cannot even compare with it
        user: Any = request.user
        if request.auth:
            self._actor = actor_of(user, cast(Token, request.auth))
        elif user:
            self._actor = actor_at(user, request.session)
            speak(self.actor.person.language if self.actor.person else "")  # a page of ours asks

    def options(self, request: Any, *args: Any, **kwargs: Any) -> Response:
        """Which methods there are; the schema says the rest."""
        return Response(status=204)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """What is shown depends on who asks, so no shared cache may keep it."""
        response = super().finalize_response(request, response, *args, **kwargs)
        patch_vary_headers(response, ["Authorization", "Cookie"])
        response.headers.setdefault("Cache-Control", "private, no-cache")
        for name, value in self.quota.headers().items() if self.quota else ():
            response.headers[name] = value
        return response

    def require(self, use_case: str) -> None:
        """Raise NotAllowed unless whoever asks may do this somewhere; on a public view
        anybody may do what needs no role."""
        if self._actor is not None or USE_CASES[use_case].roles is not ANYONE:
            self.actor.require(use_case)

    def read_query(self, kind: type[QuerySerializer] | None) -> dict[str, Any]:
        """The query parameters as validated; unknown, repeated or wrong ones are a 400."""
        for name, values in self.request.query_params.lists():
            if len(values) > 1:
                raise Invalid(_("This parameter appears more than once."), field=name)
        serializer = (kind or QuerySerializer)(data=self.request.query_params.dict())
        serializer.is_valid(raise_exception=True)
        return dict(serializer.validated_data)

    def show(self, serializer: type[BaseSerializer[Any]], row: Any, many: bool = False) -> Any:
        """A result as whoever asks may see it, JSON-like."""
        return serializer(row, many=many, context={"actor": self._actor}).data

    def tagged(self, body: Any) -> HttpResponseBase:
        """What is shown, with the tag of all of it; 304 if the asker has it."""
        headers = {"ETag": etag(body)}
        if unchanged(self.request, headers["ETag"]):
            return HttpResponse(status=304, headers=headers)
        return Response(body, headers=headers)
