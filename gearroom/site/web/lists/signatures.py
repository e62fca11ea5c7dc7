"""A signature that ends, extended by a link that needs no account; the page only asks."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from gearroom.core.acts.problems import Problem
from gearroom.site.web.page import errors
from kits.services.lists import signatures


def by_link(request: HttpRequest, said: str) -> HttpResponse:
    """Extend the signature of a kit list by a year, in the name of whom the link was sent to."""
    try:
        found = signatures.by_link(said)
        if request.method == "POST":
            signatures.extend(found)
            return redirect(request.path)
    except Problem as problem:
        return errors.refusal(request, problem)
    response = render(
        request, "site/lists/extend_signature.html", {"of": found, "version": found.version}
    )
    response.headers["Cache-Control"] = "private, no-store"
    return response
