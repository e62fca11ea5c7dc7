"""Kits scanned: shown, taken out, handed back."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _, gettext_lazy as _lazy, pgettext

from gearroom.core.acts import NOT_GIVEN, Act, NotFound, Problem, Unacceptable, part
from gearroom.core.models import Person
from kits.models import AsFound, Kit, Place, Seal, Trip
from kits.rules.custody.in_class import goes_to_class, keeps_from_class
from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Weight, Word
from kits.services.custody import custody, going_short, offers, use
from kits.services.ledger import kit_state
from kits.services.lookup import find, holders
from kits.services.text import irregular_texts, reason_texts, verdict_texts
from kits.services.trips import purpose
from kits.services.trips.claims import Departure, Terms, settle
from labels.rules.codes.scans import Intent, Means
from labels.services import passerby
from labels.services.scan import views
from labels.services.scan.resolve import Meaning
from labels.services.scan.results import (
    NextStep,
    Outcome,
    ScannedKit,
    ScanRequest,
    ScanResult,
    Step,
    Subject,
    next_steps,
    resend,
    text_of,
)


def show(act: Act, meaning: Meaning) -> Outcome:
    """A kit, with what can be done with it now."""
    kit = kit_of(meaning)
    scanned = views.scanned_kit(act.actor, kit)
    gone, kept = kit_state.out_of_use(kit), None
    if scanned.out_since is None and gone:
        sentence = "%(gone)s"
    elif scanned.out_since is not None:
        sentence = (
            _("%(kit)s is out with %(has_it)s, due %(time)s.")
            if scanned.due_at
            else _("%(kit)s is out with %(has_it)s.")
        )
    elif scanned.trip is not None:
        sentence = (
            _("%(kit)s is for %(guide_name)s (%(trip_name)s). %(fitness)s")
            if scanned.guide_name
            else _("%(kit)s is for %(trip_name)s. %(fitness)s")
        )
    elif scanned.training:
        sentence = _("%(kit)s is here. Training kit: for classes, not for emergencies.")
        if kept := keeps_from_class(purpose.plan(kit).verdict):
            sentence = f"{sentence} %(kept)s"
    else:
        sentence = _("%(kit)s is here. %(fitness)s")
    facts = {
        "kit": kit.name,
        "gone": gone,
        "kept": reason_texts.reason(kept)["text"] if kept else "",
        "has_it": scanned.has_it,
        "time": _time(kit, scanned.due_at),
        "guide_name": scanned.guide_name,
        "trip_name": scanned.trip_name,
        "fitness": f"{scanned.verdict_text}.",
    }
    return Outcome(
        meaning.seen,
        Means.KIT,
        ScanResult.IDENTIFIED,
        sentence % facts,
        label=meaning.label,
        thing=scanned,
        next=steps_of_kit(act, meaning, kit, scanned),
    )


def steps_of_kit(act: Act, meaning: Meaning, kit: Kit, scanned: ScannedKit) -> list[NextStep]:
    """What can be done with a kit as it stands, the likeliest first."""
    text = text_of(meaning)
    if kit.retired_on is not None and scanned.out_since is None:
        return []
    if scanned.training and not scanned.emergency:
        return _steps_of_training_kit(act, text, kit, scanned)
    if scanned.out_since is not None:
        closed = (
            (_("Sealed and dry"), AsFound.SEALED)
            if scanned.seal
            else (_("Closed, nothing used"), AsFound.CLOSED)
        )
        return [
            resend(Intent.CHECK_IN, closed[0], text, as_found=str(closed[1])),
            resend(Intent.CHECK_IN, _("Sort later"), text, as_found=str(AsFound.SORT_LATER)),
            resend(Intent.CHECK_IN, _("Opened"), text, ("used",), as_found=str(AsFound.OPENED)),
            NextStep(Step.PASS, _("Pass it on"), kit.name, needs=("person",)),
        ]
    steps: list[NextStep] = []
    going = purpose.plan(kit)
    guide = going.person
    needs = [] if guide else ["holder"]
    if going.verdict.fit or going.verdict.word is Word.NOT_SET_UP:
        whom = guide.name if guide else ""
        sentence = _("Take it out for %(whom)s") % {"whom": whom} if whom else _("Take it out")
        steps.append(resend(Intent.CHECK_OUT, sentence, text, needs))
    else:
        options = offers.offers(act.actor, kit, going.verdict, trip=going.trip, person=guide)
        steps += next_steps(offers.as_values(act.actor, kit, options), text, needs)
    if scanned.to_sort or not scanned.may_go:
        steps.append(NextStep(Step.RESTOCK, _("View what is missing"), kit.name))
    return steps


def step_to_class(person: Person | None, text: str) -> NextStep:
    """Taking a training kit out to a class, by whoever is acting where somebody is."""
    needs = [] if person else ["holder"]
    return resend(Intent.CHECK_OUT, _("Take it out for a class"), text, needs)


def _steps_of_training_kit(act: Act, text: str, kit: Kit, scanned: ScannedKit) -> list[NextStep]:
    """What can be done with a training kit: one tap out to a class, one back from it."""
    if scanned.out_since is None:
        kept = keeps_from_class(purpose.plan(kit).verdict)
        return [] if kept else [step_to_class(act.person, text)]
    closed = AsFound.SEALED if scanned.seal else AsFound.CLOSED
    return [
        resend(Intent.CHECK_IN, _("Nothing used up"), text, as_found=str(closed)),
        resend(Intent.CHECK_IN, _("Used in class"), text, ("used",), as_found=str(AsFound.OPENED)),
        NextStep(Step.PASS, _("Pass it on"), kit.name, needs=("person",)),
    ]


# -------------------------------------------------------------------------------------- taking out
def take_out(
    act: Act, meaning: Meaning, ask: ScanRequest, tags: Sequence[Person], *, alone: bool
) -> Outcome:
    """Take a kit, or a section with a seal of its own, out to whoever is named: `ask.holder`, or
    the one whose tag was read along with it, or the guide of the trip it is reserved for. `alone`:
    no other kit was read with it.

    Raises what `custody.check_out` raises; NotFound for another room's kit; Unacceptable
    (`which-person`) where several tags were read; Refused (`another-kit-is-reserved`) where
    another kit is the one for this trip or person, unless `ask.swap`.
    """
    kit, section = kit_of(meaning), meaning.place
    if section is not None and not Seal.objects.unbroken().filter(section=section).exists():
        raise not_a_kit(meaning)
    if not (ask.any_room or find.sees_kit(act.actor, kit)):
        raise NotFound("kit", kit.name)
    goes = Departure(ask.trip, _holder(ask, tags))
    to_class = goes_to_class(
        training=kit.training, for_trip=isinstance(ask.trip, Trip), emergency=ask.emergency
    )
    if section is None and not ask.fact and not to_class:
        terms = Terms(ask.trip, ask.due_at, ask.swap, ask.take_reason)
        goes = settle(act, kit, terms, goes.holder, alone=alone)
    taken = custody.check_out(
        part(act, kit.name, section.section_key if section else ""),
        kit,
        person=goes.holder or NOT_GIVEN,
        trip=goes.trip,
        due_at=ask.due_at,
        section=section,
        short_reason=ask.short_reason,
        cleared_by=ask.cleared_by,
        take_reason=ask.take_reason,
        emergency=ask.emergency,
        already_gone=ask.already_gone,
    )
    sentence = [_out_text(_kit_or_section(kit, section), taken), goes.swapped]
    if ask.emergency:
        sentence.append(_("Recorded as an emergency; the keeper will be notified."))
        if kit.training:
            sentence.append(str(NOT_FOR_EMERGENCIES))
    elif to_class:
        sentence.append(_("For classes only, not for emergencies."))
    elif taken.verdict.word is Word.NOT_SET_UP:
        sentence.append(f"{verdict_texts.verdict(taken.verdict)}.")
    elif ask.cleared_by is not None and going_short.by_telephone(taken.verdict):
        sentence.append(
            _("Approved by %(name)s, who has been asked to confirm this.")
            % {"name": ask.cleared_by.name}
        )
    elif taken.verdict.worst >= Weight.SHORT:
        sentence.append(reason_texts.reason(taken.verdict.reasons[0])["text"])
    return Outcome(
        meaning.seen,
        meaning.means,
        ScanResult.TAKEN_OUT,
        " ".join(filter(None, sentence)),
        label=meaning.label,
        thing=_kit_as_it_is(act, meaning, kit),
        entry=taken.entry,
        next=[NextStep(Step.UNDO, _("Undo this"), str(taken.entry.pk))],
    )


NOT_FOR_EMERGENCIES = _lazy(
    "This is a training kit, not for emergencies: things in it may be missing, used or out of "
    "date. Get another kit if you can, and look at every pack before use."
)

_OUT = {
    (True, True): _lazy("%(what)s is out with %(who)s for %(trip)s, due %(due)s."),
    (True, False): _lazy("%(what)s is out with %(who)s for %(trip)s."),
    (False, True): _lazy("%(what)s is out with %(who)s, due %(due)s."),
    (False, False): _lazy("%(what)s is out with %(who)s."),
}
"""That a kit is out, by whether it is for a trip and whether it has a due time."""


def _out_text(what: str, taken: custody.CheckOut) -> str:
    """That a kit is out, with whom, for what and until when."""
    if (out := taken.checkout) is None:
        return _("%(what)s: added to its history. This does not change who has it now.") % {
            "what": what
        }
    facts = {
        "what": what,
        "who": out.person.name if out.person else _("an unnamed person"),
        "due": _time(taken.kit, out.due_at),
        "trip": out.trip.name if out.trip else "",
    }
    return str(_OUT[out.trip is not None, out.due_at is not None]) % facts


def _holder(ask: ScanRequest, tags: Sequence[Person]) -> Person | None:
    if ask.holder is not None:
        return ask.holder
    if len(tags) > 1:
        raise Unacceptable(
            "which-person",
            _("The tags of %(names)s were scanned. Scan only the tag of the person taking the kit.")
            % {"names": ", ".join(person.name for person in tags)},
        )
    return tags[0] if tags else None


# ------------------------------------------------------------------------------------ handing back
def hand_in(act: Act, meaning: Meaning, ask: ScanRequest) -> Outcome:
    """Hand a kit, or a section that is out on its own, back; whoever brings it, wherever it
    belongs. Raises Invalid for use that names no batch and no item of ours."""
    kit, section = kit_of(meaning), meaning.place
    if section is not None and holders.open_checkout(kit, section) is None:
        raise not_a_kit(meaning)
    back = custody.check_in(
        part(act, kit.name, section.section_key if section else ""),
        kit,
        as_found=ask.as_found,
        section=section,
        seal_seen=ask.seal_seen,
        used=[use.line_of(kit, **vars(line)) for line in ask.used],
        sharps_or_blood=ask.sharps_or_blood,
        wet=ask.wet,
        wrong=ask.wrong,
        incident=ask.incident,
    )
    what = _kit_or_section(kit, section)
    return Outcome(
        meaning.seen,
        meaning.means,
        ScanResult.HANDED_BACK,
        " ".join([str(_BACK[AsFound(back.as_found)]) % {"what": what}, *_remarks(back)]),
        label=meaning.label,
        thing=_kit_as_it_is(act, meaning, back.kit)
        if find.knows_kit(act.actor, kit)
        else _goes_to(act, meaning),
        entry=back.entry,
        next=_after_hand_in(act, back),
    )


_BACK = {
    AsFound.SEALED: _lazy("%(what)s is back: sealed and dry."),
    AsFound.CLOSED: _lazy("%(what)s is back: closed, nothing used."),
    AsFound.OPENED: _lazy("%(what)s is back: opened."),
    AsFound.SORT_LATER: _lazy("%(what)s is back: to be sorted later."),
}


_USED = {False: _lazy("Used: %(used)s."), True: _lazy("Used in class: %(used)s.")}


def _remarks(back: custody.CheckIn) -> list[str]:
    remarks = [irregular_texts.irregular(code) for code in back.irregular]
    lines = back.use.lines if back.use else ()
    if lines:
        remarks.append(
            str(_USED[all(line.went is Went.IN_CLASS for line in lines)])
            % {"used": ", ".join(f"{line.units} × {line.item.name}" for line in lines)}
        )
    if unrecorded := sum(line.found for line in lines):
        remarks.append(
            _("%(found)d of these were not on record in the kit: recorded as found and used.")
            % {"found": unrecorded}
        )
    return remarks


def _after_hand_in(act: Act, back: custody.CheckIn) -> list[NextStep]:
    undo = NextStep(Step.UNDO, _("Undo this"), str(back.entry.pk))
    kit = back.kit
    if not find.sees_kit(act.actor, kit) or back.as_found in kit_state.CLOSED:
        return [undo]
    if kit.training and kit.to_sort_since is None:
        return [undo]
    return [
        NextStep(Step.LOG_USE, _("Enter what was used"), kit.name, needs=("used",)),
        NextStep(Step.LOOK_INSIDE, _("Check contents"), kit.name),
        NextStep(Step.RESTOCK, _("View what is missing"), kit.name),
        undo,
    ]


# ----------------------------------------------------------------------------------------- at large
def not_a_kit(meaning: Meaning) -> Problem:
    """The refusal of a label that is on something else where a kit is wanted."""
    return Unacceptable(
        "not-a-kit",
        _("This label is %(what)s, not on a kit. Scan the label on the kit.")
        % {"what": find.on_what(meaning.means)},
        means=str(meaning.means),
    )


def kit_of(meaning: Meaning) -> Kit:
    """The kit that was read, or whose section was. Raises Unacceptable (`not-a-kit`)."""
    kit = meaning.kit or (meaning.place.kit if meaning.place else None)
    if kit is None:
        raise not_a_kit(meaning)
    return kit


def _kit_as_it_is(act: Act, meaning: Meaning, kit: Kit) -> Subject | None:
    """The kit as it stands now; to somebody of other rooms, what a passer-by sees."""
    if find.sees_kit(act.actor, kit):
        return views.scanned_kit(act.actor, find.kits_of(act.actor).get(pk=kit.pk))
    return _goes_to(act, meaning)


def _goes_to(act: Act, meaning: Meaning) -> Subject | None:
    """What a passer-by sees: whose it is, and where it goes."""
    return passerby.facts_of(meaning.label, act.actor) if meaning.label else None


def _time(kit: Kit, at: datetime | None) -> str:
    if at is None:
        return _("with no return time set")
    local = at.astimezone(ZoneInfo(kit.home_room.time_zone))
    return formats.date_format(local, pgettext("date format", "l j F, H:i"))


def _kit_or_section(kit: Kit, section: Place | None) -> str:
    return (
        _("%(section)s of %(kit)s") % {"section": section.name, "kit": kit.name}
        if section
        else kit.name
    )
