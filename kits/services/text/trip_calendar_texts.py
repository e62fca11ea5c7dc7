"""Why a calendar that trips come from could not be read."""

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core.outbound import FAILURE_TEXTS, Failure

UNREADABLE, EMPTY, NO_ADDRESS = "unreadable", "calendar-empty", "no-address"
LASTING: dict[str, Promise] = {
    UNREADABLE: _lazy("What is at its address is not a calendar, or only part of one."),
    EMPTY: _lazy("Its calendar has no events at all any more."),
    NO_ADDRESS: _lazy("SECRET_KEY has changed. Enter the address again."),
}
"""What does not get better by waiting."""


def failure(code: str) -> str:
    """Why a calendar could not be read, by its code."""
    if code.startswith("status-"):
        return _("Its server answered with HTTP %(status)s.") % {"status": code[7:]}
    if code in LASTING:
        return str(LASTING[code])
    return str(FAILURE_TEXTS[Failure(code)]) if code else ""
