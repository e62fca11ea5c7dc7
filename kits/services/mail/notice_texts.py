"""Notices as rows and letters: what each says (see `kits.services.notices.texts`), and by whom it
was reported."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from django.utils.translation import gettext as _

from gearroom.core.rules.grouping import grouped
from kits.models import Notice
from kits.rules.mail.plain_text import Letter, LetterRow
from kits.services.notices import first_few, kind_of, kit_page, name_of, page, title, zone_of
from kits.services.text.days import instant


def row(notice: Notice) -> LetterRow:
    """What a notice says, with the page that settles it."""
    text = kind_of(notice.kind).text(notice)
    lines = tuple(line for line in [*text.lines, *_report(notice)] if line)
    url = text.page or (kit_page(notice.kit.name) if notice.kit else "")
    return LetterRow(text.text, url, lines, tuple(text.verdicts))


def _report(notice: Notice) -> list[str]:
    """Who reported it, with a phone, and when; and why."""
    if (entry := notice.entry) is None:
        return []
    when = {"when": instant(entry.occurred_at.isoformat(), zone_of(notice))}
    if entry.person is None:
        return [_("Recorded %(when)s.") % when]
    if entry.person_id == notice.person_id:
        return [_("Reported by you, %(when)s.") % when, entry.reason]
    who = " ".join(filter(None, (entry.person.name, entry.person.phone)))
    return [_("%(who)s, %(when)s.") % {"who": who, **when}, entry.reason]


def rows(notices: Iterable[Notice]) -> tuple[LetterRow, ...]:
    """What notices say; those that say the same of the same kit in one row, with how many."""
    groups = grouped(
        ((notice.kind, notice.kit_id, own.text, own.url), own)
        for notice, own in ((notice, row(notice)) for notice in notices)
    )
    return tuple(map(_merged, groups.values()))


def _merged(same: Sequence[LetterRow]) -> LetterRow:
    first = same[0]
    if len(same) == 1:
        return first
    text = _("%(count)d times: %(what)s") % {"count": len(same), "what": first.text}
    lines = dict.fromkeys(line for each in (first, same[-1]) for line in each.lines)
    return replace(first, text=text, lines=tuple(lines))


def letter(notice: Notice, *others: Notice) -> Letter:
    """A notice that is sent at once, as a letter of its own; with others of its kind, where more
    came at the same time."""
    of_notices = rows((notice, *others))
    alarm = not kind_of(notice.kind).policy.keeps_quiet
    settings = page("/notices/settings/") or _("ask the gear room’s keeper")
    closing = _(
        "You are getting this now because it cannot wait until Monday. Choose your "
        "notifications here (recalls are always sent): %(page)s"
    )
    return Letter(
        subject=_subject_of_many((notice, *others)) if others else _subject(notice),
        alarms=of_notices if alarm else (),
        first=() if alarm else of_notices,
        closing=(closing % {"page": settings},),
    )


def _subject(notice: Notice) -> str:
    own = kind_of(notice.kind).text(notice).subject
    return own or ": ".join(filter(None, (title(notice.kind), name_of(notice))))


def _subject_of_many(notices: Sequence[Notice]) -> str:
    if notices[0].kind == "recall":
        things = dict.fromkeys(str(n.facts.get("thing", "")) for n in notices)
        return _("RECALL, %(thing)s: check and answer") % {"thing": first_few(things)}
    return _("%(title)s: %(count)d times, %(kits)s") % {
        "title": title(notices[0].kind),
        "count": len(notices),
        "kits": first_few(dict.fromkeys(filter(None, map(name_of, notices)))),
    }
