"""What the kinds of notices are called on pages and in mails."""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kits.rules.notices.policy import WEEKLY

_TITLES: dict[str, str | Promise] = {
    WEEKLY: _("The weekly email"),
    "recall": _("A recall"),
    "medicine-missing": _("A counted medicine is missing"),
    "must-have-gone": _("A must-have is gone from a kit that goes out within 48 hours"),
    "not-fit": _("A kit that goes out within 48 hours is not ready"),
    "emergency": _("A kit was taken out for an emergency"),
    "went-short": _("A kit went out short, with a reason"),
    "cleared-by-phone": _("Somebody named you as having cleared a kit by phone"),
    "not-cleared": _("A kit went as cleared by phone, and was not"),
    "irregular": _("Something was reported against the rules"),
    "lost": _("A kit is lost"),
    "not-back": _("A kit is not back"),
    "not-covered": _("A trip that leaves within 48 hours is not covered"),
    "low-stock": _("Stock is down to its order level"),
    "signature-ends": _("The signature of a kit list ends"),
    "address-refused": _("Email to somebody was refused"),
    "something-wrong": _("Somebody reported that something is wrong with a kit"),
    "failed-check": _("An instrument failed its check"),
    "trip-changed": _("A trip with kits was changed"),
}


def title(code: str) -> str:
    """The name of a kind; a kind that is not listed is named by its code."""
    return str(_TITLES.get(code) or code.replace("-", " ").capitalize())
