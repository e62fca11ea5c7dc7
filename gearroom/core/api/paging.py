"""Pages by cursor: stable while rows are added, at any depth."""

from rest_framework.pagination import CursorPagination


class CursorPages(CursorPagination):
    """Newest first, 50 a page; `?page_size=` up to 200."""

    ordering = "-id"
    page_size_query_param = "page_size"
    max_page_size = 200
