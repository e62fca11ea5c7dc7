"""The small family of errors that services raise, each with the facts of what is wrong.

One handler turns them into RFC 9457 problem+json; pages show the same sentence. `code` is the
last part of the problem's type address and stays stable; `detail` says what to do next.
"""

from __future__ import annotations

from typing import Any, ClassVar

from django.utils.translation import gettext as _

from gearroom.core.problem_codes import NOUNS, title_of


class Problem(Exception):
    """Something that keeps a request from being carried out."""

    status: ClassVar[int] = 400

    def __init__(self, code: str, detail: str, **facts: Any) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.facts = facts


class Invalid(Problem):
    """The request itself is wrong; `errors` maps a field to its messages."""

    status = 400

    def __init__(
        self, detail: str, *, field: str = "", code: str = "invalid-request", **facts: Any
    ) -> None:
        if field:
            facts.setdefault("errors", {field: [detail]})
        super().__init__(code, detail, **facts)


class NotAllowed(Problem):
    """Somebody known asks for what their roles do not give them."""

    status = 403


class NotFound(Problem):
    """There is no such thing, or none that the asker may see."""

    status = 404

    def __init__(self, what: str, name: object = "", **facts: Any) -> None:
        named = f" {printable(str(name))}" if name != "" else ""
        super().__init__(
            "not-found",
            _("There is no %(what)s in your rooms. Check the name or scan its label.")
            % {"what": f"{NOUNS.get(what, what)}{named}"},
            **facts,
        )


class Refused(Problem):
    """A request that the book does not allow as things stand."""

    status = 409


class Stale(Problem):
    """The thing was changed since it was read."""

    status = 412


class TooLarge(Problem):
    """More than the limit, which the detail names."""

    status = 413


class TooOften(Problem):
    """Tried so often that it has to wait; the fact `retry_after` says how many seconds."""

    status = 429


class Unacceptable(Problem):
    """Understood, but what it says cannot be right."""

    status = 422


def beyond_form(problem: Problem) -> Problem:
    """The same of a request whose form was found right: what is wrong then is what it says."""
    if not isinstance(problem, Invalid) or problem.code != "invalid-request":
        return problem
    return Unacceptable("cannot-be-right", problem.detail, **problem.facts)


def printable(text: str) -> str:
    """At most 40 characters of somebody's text, fit to be shown in a message."""
    short = text if len(text) <= 40 else text[:39] + "…"
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in short)


def document(problem: Problem, instance: str = "") -> dict[str, Any]:
    """A problem as RFC 9457 has it: type, title, status, detail, instance, then the facts."""
    return {
        "type": f"/problems/{problem.code}/",
        "title": title_of(problem.code),
        "status": problem.status,
        "detail": problem.detail,
        **({"instance": instance} if instance else {}),
        "code": problem.code,
        **problem.facts,
    }
