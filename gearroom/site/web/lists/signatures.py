"""A signature that ends, extended by a link that needs no account; the page only asks."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from gearroom.core.acts import Problem
from gearroom.site.web.page import errors, show
from kits.services.lists import signatures


def by_link(request: HttpRequest, signature: str) -> HttpResponse:
    """Extend the signature of a kit list by a year, in the name of whom the link was sent to."""
    try:
        extension = signatures.by_link(signature)
        if request.method == "POST":
            signatures.extend(extension)
            return redirect(request.path)
    except Problem as problem:
        return errors.refusal(request, problem)
    template = "site/lists/extend_signature.html"
    return show(request, template, of=extension, version=extension.version)
