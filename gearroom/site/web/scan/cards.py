"""What came of a scan, as its page shows it: a card for each thing that was read, with what can be
done next apart, by scanning on and by other pages. Cards are kept with the act, so that a form sent
twice is answered alike: they are made of plain values."""

from dataclasses import asdict
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from gearroom.site.web.scan.waiting import REPAIRED
from kits.rules.lookup import label_codes
from kits.services.lookup.holders import KitIsOut
from labels.rules.codes.scans import Intent
from labels.services import passerby
from labels.services.scan.results import (
    NextStep,
    Outcome,
    ScannedKit,
    ScannedLot,
    ScannedPerson,
    ScannedSection,
    ScannedShelf,
    ScanResult,
    Step,
)

_NAMES: dict[type[object], str] = {
    ScannedKit: "kit",
    ScannedSection: "section",
    ScannedLot: "lot",
    ScannedShelf: "shelf",
    ScannedPerson: "person",
    passerby.Facts: "passer_by",
}


def card(outcome: Outcome, shelf: str) -> dict[str, Any]:
    """An outcome as the page shows it; `shelf` (an id) is the one that waits to be filled."""
    kit = outcome.thing if isinstance(outcome.thing, ScannedKit) else None
    label = label_codes.shown(outcome.label.code) if outcome.label else ""
    handed_back = outcome.outcome == ScanResult.HANDED_BACK
    elsewhere = [step for step in outcome.next if not _scans_on(step)]
    thing = {_NAMES[type(outcome.thing)]: asdict(outcome.thing)} if outcome.thing else {}
    return {
        **dict.fromkeys(_NAMES.values()),
        **thing,
        "outcome": outcome.outcome,
        "says": outcome.says,
        "read": outcome.seen.printable,
        "text": label or (kit.name if kit else outcome.seen.printable),
        "refused": outcome.problem is not None,
        "identified": outcome.outcome == ScanResult.IDENTIFIED,
        "taken_out": outcome.outcome == ScanResult.TAKEN_OUT,
        "handed_back": handed_back,
        "repaired": outcome.outcome in REPAIRED,
        "may_have_gone": kit is not None and kit.out_since is None and not handed_back,
        "to_sort": any(step.do in (Step.RESTOCK, Step.LOG_USE) for step in elsewhere),
        "entry": outcome.entry.pk if outcome.entry else None,
        "steps": [
            {**asdict(step), "who": _takes_somebody(step)}
            for step in outcome.next
            if _scans_on(step) and not _has_own_form(step, outcome, kit)
        ],
        "links": dict(link for step in elsewhere if (link := _link(outcome, step, shelf))),
    }


def _scans_on(step: NextStep) -> bool:
    return "intent" in step.fields


def _has_own_form(step: NextStep, outcome: Outcome, kit: ScannedKit | None) -> bool:
    """The ways of handing back what is out; and taking out what somebody has comes up once it is
    handed back."""
    if step.do == Intent.CHECK_IN:
        return kit is not None and kit.out_since is not None
    return step.do == Intent.CHECK_OUT and isinstance(outcome.problem, KitIsOut)


def _takes_somebody(step: NextStep) -> bool:
    """Whether a step takes a kit out, by itself and to whom may be chosen."""
    out = step.do == Intent.CHECK_OUT and "text" not in step.needs
    return out and not step.fields.get("holder") and not step.fields.get("emergency")


def _link(outcome: Outcome, step: NextStep, shelf: str) -> tuple[str, str] | None:
    """The page on which a step of receiving, counting or binding is taken, and its name."""
    match step.do:
        case Step.RECEIVE:
            item, text = step.fields.get("item"), outcome.seen.printable
            query = {"item": item} if outcome.label else {"text": text}
            query |= {"shelf": shelf} if shelf else {}
            url = f"{reverse('receive')}?{urlencode(query)}"
        case Step.COUNT_KIT:
            url = reverse("kit-count", args=[step.about])
        case Step.BIND:
            url = reverse("bind-label", args=[step.about])
        case Step.COUNT if "shelf" in step.fields:
            url = reverse("count-shelf", args=[step.fields["shelf"]])
        case Step.COUNT:
            url = reverse("count")
        case _:
            return None
    return url, step.says
