"""Pages by cursor: stable while rows are added, at any depth."""

from __future__ import annotations

from django.core import signing
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param

from gearroom.core.problems import Invalid


class CursorPages(CursorPagination):
    """Newest first, 50 a page; `?page_size=` up to 200.

    A cursor is signed for the list it came from: one made up or taken elsewhere is a 400.
    """

    ordering = "-id"
    page_size_query_param = "page_size"
    max_page_size = 200

    def decode_cursor(self, request: Request) -> Cursor | None:
        """The place that the query names; raises Invalid for one that is not ours."""
        text = request.query_params.get(self.cursor_query_param)
        if text is None:
            return None
        try:
            offset, reverse, position = signing.loads(text, salt=self._salt())
        except signing.BadSignature:
            raise Invalid(
                "This cursor is not of this list. Take “next” or “previous” as they were given.",
                field=self.cursor_query_param,
            ) from None
        return Cursor(offset=offset, reverse=reverse, position=position)

    def encode_cursor(self, cursor: Cursor) -> str:
        """The address of the page at a place."""
        text = signing.dumps([cursor.offset, cursor.reverse, cursor.position], salt=self._salt())
        return str(replace_query_param(self.base_url, self.cursor_query_param, text))

    def _salt(self) -> str:
        return "cursor " + " ".join(self.ordering)
