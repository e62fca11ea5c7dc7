'''Thin views that read a request strictly, call one service and serialise its result.

    class CheckOutBody(ActBody):                       # occurred_at, device_now, reason come along
        holder = serializers.IntegerField(min_value=1)
        through = serializers.DateField(required=False)

    class CheckOut(UseCaseView):
        use_case = "check_out"                         # of core.rules.roles.USE_CASES
        body = CheckOutBody
        answers = {201: CheckoutShown}                 # for the schema

        def perform(self, act, data):
            """Take a kit out."""
            return 201, custody.check_out(act, self.kit(), **data)

    class Checkouts(ListView):                         # many rows, cursor pages
        query = CheckoutQuery                          # a PageQuery
        shows = CheckoutShown
        filters = {"person": "person", "kit": named(find.kit, "kit")}

        def rows(self, query):
            """Who has what."""
            return checkouts_seen_by(self.actor)

What `read`, `rows` and `perform` return is serialised by the serializer that the class names for
it. One class may read and write: `class Kit(ReadView, UseCaseView)` with `method = "patch"`. A
write needs the header Idempotency-Key and goes through `once`; `perform` runs in its transaction,
raises Problems, and checks rooms in the service. PATCH and PUT take If-Match: the service asks
`act.match` under the row's lock (`gearroom.core.acts.rows.locked`), the view's `whole` says what
the tag is made of, and a view whose service did not ask does nothing. Roles are checked here
without a room: whoever has the role nowhere is refused here.
'''

import hashlib
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, ClassVar, TypeVar, cast

from django.core.files.uploadedfile import UploadedFile
from django.db.models import Model, Q, QuerySet
from django.http import HttpResponseBase
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer

from gearroom.core.acts import Act, Actor, Invalid, one, refuse_first
from gearroom.core.api.any_view import View
from gearroom.core.api.problems import as_problem, in_form, respond
from gearroom.core.api.requests.etags import etag, require_match
from gearroom.core.api.requests.paging import CursorPages
from gearroom.core.api.requests.serializers import UUID_FORM, ActBody, PageQuery
from gearroom.core.models import User
from gearroom.core.services.accounts import handed_over
from gearroom.core.services.idempotency import Answer, once

Row = TypeVar("Row", bound=Model)
Filter = str | Callable[[Actor, Any], Q]
"""The lookup that a query parameter is compared with, or what makes a condition of it."""


class ReadView(View):
    """GET of one thing, or of something worked out."""

    reads_as: ClassVar[str] = "look"

    def get(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Read the query, show; 304 if the asker has it."""
        self.require(self.reads_as)
        query = self.read_query(self.query)
        with in_form():
            result = self.read(query)
            if isinstance(result, HttpResponseBase):
                return result
            body = self.show(self.shows, result) if self.shows else result
        return self.tagged(body)

    def read(self, query: dict[str, Any]) -> Any:
        """What `shows` serialises, or a whole response; raises Problems."""
        raise NotImplementedError


class ListView(View):
    """GET of many rows, a page at a time."""

    many: ClassVar[bool] = True
    reads_as: ClassVar[str] = "look"
    query = PageQuery
    shows: ClassVar[type[BaseSerializer[Any]]]
    ordering: tuple[str, ...] = ("-id",)
    """Fields that together tell rows apart; the last one unique. A view whose order depends on what
    is asked sets them in `rows`."""
    filters: ClassVar[Mapping[str, Filter]] = {}
    """How the parameters of `query` narrow the rows."""
    pagination_class = CursorPages

    def get(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """One page; 304 if the asker has it."""
        self.require(self.reads_as)
        query = self.read_query(self.query)
        query.pop("cursor", None)
        query.pop("page_size", None)
        pages = self.pagination_class()
        with in_form():
            rows = self.rows(query)
            for name in filter(self.filters.get, query):
                by, value = self.filters[name], query[name]
                rows = rows.filter(Q((by, value)) if isinstance(by, str) else by(self.actor, value))
            page = self.whole_page(pages.paginate_queryset(rows, request, self))
        return self.tagged(pages.whole(self.show(self.shows, page, many=True)))

    def rows(self, query: dict[str, Any]) -> QuerySet[Any]:
        """The rows that whoever asks may see; `filters` and `ordering` are put on afterwards."""
        raise NotImplementedError

    def whole_page(self, page: list[Any]) -> Sequence[Any]:
        """The rows of a page with what is to be loaded or worked out for all of them together."""
        return page


class UseCaseView(View):
    """One use case behind one writing method: POST, unless `method` says patch or put."""

    method: ClassVar[str] = "post"
    use_case: ClassVar[str]
    body: ClassVar[type[ActBody]] = ActBody
    answers: ClassVar[Mapping[int, Any]] = {}
    key_header: ClassVar[bool] = True
    can_be_handed_over: ClassVar[bool] = False
    """Whether somebody else may send it for whoever did it (see `handed_over`)."""
    _matched = False
    _handed_over: handed_over.HandedOver | None = None

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        if "perform" in cls.__dict__:
            setattr(cls, cls.method, cls._write)

    def _write(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.require(self.use_case)
        self.read_query(None)
        content = dict(request.data)
        key = self.key(content)
        user = cast(User, request.user)
        if header := request.META.get("HTTP_GEARROOM_HANDED_OVER"):
            user = self._take_from(header, key, content)
        answer = once(
            key=key,
            user=user,
            request={
                "method": request.method,
                "path": request.path,
                "if-match": request.META.get("HTTP_IF_MATCH"),
                # What a device's clock shows while it sends is of the sending, not of the act.
                "body": {
                    name: _fingerprint(value)
                    for name, value in content.items()
                    if name != "device_now"
                },
            },
            perform=lambda: self._perform(key, content),
            instance=request.path,
            kept=self.kept,
        )
        return self._respond(answer)

    def _take_from(self, header: str, key: uuid.UUID, content: dict[str, Any]) -> User:
        """Go on as whoever handed this act over; whose it is."""
        handed = self._handed_over = handed_over.read(header)
        if not self.can_be_handed_over:
            raise handed_over.refused()
        self._actor = handed_over.actor_for(self.actor, handed, key, self.request.path, content)
        self.require(self.use_case)
        return cast(User, self._actor.user)

    def key(self, content: dict[str, Any]) -> uuid.UUID:
        """The key of this act: the header Idempotency-Key, bare or in quotes."""
        text = self.request.META.get("HTTP_IDEMPOTENCY_KEY", "").strip().strip('"')
        refuse_first(
            (
                not text,
                Invalid(
                    _(
                        "This request changes data, so it needs the header Idempotency-Key with a "
                        "new UUID, such as %(uuid4)s. When you repeat the same request, send the "
                        "same key."
                    )
                    % {"uuid4": uuid.uuid4()},
                    code="key-missing",
                ),
            ),
            (
                not UUID_FORM.fullmatch(text),
                Invalid(
                    _(
                        "Idempotency-Key must be a UUID, such as "
                        "123e4567-e89b-42d3-a456-426614174000."
                    ),
                    code="malformed-headers",
                ),
            ),
        )
        return uuid.UUID(text)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Do it: status, and what `answers` serialises for it; raises Problems."""
        raise NotImplementedError

    def kept(self, body: Any) -> Any:
        """What may be kept of an answer, for when it is asked for again; None for a question."""
        return body

    def whole(self, row: Any) -> Any:
        """What a GET serialises of a locked row: what its ETag is made of."""
        return row

    def whole_of(self, body: Any) -> Any:
        """The JSON of the same, out of an answer to a write."""
        return body

    def _match(self, row: Any) -> None:
        """Raise Stale (412) if If-Match names something else than what is there now."""
        self._matched = True
        if "HTTP_IF_MATCH" in self.request.META:
            shows = self.shows or self.answers[200]
            visible = self.show(shows, self.whole(row)) if row is not None else None
            require_match(self.request, visible)

    def _perform(self, key: uuid.UUID, content: dict[str, Any]) -> tuple[int, Any]:
        try:
            serializer = self.body(
                data=content, partial=self.method == "patch", context={"actor": self.actor}
            )
            serializer.is_valid(raise_exception=True)
            data = dict(serializer.validated_data)
            act = Act(
                actor=self.actor,
                key=key,
                claimed_at=data.pop("occurred_at", None),
                device_now=data.pop("device_now", None),
                reason=data.pop("reason", ""),
                match=self._match,
            )
            if self._handed_over is not None:
                act = replace(act, device_now=self._handed_over.device_now(act.received_at))
            with in_form():
                status, result = self.perform(act, data)
                shows = self.answers.get(status)
                body = self.show(shows, result) if shows else result
        except Exception as error:
            problem = as_problem(error)
            if problem is None or problem is error:
                raise
            raise problem from error
        if self.method != "post" and "HTTP_IF_MATCH" in self.request.META and not self._matched:
            raise RuntimeError(f"{type(self).__name__} did not look at If-Match")
        return status, body

    def _respond(self, answer: Answer) -> HttpResponseBase:
        if answer.status >= 400:
            response: HttpResponseBase = respond(answer.body)
        else:
            response = Response(answer.body, status=answer.status)
            if self.method != "post":
                response["ETag"] = etag(self.whole_of(answer.body))
        if answer.first_at is not None:
            response["Idempotency-Replayed"] = "true"
            response["Idempotency-First-Answered"] = answer.first_at.isoformat()
        return response


def one_of(rows: QuerySet[Row], what: str, pk: int) -> Row:
    """The row with this number; raises NotFound, which says what there is none of."""
    return one(rows.filter(pk=pk), what, pk)


def named(find: Callable[[Actor, str], Any], *lookups: str) -> Filter:
    """A filter for rows that have what the parameter names by any of these lookups."""

    def condition(actor: Actor, reference: str) -> Q:
        thing = find(actor, reference)
        return Q(*((lookup, thing) for lookup in lookups), _connector=Q.OR)

    return condition


def present(lookup: str) -> Filter:
    """A filter for rows where this is not null; with false, where it is."""
    return lambda actor, wanted: Q((f"{lookup}__isnull", not wanted))


def _fingerprint(value: Any) -> Any:
    """A value as the kept request has it: an uploaded file is its SHA-256."""
    if not isinstance(value, UploadedFile):
        return value
    digest = hashlib.sha256(b"".join(value.chunks())).hexdigest()
    value.seek(0)
    return {"sha256": digest}
