"""What each kind of problem means, for people who follow the address in a problem's `type`."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from gearroom.core.problem_codes import KINDS


@require_safe
def index(request: HttpRequest) -> HttpResponse:
    """All kinds."""
    return render(request, "core/problems.html", {"kinds": sorted(KINDS.items())})


@require_safe
def detail(request: HttpRequest, code: str) -> HttpResponse:
    """One kind."""
    if code not in KINDS:
        raise Http404(code)
    return render(request, "core/problems.html", {"kinds": [(code, KINDS[code])], "one": code})
