"""What keeps a page from being shown or an act from being done, as a sentence with what to do.

Below /api/ the same errors are problem+json (`gearroom.site.http.errors`).
"""

from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from gearroom.core.acts import OtherProblem, Problem, as_problem
from gearroom.core.database_failures import FAILURE_ERRORS
from kits.services.text.wording import moment


class Remembered(OtherProblem):
    """A problem as it was answered; one given again says so, and when that was by the clock of a
    time zone."""

    def __init__(self, document: dict[str, Any], time_zone: str) -> None:
        known = ("type", "title", "status", "detail", "instance", "code")
        facts = {name: value for name, value in document.items() if name not in known}
        detail = document["detail"]
        if facts.pop("to_ask_anew", None):
            first = datetime.fromisoformat(facts.pop("first_answered_at"))
            again = _(
                "This form was already submitted on %(when)s. To make another entry, "
                "reload the page."
            )
            detail += " " + again % {"when": moment(first, time_zone)}
        super().__init__(document["status"], document["code"], detail, **facts)


def refusal(request: HttpRequest, problem: Problem) -> HttpResponse:
    """A page that says what stands against it; a part of a page, where only that was asked for."""
    titles = {404: _("This was not found."), 403: _("You are not allowed to do this.")}
    if request.method not in ("GET", "HEAD"):
        otherwise = _("That didn’t work.")
    elif problem.status < 500:
        otherwise = _("This page cannot be shown.")
    else:
        otherwise = _("This cannot be shown at the moment.")
    return _page(request, problem.status, titles.get(problem.status, otherwise), problem.detail)


def database_failure(request: HttpRequest, problem: Problem) -> HttpResponse:
    """A page that says what keeps the database from doing its work."""
    try:
        return refusal(request, problem)
    except FAILURE_ERRORS:  # the page around it asks the database too
        return HttpResponse(
            f"{problem.detail}\n", status=problem.status, content_type="text/plain; charset=utf-8"
        )


def _page(request: HttpRequest, status: int, title: str, detail: str) -> HttpResponse:
    part = "HX-Request" in request.headers
    template = "site/page/refusal/refusal_part.html" if part else "site/page/refusal/refusal.html"
    return render(request, template, {"title": title, "detail": detail}, status=status)


# ------------------------------------------------------- where no view answers (`site.http.errors`)
def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """The request could not be read."""
    problem = as_problem(exception)
    detail = problem.detail if problem else _("The request could not be read.")
    # Not the shell: with a host name that is not ours nothing may be asked of the request.
    return HttpResponse(f"{detail}\n", status=400, content_type="text/plain; charset=utf-8")


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponse:
    """It is not allowed."""
    return _page(
        request,
        403,
        _("You are not allowed to do this."),
        _("Ask a keeper of the gear room, or go back."),
    )


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """There is no such page."""
    return _page(
        request,
        404,
        _("This page does not exist."),
        _("Check the address, scan the label again or go to the board."),
    )


def server_error(request: HttpRequest) -> HttpResponse:
    """Our mistake: a plain text, since what makes pages may be what failed."""
    return HttpResponse(
        _("Something went wrong, and nothing was changed. Go back and try again.") + "\n",
        status=500,
        content_type="text/plain; charset=utf-8",
    )


def form_too_old(request: HttpRequest) -> HttpResponse:
    """The page stood open for too long, or cookies are off."""
    return _page(
        request,
        403,
        _("This page has been open for too long."),
        _("Nothing was changed. Go back, reload the page and try again."),
    )
