"""What notices of one kit say, and of an instrument or medicine on a shelf."""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from kits.models import Notice
from kits.services.notices.facts import (
    ClearedByPhone,
    FailedCheck,
    Lack,
    MedicineMissing,
    NotCleared,
    WentShort,
)
from kits.services.notices.notice_text import NoticeText, clearance_token, name_of, page
from kits.services.text import irregular_texts, wording


def medicine_missing(notice: Notice) -> NoticeText:
    """What is missing, and whom to call."""
    facts: MedicineMissing = notice.facts
    what = ", ".join(
        f"{units} × {name}" for name, units in sorted(facts.get("missing", {}).items())
    )
    text = (
        _(
            "MISSING: %(what)s, noticed when %(where)s was counted. Count again, then call the "
            "last person who had it."
        )
        if notice.entry is not None and notice.entry.person_id == notice.person_id
        else _(
            "MISSING: %(what)s, noticed when %(where)s was counted. Call the person who counted, "
            "then the last person who had it."
        )
    )
    where = name_of(notice)
    return NoticeText(
        text % {"what": what or _("a medicine"), "where": where},
        subject=_("A medicine is missing: %(where)s") % {"where": where},
    )


def irregular(notice: Notice) -> NoticeText:
    """Which rules a report broke."""
    codes = notice.entry.irregular if notice.entry else []
    text = _("%(kit)s, %(act)s: recorded as it happened, although it breaks the rules. %(why)s")
    facts = {
        "kit": name_of(notice),
        "act": wording.act(notice.entry.kind if notice.entry else ""),
        "why": " ".join(map(irregular_texts.irregular, codes)) or _("See the kit’s history."),
    }
    return NoticeText(text % facts)


def something_wrong(notice: Notice) -> NoticeText:
    """That somebody reported it."""
    return NoticeText(
        _(
            "%(kit)s: somebody reported that something is wrong with it. Look at the kit, "
            "then release it."
        )
        % {"kit": name_of(notice)}
    )


def emergency(notice: Notice) -> NoticeText:
    """That it was taken whatever its state."""
    kit = {"kit": name_of(notice)}
    return NoticeText(
        _("%(kit)s was taken out for an emergency, whether or not it was ready.") % kit,
        subject=_("%(kit)s was taken out for an emergency") % kit,
    )


def lost(notice: Notice) -> NoticeText:
    """That it cannot be found."""
    kit = {"kit": name_of(notice)}
    return NoticeText(
        _("%(kit)s cannot be found. Scanning it will record that it is back.") % kit,
        subject=_("%(kit)s is lost") % kit,
    )


def went_short(notice: Notice) -> NoticeText:
    """Why it was not ready, and the reason given."""
    facts: WentShort = notice.facts
    kit = {"kit": name_of(notice)}
    reason = notice.entry.detail.get("short_reason", "") if notice.entry else ""
    why = _("Reason given: %(reason)s") % {"reason": reason} if reason else ""
    return NoticeText(
        _("%(kit)s was taken out although it was not ready. Look at it when it is back.") % kit,
        [*lacks(facts["short"]), why],
        subject=_("%(kit)s was taken out although it was not ready") % kit,
    )


def cleared_by_phone(notice: Notice) -> NoticeText:
    """The question whether they cleared it."""
    facts: ClearedByPhone = notice.facts
    kit = {"kit": name_of(notice)}
    return NoticeText(
        _(
            "%(kit)s was taken out because somebody said that you had approved it by phone. "
            "Did you approve taking it?"
        )
        % kit,
        lacks(facts["reasons"]),
        subject=_("Did you approve taking out %(kit)s?") % kit,
        page=page(f"/cleared/{clearance_token(facts['clearance'])}/"),
    )


def not_cleared(notice: Notice) -> NoticeText:
    """Whom to call for it."""
    facts: NotCleared = notice.facts
    sentence = _(
        "%(kit)s was taken out as approved by phone, but the person named says they did not "
        "approve it."
    )
    do = _("Call the person who has the kit.")
    if facts.get("person_id") == notice.person_id:
        do = _("You have the kit: call its keepers.")
    elif facts.get("person"):
        do = _("Call %(name)s, %(phone)s.")
    names = {
        "kit": name_of(notice),
        "name": facts.get("person", ""),
        "phone": facts.get("phone") or _("no phone on record"),
    }
    return NoticeText(
        f"{sentence} {do}" % names,
        lacks(facts["reasons"]),
        subject=_("%(kit)s was taken out, but nobody approved it") % names,
    )


def failed_check(notice: Notice) -> NoticeText:
    """Which instrument, and where it is."""
    facts: FailedCheck = notice.facts
    names = {
        "thing": facts.get("thing", ""),
        "serial": facts.get("serial", ""),
        "where": name_of(notice),
    }
    return NoticeText(_("%(thing)s %(serial)s failed its check (%(where)s).") % names)


def lacks(reasons: Iterable[Lack]) -> list[str]:
    """What stood against a kit that went, in a few words each, from what was kept of it."""
    return [_lack(why) for why in reasons]


def _lack(why: Lack) -> str:
    if not why["thing"]:
        return irregular_texts.irregular(why["code"])
    if why["lacking"]:
        return _("short of %(lacking)d × %(thing)s") % why
    return _("no %(thing)s") % why
