"""What is said of kits past due."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import cast

from django.utils.translation import gettext as _, ngettext

from gearroom.core.rules.grouping import grouped
from kits.models import Notice
from kits.services.notices.facts import OverdueKit
from kits.services.notices.notice_text import NoticeText, first_few, kit_page, page, zone_of
from kits.services.text.wording import moment


def not_back(notice: Notice) -> NoticeText:
    """Which kits are not back, when each was due and whom to call for it."""
    kits = _kits_of(notice)
    subject = _("Not back: %(kits)s") % {"kits": first_few(kit["kit"] for kit in kits)}
    return NoticeText(
        _sentence(kits), [*_lines(kits, zone_of(notice))], subject=subject, page=_page(kits)
    )


def _kits_of(notice: Notice) -> list[OverdueKit]:
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
        "You have %(kits)s, which is overdue. Hand it back, or enter a new due time.",
        "You have %(kits)s, which are overdue. Hand them back, or enter a new due time.",
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
        yield _("Delayed? Extend the due time of all kits for the trip on the page below.")


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
