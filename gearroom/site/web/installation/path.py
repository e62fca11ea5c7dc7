"""The steps that set up an installation, each with the one before and after it."""

from dataclasses import dataclass

from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kits.models import Kit

PAGES: tuple[tuple[str, str | Promise], ...] = (
    ("installation", _("Name, time zone and language")),
    ("installation-address", _("Web address")),
    ("installation-mail", _("Email")),
    ("first-kit", _("The first kit")),
)


@dataclass(frozen=True)
class Neighbours:
    """The steps before and after one, each as an address and a title, or empty."""

    back: tuple[str, str]
    forward: tuple[str, str]


def neighbours(name: str) -> Neighbours | None:
    """What stands beside a step; None once a kit is in use."""
    if Kit.objects.filter(contents_entered=True).exists():
        return None
    at = [each for each, _title in PAGES].index(name)
    return Neighbours(_link(at - 1), _link(at + 1))


def _link(at: int) -> tuple[str, str]:
    if not 0 <= at < len(PAGES):
        return ("", "")
    name, title = PAGES[at]
    return (reverse(name), str(title))
