"""Every kind of notice: a row with its title, its text (with subject and page), and its policy.

A new kind is a row here, a text function in `texts` and its facts in `facts`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kits.models import Notice
from kits.rules.notices.policy import WEEKLY, Policy, When
from kits.services.notices.notice_text import NoticeText, name_of
from kits.services.notices.texts import kits, recalls, trips, upkeep


def _title_only(notice: Notice) -> NoticeText:
    return NoticeText(f"{title(notice.kind)}: {name_of(notice)}.")


_AT_ONCE = Policy()
_BREAKS_QUIET = Policy(keeps_quiet=False)
_IN_THE_WEEKLY = Policy(When.WEEKLY)


@dataclass(frozen=True)
class NoticeKind:
    """A kind of notice: what it is called on pages and in mails, what it says, and when."""

    title: str | Promise
    text: Callable[[Notice], NoticeText] = _title_only
    policy: Policy = _AT_ONCE


NOTICE_KINDS: dict[str, NoticeKind] = {
    WEEKLY: NoticeKind(_("The weekly email")),
    "recall": NoticeKind(
        _("A recall"), recalls.recall, Policy(may_choose=False, keeps_quiet=False)
    ),
    "medicine-missing": NoticeKind(_("A counted medicine is missing"), kits.medicine_missing),
    "must-have-gone": NoticeKind(
        _("A must-have is missing from a kit due out within 48 hours"),
        trips.not_ready,
        _BREAKS_QUIET,
    ),
    "not-fit": NoticeKind(_("A kit due out within 48 hours is not ready"), trips.not_ready),
    "emergency": NoticeKind(
        _("A kit was taken out for an emergency"), kits.emergency, _BREAKS_QUIET
    ),
    "went-short": NoticeKind(
        _("A kit was taken out although it was not ready, with a reason"), kits.went_short
    ),
    "cleared-by-phone": NoticeKind(
        _("Somebody said that you approved taking a kit by phone"),
        kits.cleared_by_phone,
        Policy(may_choose=False),
    ),
    "not-cleared": NoticeKind(
        _("A kit was taken out as approved by phone, but nobody had approved it"),
        kits.not_cleared,
        Policy(may_choose=False, keeps_quiet=False),
    ),
    "irregular": NoticeKind(_("Something that breaks the rules was reported"), kits.irregular),
    "lost": NoticeKind(_("A kit is lost"), kits.lost),
    "not-back": NoticeKind(_("A kit is not back"), trips.not_back),
    "not-covered": NoticeKind(
        _("A trip leaving within 48 hours does not have the kits it needs"), trips.not_covered
    ),
    "low-stock": NoticeKind(_("Stock is down to its order level"), upkeep.low_stock),
    "signature-ends": NoticeKind(
        _("The signature on a kit list is about to expire"), upkeep.signature_ends
    ),
    "address-refused": NoticeKind(_("Email to somebody was refused"), upkeep.address_refused),
    "webhook-stopped": NoticeKind(_("A webhook no longer gets anything"), upkeep.webhook_stopped),
    "something-wrong": NoticeKind(
        _("Somebody reported that something is wrong with a kit"),
        kits.something_wrong,
        _IN_THE_WEEKLY,
    ),
    "failed-check": NoticeKind(
        _("An instrument failed its check"), kits.failed_check, _IN_THE_WEEKLY
    ),
    "trip-moved": NoticeKind(
        _("A trip was moved or cancelled while its kits are out"), trips.trip_moved
    ),
    "leader-unknown": NoticeKind(
        _("Another system names a trip leader who is not known here"), trips.leader_unknown
    ),
    "calendar-events-gone": NoticeKind(
        _("A trip is no longer in the calendar that it comes from"), trips.calendar_events_gone
    ),
    "calendar-failing": NoticeKind(
        _("A calendar that trips come from cannot be read"), trips.calendar_failing
    ),
    "trip-changed": NoticeKind(
        _("A trip with reserved kits was changed"), trips.trip_changed, _IN_THE_WEEKLY
    ),
}


def kind_of(code: str) -> NoticeKind:
    """The kind of a code; one not listed is named by its code and sent at once."""
    return NOTICE_KINDS.get(code) or NoticeKind(code.replace("-", " ").capitalize())


def title(code: str) -> str:
    """The name of a kind."""
    return str(kind_of(code).title)


def when_sent(code: str, choices: Mapping[str, When]) -> When:
    """When somebody with these choices gets notices of a kind."""
    return kind_of(code).policy.when_sent(choices.get(code))
