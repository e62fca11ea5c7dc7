"""What a notice of a trip that is not covered says: its kits, how each stood for it, who has it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from kits.models import Notice
from kits.rules.mail.plain_text import Stands
from kits.services.text import verdict_texts
from kits.services.text.days import instant


def kits_of(notice: Notice) -> list[dict[str, Any]]:
    """The kits that a notice names; of one written when each kit had its own, that."""
    facts = notice.facts
    if "kits" in facts or notice.kit is None or "departs_at" not in facts:
        return list(facts.get("kits", ()))
    expiry = notice.kit.first_expiry
    return [
        {
            "kit": notice.kit.name,
            "first_expiry": expiry.isoformat() if expiry else None,
            "reasons": (),
            **facts,
        }
    ]


def subject(notice: Notice) -> str:
    """Which kit for which trip, and how it stands; of several, which."""
    kits = kits_of(notice)
    facts = {
        "kit": ", ".join(str(kit["kit"]) for kit in kits) or (notice.kit or ""),
        "trip": notice.facts.get("trip", _("its trip")),
    }
    if len(kits) > 1:
        return _("%(trip)s: %(kit)s are not ready") % facts
    return _("%(kit)s for %(trip)s: %(how)s") % {**facts, "how": _how(kits[0] if kits else {})}


def _how(kit: Mapping[str, Any]) -> str:
    """How a kit stands for its trip, in a few words: its verdict, or that somebody has it."""
    if "out" in kit and not kit["reasons"]:
        return _("still out")
    return str(kit.get("verdict_text") or _("look at it"))


def not_ready(notice: Notice, zone: str) -> tuple[str, list[str]]:
    """Which kits for which trip, and what stands against each."""
    kits = kits_of(notice)
    facts = {
        "kit": ", ".join(str(kit["kit"]) for kit in kits),
        "trip": notice.facts["trip"],
        "when": instant(notice.facts["departs_at"], zone),
    }
    if len(kits) > 1:
        text = _("%(trip)s leaves %(when)s, and %(kit)s, reserved for it, are not ready.") % facts
    else:
        text = _("%(kit)s is reserved for %(trip)s, which leaves %(when)s.") % facts
    lines: list[str] = []
    for kit in kits:
        of_kit = [*_still_out(kit.get("out"), zone, notice.person_id), *kit["reasons"]]
        lines += [f"{kit['kit']}: {line}" for line in of_kit] if len(kits) > 1 else of_kit
    return text, lines


def not_covered(notice: Notice, zone: str) -> tuple[str, list[str]]:
    """A trip without a kit, or whose kits went and do not do together."""
    f = notice.facts
    facts = {"trip": f["trip"], "when": instant(f["departs_at"], zone)}
    if not f["reasons"]:
        return _("%(trip)s leaves %(when)s, and no kit is reserved for it.") % facts, []
    text = (
        _("%(trip)s leaves %(when)s, and the kits that went for it are not enough together.")
        % facts
    )
    return text, [*f["reasons"]]


def stands(notice: Notice) -> Iterator[Stands]:
    """How each kit stood for the trip when this was written; nothing of other kinds."""
    if notice.kind not in ("not-fit", "must-have-gone"):
        return
    for kit in kits_of(notice):
        if "verdict_text" not in kit:
            continue
        through = date.fromisoformat(kit["through"])
        expiry = kit["first_expiry"]
        yield Stands(
            text=kit["verdict_text"],
            judged=_("judged for %(day)s, %(trip)s")
            % {
                "day": formats.date_format(through, pgettext("date format", "D j F")),
                "trip": notice.facts["trip"],
            },
            beside=verdict_texts.first_expiry(date.fromisoformat(expiry) if expiry else None),
            kit=str(kit["kit"]),
            through=kit["through"],
            trip=str(notice.facts["trip_id"]),
            verdict=kit["verdict"],
        )


def _still_out(out: Mapping[str, Any] | None, zone: str, reader: int) -> Iterator[str]:
    """Who has a kit that is wanted for another trip."""
    if out is None:
        return
    who = {
        "name": out["person"] or _("somebody unnamed"),
        "phone": out["phone"] or _("no phone on record"),
        "when": instant(out["due_at"], zone) if out["due_at"] else "",
    }
    if out.get("person_id") == reader:
        yield _("You have it. Bring it back in time to be sorted.")
    elif not out["due_at"]:
        yield _("It is out: %(name)s has it (%(phone)s), with no due time.") % who
    else:
        yield _("It is out: %(name)s has it (%(phone)s), due back %(when)s.") % who
