"""What is answered where no view answers: below /api/ problem+json, elsewhere a page."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from gearroom.core.acts import Problem, as_problem, document
from gearroom.core.api import problems as api
from gearroom.site.web.page import errors as pages

Handler = Callable[..., HttpResponse]


def of_the_api(request: HttpRequest) -> bool:
    """Whether a request is for the API."""
    return request.path.startswith("/api/")


def refusal(
    request: HttpRequest, problem: Problem, page_of: Handler = pages.refusal
) -> HttpResponse:
    """The answer that says what is wrong."""
    if of_the_api(request):
        return api.respond(document(problem, request.path))
    return page_of(request, problem)


def database_failure(request: HttpRequest, error: Exception) -> HttpResponse | None:
    """The answer when the database cannot do its work; None for what is a mistake of ours."""
    problem = as_problem(error)
    return refusal(request, problem, pages.database_failure) if problem else None


def _by_address(of_api: Handler, of_page: Handler) -> Handler:
    def handler(request: HttpRequest, *args: object, **options: object) -> HttpResponse:
        return (of_api if of_the_api(request) else of_page)(request, *args, **options)

    return handler


# Django's handlers of these names, in `gearroom.urls`.
bad_request = _by_address(api.bad_request, pages.bad_request)
permission_denied = _by_address(api.permission_denied, pages.permission_denied)
page_not_found = _by_address(api.page_not_found, pages.page_not_found)
server_error = _by_address(api.server_error, pages.server_error)


def form_too_old(request: HttpRequest, reason: str = "") -> HttpResponse:
    """CSRF_FAILURE_VIEW: the page stood open for too long, or cookies are off."""
    if of_the_api(request):
        return api.permission_denied(request, PermissionError(reason))
    return pages.form_too_old(request)
