"""What each kind of problem means, for people who follow the address in a problem's `type`."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from gearroom.core.problem_codes import KINDS
from gearroom.core.setup.languages import speak


@require_safe
def index(request: HttpRequest) -> HttpResponse:
    """All kinds."""
    return _page(request, kinds=sorted(KINDS.items()))


@require_safe
def detail(request: HttpRequest, code: str) -> HttpResponse:
    """One kind."""
    if code not in KINDS:
        raise Http404(code)
    return _page(request, kinds=[(code, KINDS[code])], one=code)


def _page(request: HttpRequest, **facts: object) -> HttpResponse:
    """In the language that the reader chose, else in their browser's."""
    speak(request.user.person.language if request.user.is_authenticated else "")
    return render(request, "core/problems.html", facts)
