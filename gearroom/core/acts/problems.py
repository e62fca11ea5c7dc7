"""The small family of errors that services raise, each with the facts of what is wrong.

One handler turns them into RFC 9457 problem+json; pages show the same sentence. `code` is the
last part of the problem's type address and stays stable; `detail` says what to do next.
"""

from typing import Any

from django.utils.translation import gettext as _

from gearroom.core.problem_codes import LINKS, NOUNS, title_of


class Problem(Exception):
    """Something that keeps a request from being carried out."""

    status = 400

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


class PersonNeeded(NotAllowed):
    """A shared device does not know yet who stands before it."""


class PinNeeded(NotAllowed):
    """Somebody at a shared device has not confirmed yet that it is they."""


class NotFound(Problem):
    """There is no such thing, or none that the asker may see."""

    status = 404

    def __init__(self, what: str, name: object = "", **facts: Any) -> None:
        super().__init__("not-found", _not_there(what, name), **facts)


def _not_there(what: str, name: object) -> str:
    if what in LINKS:  # whoever opens one may have no account, and no gear room to look in
        return _(
            "This link is not valid, or no longer valid. Open it exactly as it was sent to you, or "
            "ask for a new one."
        )
    if what == "trip" and name != "":
        return _(
            "There is no trip %(name)s in your gear rooms. Check it; other programs write a trip "
            "with its source, such as bookings:B-1001."
        ) % {"name": printable(str(name))}
    named = f" {printable(str(name))}" if name != "" else ""
    return _("There is no %(what)s in your gear rooms. Check the name or scan the label.") % {
        "what": f"{NOUNS.get(what, what)}{named}"
    }


class Refused(Problem):
    """A request that the book does not allow as things stand."""

    status = 409


class AlreadyAnswered(Refused):
    """A question that takes one answer has it."""


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


def refuse_first(*problems: tuple[bool, Exception]) -> None:
    """Raise the first of these problems that there is, each with whether it is there."""
    for there, problem in problems:
        if there:
            raise problem


def beyond_form(problem: Problem) -> Problem:
    """The same of a request whose form was found right: what is wrong then is what it says."""
    if not isinstance(problem, Invalid) or problem.code != "invalid-request":
        return problem
    return Unacceptable("cannot-be-right", problem.detail, **problem.facts)


MOST_ERRORS = 20
"""Fields named in one problem, and messages to each: what is wrong is sent back, not repeated."""
LONGEST_ERROR = 300
LONGEST_FIELD = 100


def printable(text: str, most: int = 40) -> str:
    """At most so many characters of somebody's text, fit to be shown in a message."""
    short = _shortened(text, most)
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in short)


def _shortened(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def document(problem: Problem, instance: str = "") -> dict[str, Any]:
    """A problem as RFC 9457 has it: type, title, status, detail, instance, then the facts."""
    return {
        "type": f"/problems/{problem.code}/",
        "title": title_of(problem.code),
        "status": problem.status,
        "detail": problem.detail,
        **({"instance": instance} if instance else {}),
        "code": problem.code,
        **_capped(problem.facts),
    }


def _capped(facts: dict[str, Any]) -> dict[str, Any]:
    """The facts, of their errors at most so many; `errors_left_out` says how many there are more.

    What is wrong names what was sent, so that without a bound an answer would be as long as that.
    """
    errors = facts.get("errors")
    if not isinstance(errors, dict):
        return facts
    visible = {
        printable(str(field), LONGEST_FIELD): [
            _shortened(str(message), LONGEST_ERROR) for message in list(messages)[:MOST_ERRORS]
        ]
        for field, messages in list(errors.items())[:MOST_ERRORS]
    }
    left_out = max(0, len(errors) - MOST_ERRORS)
    return {**facts, "errors": visible, **({"errors_left_out": left_out} if left_out else {})}
