"""The problem that an exception of Django or of the database stands for."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.exceptions import (
    DisallowedHost,
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
    ValidationError,
)
from django.http import Http404, UnreadablePostError
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts.problems import Invalid, NotAllowed, Problem, TooLarge
from gearroom.core.database_failures import FAILURE_ERRORS, Failure, failure_of, log_failure


class OtherProblem(Problem):
    """A problem whose status comes from elsewhere."""

    def __init__(self, status: int, code: str, detail: str, **facts: Any) -> None:
        super().__init__(code, detail, **facts)
        self.status = status


def as_problem(error: Exception) -> Problem | None:
    """The problem that an exception stands for; None where it is a mistake of ours."""
    match error:
        case Problem():
            return error
        case ValidationError():
            fields = getattr(error, "error_dict", None)
            errors = error.message_dict if fields else {"": error.messages}
            return Invalid(_("Something is wrong: see “errors”."), errors=errors)
        case PermissionDenied():
            return NotAllowed("not-allowed", _("This is not allowed."))
        case Http404():
            return nothing_here()
        case RequestDataTooBig():
            return TooLarge("too-large", _("The request body is too large."))
        case DisallowedHost():
            return Invalid(
                _(
                    "This server does not accept requests for this host name. The person who "
                    "runs it can add the name to GEARROOM_ALLOWED_HOSTS."
                ),
                code="unknown-host",
            )
        case SuspiciousOperation() | UnreadablePostError():
            return Invalid(_("The request could not be read."), code="malformed-body")
    return _database_problem(error)


def nothing_here() -> Problem:
    """There is nothing at an address."""
    return OtherProblem(
        404, "not-found", _("There is nothing at this address. Check that it ends with a slash.")
    )


def _database_problem(error: Exception) -> Problem | None:
    """What keeps the database from doing its work; its cause is logged."""
    if (failure := failure_of(error)) is None:
        return None
    log_failure(failure, error)
    status, retry_after, sentence = _FAILURES[failure]
    return OtherProblem(status, failure, str(sentence), retry_after=retry_after)


_FAILURES = {
    Failure.BUSY: (
        503,
        5,
        gettext_lazy("Gearroom is busy. Nothing was changed. Try again in a few seconds."),
    ),
    Failure.STORAGE_FULL: (
        507,
        60,
        gettext_lazy(
            "The storage is full: nothing was saved, and nothing can be saved until the "
            "person who runs this server frees up space on its disk. You can still read "
            "everything."
        ),
    ),
    Failure.READ_ONLY: (
        503,
        60,
        gettext_lazy(
            "Everything is read-only at the moment, so nothing was changed. Tell the "
            "person who runs this server, and try again later."
        ),
    ),
    Failure.NO_DATABASE: (
        503,
        60,
        gettext_lazy(
            "The database is not responding. Try again in a minute: nothing is done twice. "
            "If this continues, tell the person who runs this server."
        ),
    ),
}
"""Of each failure the status, after how many seconds to try again, and what to do."""


@contextmanager
def database_problems() -> Iterator[None]:
    """Raise as a Problem whatever keeps the database from doing what is in the block, so that a
    form can be shown again with all that was typed."""
    try:
        yield
    except FAILURE_ERRORS as error:
        if (problem := as_problem(error)) is None:
            raise
        raise problem from error
