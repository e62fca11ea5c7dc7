"""What a notice says: a sentence, the page that settles it, and the facts behind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from kits.models import Notice
from kits.rules.mail.plain_text import Letter, Row
from kits.rules.notices.policy import kind_of
from kits.services.custody import clearances
from kits.services.lists import signatures
from kits.services.mail import overdue
from kits.services.mail.rendering import kit_page, page
from kits.services.notices.kinds import title
from kits.services.recalls import recall_notices
from kits.services.text import reason_texts, wording
from kits.services.text.days import instant
from kits.services.trips import notice_facts


def row(notice: Notice) -> Row:
    """What a notice says, with the page that settles it."""
    say = _SAYS.get(notice.kind)
    text, lines = say(notice) if say else (f"{title(notice.kind)}: {_kit(notice)}.", [])
    lines = [line for line in [*lines, *_entry(notice)] if line]
    return Row(text, _settles(notice), tuple(lines), tuple(notice_facts.stands(notice)))


def _settles(notice: Notice) -> str:
    """The page that settles it."""
    facts = notice.facts
    match notice.kind:
        case "cleared-by-phone":
            return page(f"/cleared/{clearances.token(facts['clearance'])}/")
        case "recall":
            return page(_one_of("/stock/recalls/", facts.get("recall")))
        case "not-fit" | "must-have-gone" if len(facts.get("kits", ())) > 1:
            return page(f"/trips/{facts['trip_id']}/")
        case "not-covered":
            return page(f"/trips/{facts['trip_id']}/")
        case "low-stock":
            things = facts["things"]
            return page(_one_of("/stock/", things[0]["item"] if len(things) == 1 else None))
        case "not-back":
            return overdue.settles(overdue.kits_of(notice))
        case "signature-ends":
            until = date.fromisoformat(facts["until"])
            return page(f"/sign/{signatures.token(facts['version'], notice.person_id, until)}/")
        case "address-refused":
            return page(_one_of("/people/", facts.get("person_id")))
    return kit_page(notice.kit.name) if notice.kit else ""


def _one_of(pages: str, number: int | None) -> str:
    return pages if number is None else f"{pages}{number}/"


def rows(notices: Iterable[Notice]) -> tuple[Row, ...]:
    """What notices say; those that say the same of the same kit in one row, with how many."""
    groups: dict[tuple[object, ...], list[Row]] = {}
    for notice in notices:
        said = row(notice)
        groups.setdefault((notice.kind, notice.kit_id, said.text, said.url), []).append(said)
    return tuple(map(_once, groups.values()))


def _once(same: Sequence[Row]) -> Row:
    first = same[0]
    if len(same) == 1:
        return first
    text = _("%(count)d times: %(what)s") % {"count": len(same), "what": first.text}
    lines = dict.fromkeys(line for each in (first, same[-1]) for line in each.lines)
    return replace(first, text=text, lines=tuple(lines))


def letter(notice: Notice, *others: Notice) -> Letter:
    """A notice that is told at once, as a letter of its own; with others of its kind, where more
    came at the same time."""
    said = rows((notice, *others))
    subject = _subject(notice) if not others else _subject_of((notice, *others))
    alarm = not kind_of(notice.kind).keeps_quiet
    return Letter(
        subject=subject,
        alarms=said if alarm else (),
        first=() if alarm else said,
        closing=(
            _("You get this at once because it does not wait for Monday. Choose your "
              "notifications here (recalls always come): %(page)s")
            % {"page": page("/notices/settings/") or _("ask your keeper")},
        ),
    )  # fmt: skip


def _subject_of(notices: Sequence[Notice]) -> str:
    if notices[0].kind == "recall":
        things = dict.fromkeys(str(n.facts.get("thing", "")) for n in notices)
        return _("RECALL, %(thing)s: look and answer") % {"thing": _few(list(things))}
    names = list(dict.fromkeys(filter(None, map(_kit, notices))))
    return _("%(title)s: %(count)d times, %(kits)s") % {
        "title": title(notices[0].kind), "count": len(notices), "kits": _few(names)
    }  # fmt: skip


def _few(names: Sequence[str]) -> str:
    """The first of some names, and how many more."""
    shown = ", ".join(names[:3])
    if names[3:]:
        return _("%(kits)s and %(count)d more") % {"kits": shown, "count": len(names[3:])}
    return shown


def _subject(notice: Notice) -> str:
    kind, facts = notice.kind, notice.facts
    name = _kit(notice)
    match kind:
        case "recall":
            if facts.get("again"):
                return _("RECALL, again: %(thing)s: look and answer") % {"thing": facts["thing"]}
            return _("RECALL, %(thing)s: look and answer") % {"thing": facts.get("thing", "")}
        case "medicine-missing":
            return _("A medicine is missing: %(where)s") % {"where": name}
        case "not-back":
            names = [str(kit["kit"]) for kit in overdue.kits_of(notice)]
            return _("Not back: %(kits)s") % {"kits": _few(names)}
        case "low-stock":
            names = [thing["thing"] for thing in facts["things"]]
            more = _(" and %(count)d more") % {"count": len(names) - 1} if names[1:] else ""
            return _("Order %(thing)s%(more)s") % {"thing": names[0], "more": more}
        case "emergency":
            return _("%(kit)s was taken out for an emergency") % {"kit": name}
        case "not-covered":
            return _("Not covered: %(trip)s") % {"trip": facts["trip"]}
        case "went-short":
            return _("%(kit)s went out short") % {"kit": name}
        case "cleared-by-phone":
            return _("Did you clear %(kit)s?") % {"kit": name}
        case "not-cleared":
            return _("%(kit)s went, and nobody cleared it") % {"kit": name}
        case "lost":
            return _("%(kit)s is lost") % {"kit": name}
        case "not-fit" | "must-have-gone":
            return notice_facts.subject(notice)
        case "signature-ends":
            return _("%(list)s: the signature ends on %(day)s") % {
                "list": facts["list"], "day": wording.day(date.fromisoformat(facts["until"]))
            }  # fmt: skip
        case "address-refused":
            return _("Email to %(name)s was refused") % {"name": facts.get("person", "")}
    return f"{title(kind)}: {name}" if name else title(kind)


def _kit(notice: Notice) -> str:
    if notice.kit is not None:
        return notice.kit.name
    return notice.room.name if notice.room else ""


def _zone(notice: Notice) -> str:
    room = notice.room or (notice.kit.home_room if notice.kit else None)
    return room.time_zone if room else "UTC"


def _entry(notice: Notice) -> list[str]:
    """Who reported it, with a phone, and when."""
    entry = notice.entry
    if entry is None:
        return []
    at = instant(entry.occurred_at.isoformat(), _zone(notice))
    if entry.person is None:
        return [_("Recorded %(when)s.") % {"when": at}]
    if entry.person_id == notice.person_id:
        said = [_("You reported it, %(when)s.") % {"when": at}]
        return [*said, entry.reason] if entry.reason else said
    who = " ".join(filter(None, (entry.person.name, entry.person.phone)))
    said = [_("%(who)s, %(when)s.") % {"who": who, "when": at}]
    return [*said, entry.reason] if entry.reason else said


Said = tuple[str, list[str]]


def _recall(notice: Notice) -> Said:
    kits = recall_notices.kits_of(notice)
    facts = {"rooms": [notice.room.name] if notice.room else [], "thing": "", **notice.facts}
    return recall_notices.sentence(facts, kits), [
        *recall_notices.lines(facts, kits, notice.person_id)
    ]


def _medicine(notice: Notice) -> Said:
    missing = notice.facts.get("missing", {})
    what = ", ".join(f"{units} × {name}" for name, units in sorted(missing.items()))
    text = _(
        "MISSING: %(what)s, counted in %(where)s. Call whoever counted, then whoever had it last."
    )
    if notice.entry is not None and notice.entry.person_id == notice.person_id:
        text = _(
            "MISSING: %(what)s, counted in %(where)s. Count again, then call whoever had it last."
        )
    return text % {"what": what or _("a medicine"), "where": _kit(notice)}, []


def _irregular(notice: Notice) -> Said:
    codes = notice.entry.irregular if notice.entry else []
    text = _("%(kit)s, %(act)s: recorded as it was, against the rules. %(why)s") % {
        "kit": _kit(notice),
        "act": wording.act(notice.entry.kind if notice.entry else ""),
        "why": " ".join(map(reason_texts.irregular, codes)) or _("See its history."),
    }
    return text, []


def _wrong(notice: Notice) -> Said:
    return _(
        "%(kit)s: somebody reported that something is wrong with it. Look, then release it."
    ) % {"kit": _kit(notice)}, []


def _emergency(notice: Notice) -> Said:
    return _("%(kit)s was taken out for an emergency, whatever its state.") % {
        "kit": _kit(notice)
    }, []


def lacks(reasons: Iterable[Mapping[str, Any]]) -> list[str]:
    """What stood against a kit that went, in a few words each, from what was kept of it."""
    said = []
    for why in reasons:
        if why["thing"] and why["lacking"]:
            said.append(_("short of %(lacking)d × %(thing)s") % why)
        elif why["thing"]:
            said.append(_("no %(thing)s") % why)
        else:
            said.append(reason_texts.irregular(why["code"]))
    return said


def _went_short(notice: Notice) -> Said:
    text = _("%(kit)s went out although it was short. Restock it when it is back.")
    reason = ""
    if notice.entry is not None:
        reason = notice.entry.detail.get("short_reason", "")
    why = _("The reason given: %(reason)s") % {"reason": reason} if reason else ""
    return text % {"kit": _kit(notice)}, [*lacks(notice.facts["short"]), why]


def _cleared(notice: Notice) -> Said:
    text = _("%(kit)s went out because you are named as having cleared it by phone. Did you?")
    return text % {"kit": _kit(notice)}, lacks(notice.facts["reasons"])


def _not_cleared(notice: Notice) -> Said:
    f = notice.facts
    says = _("%(kit)s went out as cleared by phone, and whoever was named says they did not.")
    do = _("Call whoever has it.")
    if f.get("person_id") == notice.person_id:
        do = _("You have it: call its keepers.")
    elif f.get("person"):
        do = _("Call %(name)s, %(phone)s.")
    facts = {
        "kit": _kit(notice),
        "name": f.get("person", ""),
        "phone": f.get("phone") or _("no phone on record"),
    }
    return f"{says} {do}" % facts, lacks(f["reasons"])


def _lost(notice: Notice) -> Said:
    return _("%(kit)s cannot be found. A scan of it will record that it is back.") % {
        "kit": _kit(notice)
    }, []


def _not_back(notice: Notice) -> Said:
    kits = overdue.kits_of(notice)
    return overdue.sentence(kits), [*overdue.lines(kits, _zone(notice))]


def _not_fit(notice: Notice) -> Said:
    return notice_facts.not_ready(notice, _zone(notice))


def _not_covered(notice: Notice) -> Said:
    return notice_facts.not_covered(notice, _zone(notice))


def _low(notice: Notice) -> Said:
    things = notice.facts["things"]
    room = notice.room.name if notice.room else ""
    lines = [
        _("%(thing)s: %(stock)d left, order level %(level)d; it takes %(lead_days)d days to come.")
        % thing
        for thing in things
    ]
    return _("%(room)s: down to the order level. Order now.") % {"room": room}, lines


def _signature(notice: Notice) -> Said:
    f = notice.facts
    text = ngettext(
        "The signature of %(list)s, version %(number)d, ends on %(day)s; %(kits)d kit follows it.",
        "The signature of %(list)s, version %(number)d, ends on %(day)s; %(kits)d kits follow it.",
        f["kits"],
    ) % {**f, "day": wording.day(date.fromisoformat(f["until"]))}
    return text, [_("Extend it by a year in one tap on the page below, or sign a new version.")]


def _check(notice: Notice) -> Said:
    f = notice.facts
    text = _("%(thing)s %(serial)s failed its check (%(where)s).")
    return text % {"thing": f.get("thing", ""), "serial": f.get("serial", ""),
                   "where": _kit(notice)}, []  # fmt: skip


def _trip(notice: Notice) -> Said:
    f = notice.facts
    lines = [
        _("%(kit)s is also reserved for %(trip)s.") % {"kit": c["kit"], "trip": c["trip"]}
        for c in f.get("clashes", ())
    ]
    if f.get("what") == "cancelled":
        kits = ", ".join(f.get("released", ())) or _kit(notice)
        return _("%(trip)s was cancelled. Free again: %(kits)s.") % {
            "trip": f.get("trip", ""), "kits": kits
        }, []  # fmt: skip
    return _("%(trip)s was changed; %(kit)s is reserved for it (%(what)s).") % {
        "trip": f.get("trip", ""), "kit": _kit(notice), "what": f.get("what", "")
    }, lines  # fmt: skip


def _refused(notice: Notice) -> Said:
    f = notice.facts
    text = _("Email to %(name)s at %(address)s was refused for good: %(said)s. Correct the "
             "address; until then they get nothing.") % {
        "name": f.get("person", ""), "address": f.get("address", ""), "said": f.get("said", "")
    }  # fmt: skip
    ring = _("Call them: %(phone)s.") % {"phone": f["phone"]} if f.get("phone") else ""
    return text, [ring]


_SAYS: dict[str, Callable[[Notice], Said]] = {
    "recall": _recall,
    "medicine-missing": _medicine,
    "irregular": _irregular,
    "something-wrong": _wrong,
    "emergency": _emergency,
    "went-short": _went_short,
    "cleared-by-phone": _cleared,
    "not-cleared": _not_cleared,
    "lost": _lost,
    "not-back": _not_back,
    "not-fit": _not_fit,
    "must-have-gone": _not_fit,
    "not-covered": _not_covered,
    "low-stock": _low,
    "signature-ends": _signature,
    "failed-check": _check,
    "trip-changed": _trip,
    "address-refused": _refused,
}
