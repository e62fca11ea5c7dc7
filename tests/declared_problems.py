"""Tests find an API view that answers with a problem that it does not declare.

Views that name their particular problems (`problems`, `read_problems`) have to name all that they
may say against what is asked, since the schema shows those. Who may ask is another matter.
"""

import json
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest

from gearroom.core.api.openapi.problem_examples import COMMON
from gearroom.core.api.problems import MEDIA_TYPE


def declared_problems(get_response: Callable[[HttpRequest], Any]) -> Callable[[HttpRequest], Any]:
    """A middleware that raises where a view answers with another problem than those it names."""

    def respond(request: HttpRequest) -> Any:
        response = get_response(request)
        if response.status_code in (409, 422) and request.resolver_match:
            view = getattr(request.resolver_match.func, "cls", None)
            writes = request.method not in ("GET", "HEAD")
            particular: Any = getattr(view, "particular_problems", None)
            codes = particular(writes) if particular else ()
            if codes and response["Content-Type"] == MEDIA_TYPE:
                code = json.loads(response.content)["code"]
                assert code in {*codes, *COMMON}, f"{request.method} {request.path}: {code}"
        return response

    return respond
