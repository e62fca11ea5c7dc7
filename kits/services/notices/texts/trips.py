"""What is said of a trip that is not covered (its kits, how each stood for it, who has it) or was
changed."""

from collections.abc import Iterator
from datetime import date
from typing import cast

from django.utils import formats
from django.utils.translation import gettext as _, pgettext

from kits.models import Notice
from kits.rules.mail.plain_text import VerdictLine
from kits.services.notices.facts import Holder, KitOfTrip, TripChanged, TripNotCovered
from kits.services.notices.notice_text import NoticeText, name_of, page, zone_of
from kits.services.text import verdict_texts
from kits.services.text.days import instant


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
        judged=_("checked for %(day)s, %(trip)s")
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
        yield _("It is out: %(name)s has it (%(phone)s), with no due time.") % who
    else:
        yield _("It is out: %(name)s has it (%(phone)s), due back %(when)s.") % who


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
    trip, what, kit = changed.get("trip", ""), changed.get("what", ""), name_of(notice)
    if what == "cancelled":
        kits = ", ".join(changed.get("released", ())) or kit
        text = _("%(trip)s has been cancelled. Kits free again: %(kits)s.")
        return NoticeText(text % {"trip": trip, "kits": kits})
    text = _("%(trip)s has been changed; %(kit)s is reserved for it (%(what)s).")
    also = _("%(kit)s is also reserved for %(trip)s.")
    return NoticeText(
        text % {"trip": trip, "kit": kit, "what": what},
        [also % clash for clash in changed.get("clashes", ())],
    )
