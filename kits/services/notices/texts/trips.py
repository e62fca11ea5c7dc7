"""What is said of a trip that is not covered (its kits, how each stood for it, who has it) or was
changed, and of kits past due."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import cast

from django.utils import formats
from django.utils.translation import gettext as _, ngettext, pgettext

from gearroom.core.rules.grouping import grouped
from kits.models import Notice
from kits.rules.mail.plain_text import VerdictLine
from kits.services.notices.facts import (
    CalendarEventsGone,
    CalendarFailing,
    Holder,
    KitOfTrip,
    LeaderUnknown,
    OverdueKit,
    TripChanged,
    TripMoved,
    TripNotCovered,
)
from kits.services.notices.notice_text import (
    NoticeText,
    first_few,
    kit_page,
    name_of,
    page,
    zone_of,
)
from kits.services.text import trip_calendar_texts, verdict_texts
from kits.services.text.days import instant
from kits.services.text.wording import moment


def not_ready(notice: Notice) -> NoticeText:
    """Which kits for which trip, and what stands against each."""
    trip: TripNotCovered = notice.facts
    kits = _kits_of(notice)
    zone = zone_of(notice)
    facts = {
        "kit": ", ".join(kit["kit"] for kit in kits),
        "trip": trip["trip"],
        "when": instant(trip["departs_at"], zone),
    }
    text = (
        _("%(trip)s leaves %(when)s, but these kits reserved for it are not ready: %(kit)s.")
        if len(kits) > 1
        else _("%(kit)s is reserved for %(trip)s, which leaves %(when)s.")
    )
    lines = [
        f"{kit['kit']}: {line}" if len(kits) > 1 else line
        for kit in kits
        for line in (*_still_out(kit.get("out"), zone, notice.person_id), *kit["reasons"])
    ]
    return NoticeText(
        text % facts,
        lines,
        subject=_subject(notice, kits),
        page=page(f"/trips/{trip['trip_id']}/") if len(kits) > 1 else "",
        verdicts=[_verdict(kit, trip) for kit in kits if "verdict_text" in kit],
    )


def _kits_of(notice: Notice) -> list[KitOfTrip]:
    """The kits that a notice names; of one written when each kit had its own, that."""
    facts = notice.facts
    if "kits" in facts or notice.kit is None or "departs_at" not in facts:
        return list(facts.get("kits", ()))
    expiry = notice.kit.first_expiry
    old = {
        "kit": notice.kit.name,
        "first_expiry": expiry.isoformat() if expiry else None,
        "reasons": [],
        **facts,
    }
    return [cast(KitOfTrip, old)]


def _subject(notice: Notice, kits: list[KitOfTrip]) -> str:
    """Which kit for which trip, and how it stands; of several, which."""
    facts = {
        "kit": ", ".join(kit["kit"] for kit in kits) or (notice.kit or ""),
        "trip": notice.facts.get("trip", _("its trip")),
    }
    if len(kits) > 1:
        return _("%(trip)s: %(kit)s are not ready") % facts
    return _("%(kit)s for %(trip)s: %(how)s") % {**facts, "how": _how(kits[0] if kits else {})}


def _how(kit: KitOfTrip) -> str:
    """How a kit stands for its trip, in a few words: its verdict, or that somebody has it."""
    if "out" in kit and not kit["reasons"]:
        return _("still out")
    return kit.get("verdict_text") or _("needs checking")


def _verdict(kit: KitOfTrip, trip: TripNotCovered) -> VerdictLine:
    """How a kit stood for the trip when this was written."""
    through = date.fromisoformat(kit["through"])
    expiry = kit["first_expiry"]
    return VerdictLine(
        text=kit["verdict_text"],
        judged=_("status for %(day)s, %(trip)s")
        % {
            "day": formats.date_format(through, pgettext("date format", "D j F")),
            "trip": trip["trip"],
        },
        beside=verdict_texts.first_expiry(date.fromisoformat(expiry) if expiry else None),
        kit=kit["kit"],
        through=kit["through"],
        trip=str(trip["trip_id"]),
        verdict=kit["verdict"],
    )


def _still_out(out: Holder | None, zone: str, reader: int) -> Iterator[str]:
    """Who has a kit that is wanted for another trip."""
    if out is None:
        return
    who = {
        "name": out["person"] or _("an unnamed person"),
        "phone": out["phone"] or _("no phone on record"),
        "when": instant(out["due_at"], zone) if out["due_at"] else "",
    }
    if out.get("person_id") == reader:
        yield _("You have the kit. Bring it back in time for sorting.")
    elif not out["due_at"]:
        yield _("The kit is out: %(name)s has it (%(phone)s), with no return time set.") % who
    else:
        yield _("The kit is out: %(name)s has it (%(phone)s), due back %(when)s.") % who


def not_covered(notice: Notice) -> NoticeText:
    """A trip without a kit, or whose kits went and are not enough together."""
    trip: TripNotCovered = notice.facts
    facts = {"trip": trip["trip"], "when": instant(trip["departs_at"], zone_of(notice))}
    text = (
        _("%(trip)s leaves %(when)s, but the kits taken out for it are not enough, even together.")
        if trip["reasons"]
        else _("%(trip)s leaves %(when)s, but no kit is reserved for it.")
    )
    return NoticeText(
        text % facts,
        trip["reasons"],
        subject=_("Not enough kits: %(trip)s") % facts,
        page=page(f"/trips/{trip['trip_id']}/"),
    )


def trip_changed(notice: Notice) -> NoticeText:
    """What of a trip was changed, for the kit reserved for it; or which kits it gave free."""
    changed: TripChanged = notice.facts
    trip, kit = changed.get("trip", ""), name_of(notice)
    if changed.get("what") == "cancelled":
        kits = ", ".join(changed.get("released", ())) or kit
        text = _("%(trip)s has been cancelled. Available again: %(kits)s.")
        return NoticeText(text % {"trip": trip, "kits": kits})
    text = _("%(trip)s has been changed; %(kit)s is reserved for it.")
    also = _("%(kit)s is also reserved for %(trip)s.")
    unfit = _("%(kit)s, for this trip now: %(verdict_text)s")
    return NoticeText(
        text % {"trip": trip, "kit": kit},
        [
            *(also % clash for clash in changed.get("clashes", ())),
            *(unfit % each for each in changed.get("unfit", ())),
            *changed.get("lacking", ()),
        ],
    )


def trip_moved(notice: Notice) -> NoticeText:
    """That a trip was moved or cancelled, and when the kits that are out on it are due."""
    moved: TripMoved = notice.facts
    zone = zone_of(notice)
    facts = {
        "trip": moved["trip"],
        "departs": instant(moved["departs_at"], zone),
        "returns": instant(moved["returns_at"], zone),
    }
    text = (
        _("%(trip)s has been cancelled, but these kits are out on it. Have them handed back.")
        if moved["what"] == "cancelled"
        else _(
            "%(trip)s has been moved while these kits are out on it: %(departs)s to %(returns)s."
        )
    )
    due, no_time = _("%(kit)s: due back %(when)s."), _("%(kit)s: no return time set.")
    return NoticeText(
        text % facts,
        [
            due % {"kit": kit["kit"], "when": instant(kit["due_at"], zone)}
            if kit["due_at"]
            else no_time % kit
            for kit in moved["kits"]
        ],
        page=page(f"/trips/{moved['trip_id']}/"),
    )


def leader_unknown(notice: Notice) -> NoticeText:
    """Whom another system names as a trip's leader, and where to say who that is."""
    unknown: LeaderUnknown = notice.facts
    facts = {
        "trip": unknown["trip"],
        "who": " ".join(filter(None, (unknown["leader_name"], f"({unknown['leader_email']})"))),
    }
    return NoticeText(
        _("The leader of %(trip)s is not known here: %(who)s.") % facts,
        [_("On the page below you can say who it is. This is then remembered for that address.")],
        page=page(f"/trips/{unknown['trip_id']}/#leader"),
    )


def calendar_events_gone(notice: Notice) -> NoticeText:
    """Which trips are no longer in their calendar, and where to say what is to become of them."""
    gone: CalendarEventsGone = notice.facts
    text = ngettext(
        "A trip is no longer in the calendar “%(calendar)s”: %(trips)s. It has not been cancelled.",
        "Trips are no longer in the calendar “%(calendar)s”: %(trips)s. They have not been "
        "cancelled.",
        len(gone["trips"]),
    )
    return NoticeText(
        text % {"calendar": gone["calendar"], "trips": ", ".join(gone["trips"])},
        [_("On the page below you can cancel or keep each trip.")],
        page=page("/trips/calendars/"),
    )


def calendar_failing(notice: Notice) -> NoticeText:
    """Which calendar cannot be read, and why."""
    failing: CalendarFailing = notice.facts
    return NoticeText(
        _("The calendar “%(calendar)s” cannot be read: %(why)s")
        % {"calendar": failing["calendar"], "why": trip_calendar_texts.failure(failing["failure"])},
        [_("Its trips stay as they are until it can be read again.")],
        page=page(f"/trips/calendars/{failing['calendar_id']}/"),
    )


# --------------------------------------------------------------------------------------- past due
def not_back(notice: Notice) -> NoticeText:
    """Which kits are not back, when each was due and whom to call for it."""
    kits = _overdue_kits(notice)
    subject = _("Not back: %(kits)s") % {"kits": first_few(kit["kit"] for kit in kits)}
    return NoticeText(
        _sentence(kits), [*_lines(kits, zone_of(notice))], subject=subject, page=_page(kits)
    )


def _overdue_kits(notice: Notice) -> list[OverdueKit]:
    """The kits that a notice names; of one written when each kit had its own, that."""
    if "kits" in notice.facts or notice.kit is None:
        return list(notice.facts.get("kits", ()))
    name = notice.kit.name
    old = {"kit": name, "page": name, "trip": None, "trip_name": "", **notice.facts}
    return [cast(OverdueKit, old)]


def _sentence(kits: Sequence[OverdueKit]) -> str:
    """What is not back: the reader's own first."""
    own = [kit["kit"] for kit in kits if kit.get("yours")]
    others = [kit["kit"] for kit in kits if not kit.get("yours")]
    of_own = ngettext(
        "You have %(kits)s, which is overdue. Hand it back, or enter a new return time.",
        "You have %(kits)s, which are overdue. Hand them back, or enter a new return time.",
        len(own),
    )
    of_others = ngettext("%(kits)s is not back.", "%(kits)s are not back.", len(others))
    return " ".join(
        text % {"kits": ", ".join(names)}
        for text, names in ((of_own, own), (of_others, others))
        if names
    )


def _lines(kits: Sequence[OverdueKit], zone: str) -> Iterator[str]:
    """When each was due and whom to call for it, what this is not about, and how to put it off."""
    for due, names in grouped((_due(kit, zone), kit["kit"]) for kit in kits).items():
        yield f"{', '.join(names)}: {due}"
    yield ngettext(
        "This concerns only the kit; it does not show whether the group is safe.",
        "This concerns only the kits; it does not show whether the group is safe.",
        len(kits),
    )
    if _trip(kits) is not None:
        yield _(
            "Delayed? On the page below you can set a later return time for all the trip’s kits."
        )


def _due(kit: OverdueKit, zone: str) -> str:
    facts = {
        "when": moment(datetime.fromisoformat(kit["due_at"] or ""), zone),
        "name": kit.get("person") or _("an unnamed person"),
        "phone": kit.get("phone") or _("no phone on record"),
    }
    text = (
        _("due back %(when)s")
        if kit.get("yours")
        else _("due back %(when)s, %(name)s has it (%(phone)s)")
    )
    trip = f", {kit['trip_name']}" if kit.get("trip_name") else ""
    return f"{text % facts}{trip}."


def _trip(kits: Sequence[OverdueKit]) -> int | None:
    """The trip that all of these kits are out on, by its id."""
    trips = {kit.get("trip") for kit in kits}
    return trips.pop() if len(trips) == 1 else None


def _page(kits: Sequence[OverdueKit]) -> str:
    """Where they are put off or handed in: of one kit its own page, of a trip's the trip's."""
    pages = {kit["page"] for kit in kits}
    trip = _trip(kits)
    if len(pages) == 1:
        there, at = kit_page(pages.pop()), "#due"
    elif trip is not None:
        there, at = page(f"/trips/{trip}/"), "#later"
    else:
        there, at = page("/"), ""
    return f"{there}{at}" if there else ""
