"""What came of a scan, as its page shows it: a card for each thing that was read, with what can be
done next apart, by scanning on and by other pages. Cards are kept with the act, so that a form sent
twice is answered alike: they are made of plain values.

And what waits from one scan to the next: the guide who takes kits, a kit for its guide, the shelf
that is filled or counted. The form carries it in hidden fields, for a moment (`PATIENCE`); what a
chosen mode waits for stays as long as the mode.
"""

from dataclasses import asdict, dataclass, replace
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gearroom.core import clock
from gearroom.site.web.page import Moment, PageForm, ShortText, actor
from kits.rules.lookup import label_codes
from kits.services.custody.going_short import MayNotGo
from kits.services.lookup.holders import KitIsOut
from labels.rules.codes.scans import Intent
from labels.services import passerby
from labels.services.scan.results import (
    NextStep,
    Outcome,
    ScanAnswer,
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


# --------------------------------------------------------------------------------- what waits
PATIENCE = timedelta(seconds=90)
"""How long a kit waits for its guide's tag, or a tag for its kit."""

REPAIRED = (ScanResult.CHECKED, ScanResult.ADDED)
"""Results after which a kit that was stopped may go."""


@dataclass(frozen=True)
class Mode:
    """A way of going on from scan to scan, for whoever may do its use case; `says` what to scan,
    `intent` what each scan is for."""

    label: str | Promise
    says: str | Promise = ""
    use_case: str = "identify"
    intent: Intent | None = None


NEXT, MANY, LOOK = "next", "many", "look"
MODES = {
    NEXT: Mode(_("One at a time")),
    MANY: Mode(
        _("Several kits for one guide"),
        _("Scan the guide’s tag once, then one kit after another."),
        "check_out",
    ),
    LOOK: Mode(_("View only"), _("Scanning does not take out or hand back anything.")),
    "receive": Mode(
        _("Receive"),
        _("Receiving: scan the shelf, then each pack."),
        "receive",
        Intent.RECEIVE,
    ),
    "count": Mode(_("Count"), _("Counting: scan the shelf, kit or pouch."), "count", Intent.COUNT),
}


@dataclass(frozen=True)
class State:
    """What waits: whose tag (an id), which kit (its name), which shelf (an id); and the mode."""

    holder: str = ""
    kit: str = ""
    mode: str = NEXT
    shelf: str = ""

    @property
    def intent(self) -> Intent | None:
        """What each scan is for in the mode."""
        return MODES[self.mode].intent


class StateForm(PageForm):
    """The hidden fields."""

    mode = ShortText()
    waiting_holder = ShortText()
    waiting_kit = ShortText()
    waiting_shelf = ShortText()
    since = Moment(required=False)


def modes_of(request: HttpRequest) -> dict[str, Mode]:
    """The modes that somebody may use."""
    may = actor(request).may
    return {name: mode for name, mode in MODES.items() if may(mode.use_case)}


def mode_of(request: HttpRequest, name: str) -> str:
    """The mode of that name, where somebody may use it."""
    return name if name in modes_of(request) else NEXT


def state_of(request: HttpRequest) -> State:
    """What a form says that waits."""
    form = StateForm(request.POST)
    form.is_valid()  # a time that cannot be read is none
    sent = form.cleaned_data
    mode, since = mode_of(request, sent["mode"]), sent.get("since")
    if MODES[mode].intent is not None:
        return State(mode=mode, shelf=sent["waiting_shelf"])
    if since is None or clock.now() - since > PATIENCE:
        return State(sent["waiting_holder"] if mode == MANY else "", mode=mode)
    return State(sent["waiting_holder"], sent["waiting_kit"], mode)


def after(state: State, answer: ScanAnswer) -> State:
    """What waits for the next scan."""
    outcomes, waits_on = answer.outcomes, State(state.holder, mode=state.mode)
    if state.intent is not None:
        places = [o.thing for o in outcomes if isinstance(o.thing, ScannedShelf | ScannedSection)]
        return replace(state, shelf=str(places[-1].id)) if places else state
    results = {outcome.outcome for outcome in outcomes}
    took = ScanResult.TAKEN_OUT in results
    tags = [
        outcome.thing
        for outcome in outcomes
        if outcome.outcome == ScanResult.HOLDER and isinstance(outcome.thing, ScannedPerson)
    ]
    if state.mode == MANY and (took or not tags):
        return waits_on
    if len(tags) == 1 and not took:
        return State(str(tags[0].id), mode=state.mode)
    kits = [(o.outcome, o.thing) for o in outcomes if isinstance(o.thing, ScannedKit)]
    for result, kit in kits:
        if result in REPAIRED:  # whoever waited for it waits on, and takes it by one tap
            return replace(waits_on, kit=kit.name)
    identified = [kit for result, kit in kits if result == ScanResult.IDENTIFIED]
    if len(identified) == 1 and identified[0].out_since is None:
        return State(kit=identified[0].name, mode=state.mode)
    for outcome in outcomes:
        # Somebody else has what the guide came for: it is taken back first, and the guide waits.
        if isinstance(outcome.problem, KitIsOut):
            has_it = str(outcome.problem.facts["person"] or "")
            return replace(waits_on, holder=state.holder or has_it)
    stopped = (
        bool(identified and identified[0].out_since)
        or ScanResult.HANDED_BACK in results
        or any(isinstance(outcome.problem, MayNotGo) for outcome in outcomes)
    )
    return waits_on if stopped else State(mode=state.mode)
