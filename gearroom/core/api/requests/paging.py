"""Pages by cursor: each row once, in order, at any depth, while rows are added and removed.

A cursor is the place of a row in the list: the values it is ordered by, signed for that list. A
page is what comes after (or before) that place, so that nothing shifts as an offset would.
"""

import json
from collections.abc import Sequence
from typing import Any

from django.core import signing
from django.db.models import Model, Q
from django.utils.translation import gettext as _
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.settings import api_settings
from rest_framework.utils.encoders import JSONEncoder
from rest_framework.utils.urls import replace_query_param

from gearroom.core.acts import Invalid


class CursorPages(BasePagination):
    """Pages of a list in the order of its view's `ordering`.

    The fields of `ordering` are never null and together tell rows apart. `?page_size=` says how
    many rows, 50 unless told; PageQuery has seen to its bounds.
    """

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        """The rows of the page that the query names; raises Invalid for a cursor not ours."""
        self._address = request.build_absolute_uri()
        self._ordering: Sequence[str] = view.ordering
        size = int(request.query_params.get("page_size") or api_settings.PAGE_SIZE or 0)
        backwards, place = self._read(request.query_params.get("cursor"))
        order = [_reversed_order(name) for name in self._ordering] if backwards else self._ordering
        rows = queryset.order_by(*order)
        if place is not None:
            rows = rows.filter(_rows_after(order, place))
        following = list(rows[: size + 1])
        more, page = len(following) > size, following[:size]
        if backwards:
            page.reverse()
        self._next = self._link(False, page, -1, more or backwards)
        self._previous = self._link(True, page, 0, more if backwards else place is not None)
        return page

    def whole(self, data: Any) -> dict[str, Any]:
        """The page with the addresses of its neighbours, the same as long as its rows are."""
        return {"next": self._next, "previous": self._previous, "results": data}

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        """That, for the OpenAPI schema."""
        link = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {"next": link, "previous": link, "results": schema},
        }

    def _link(self, backwards: bool, page: list[Any], index: int, there_is: bool) -> str | None:
        if not there_is or not page:
            return None
        place = [_value(page[index], name.lstrip("-")) for name in self._ordering]
        plain = json.loads(json.dumps([backwards, *place], cls=JSONEncoder))
        cursor = self._signer().sign_object(plain)
        return str(replace_query_param(self._address, "cursor", cursor))

    def _read(self, cursor: str | None) -> tuple[bool, list[Any] | None]:
        if cursor is None:
            return False, None
        try:
            backwards, *place = self._signer().unsign_object(cursor)
        except signing.BadSignature:
            raise Invalid(
                _(
                    "This cursor belongs to another list. Use the values of “next” and "
                    "“previous” unchanged."
                ),
                field="cursor",
            ) from None
        return backwards, place

    def _signer(self) -> signing.Signer:
        return signing.Signer(salt="cursor " + " ".join(self._ordering))


def _reversed_order(name: str) -> str:
    return name[1:] if name.startswith("-") else f"-{name}"


def _value(row: Model, name: str) -> Any:
    value: Any = row
    for part in name.split("__"):
        value = getattr(value, part)
    return value


def _rows_after(order: Sequence[str], place: Sequence[Any]) -> Q:
    """Rows that come after a place: greater by the first field that differs."""
    after = Q()
    for index, name in enumerate(order):
        same = {n.lstrip("-"): v for n, v in zip(order[:index], place, strict=False)}
        beyond = f"{name.lstrip('-')}__{'lt' if name.startswith('-') else 'gt'}"
        after |= Q(**same, **{beyond: place[index]})
    return after
