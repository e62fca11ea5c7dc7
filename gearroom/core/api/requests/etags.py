"""Entity tags (RFC 9110 §8.8.3), strong: made of what is shown, so that any change changes them."""

import hashlib
import json
from typing import Any

from django.http import HttpRequest
from django.utils.http import parse_etags
from django.utils.translation import gettext as _
from rest_framework.utils.encoders import JSONEncoder

from gearroom.core.acts import Stale, refuse_first


def etag(shown: Any) -> str:
    """The tag of a JSON-like representation, with its quotes."""
    text = json.dumps(shown, cls=JSONEncoder, sort_keys=True)
    return f'"{hashlib.sha256(text.encode()).hexdigest()[:32]}"'


def require_match(request: HttpRequest, shown: Any) -> None:
    """Raise Stale (412) if the request has an If-Match that this representation does not meet;
    nothing (None) meets none."""
    if (header := request.META.get("HTTP_IF_MATCH")) is None:
        return
    tags = parse_etags(header)
    refuse_first(
        (
            shown is None,
            Stale(
                "changed-since",
                _("This does not exist yet. To create it, send the request without If-Match."),
            ),
        ),
        (
            "*" not in tags and etag(shown) not in tags,
            Stale(
                "changed-since",
                _(
                    "This has been changed since you read it. Read it again and send your change "
                    "with the new ETag."
                ),
                current=etag(shown),
            ),
        ),
    )


def unchanged(request: HttpRequest, tag: str) -> bool:
    """Whether If-None-Match says that the asker has this already."""
    tags = parse_etags(request.META.get("HTTP_IF_NONE_MATCH", ""))
    return "*" in tags or tag in {t.removeprefix("W/") for t in tags}
