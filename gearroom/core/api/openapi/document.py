"""The schema of the API, made once by each process and then only handed out.

What makes it keeps the view that it looks at on an object which all threads share, so that two at
once get in each other's way: it is made under a lock, at the first call.
"""

import hashlib
import threading
from functools import cache
from typing import Any, NamedTuple

from django.http import HttpResponse
from django.utils.translation import override
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer
from rest_framework.request import Request

from gearroom.core.api.any_view import View
from gearroom.core.api.requests.etags import unchanged

_LANGUAGE = "en-gb"  # one document for all, whoever happens to ask first
_lock = threading.Lock()


class Document(NamedTuple):
    """JSON in UTF-8 and its entity tag, with quotes."""

    content: bytes
    tag: str


def document() -> Document:
    """The OpenAPI document, the same for everybody as long as the process lives."""
    with _lock:
        return _make_document()


@cache
def _make_document() -> Document:
    with override(_LANGUAGE):
        described = SchemaGenerator().get_schema(request=None, public=True)
        content = OpenApiJsonRenderer().render(described, renderer_context={})
    return Document(content, f'"{hashlib.sha256(content).hexdigest()[:32]}"')


class Schema(View):
    """The OpenAPI document of this API."""

    public = True
    schema = None  # it does not describe itself
    authentication_classes = ()

    def get(self, request: Request, *args: Any, **kwargs: Any) -> HttpResponse:
        """As JSON, which is YAML too; 304 if the asker has it."""
        made = document()
        headers = {"ETag": made.tag, "Cache-Control": "public, no-cache"}
        if unchanged(request, made.tag):
            return HttpResponse(status=304, headers=headers)
        return HttpResponse(made.content, content_type="application/json", headers=headers)
