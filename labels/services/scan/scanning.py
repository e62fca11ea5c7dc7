"""A reading event: what was read, what it means, what was done, what can be done next.

Reading a picture takes up to seconds and writes nothing, so it comes first, outside of any
transaction (`read_picture.read`); then `scan` does what was asked for all that was read, each label
with its own outcome: nine kits go, and the tenth is named with its reason.

    answer = scan(act, read(picture), ScanRequest(Intent.CHECK_OUT, holder=guide))
    answer = scan(act, typed_texts(["XXXX-XXXX"]), ScanRequest(Intent.CHECK_IN))

`identify` only says what it is, and writes nothing at all: for an address that somebody opens.
"""

from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, NotFound, Problem, TooLarge, part, refuse_first
from gearroom.core.models import Person
from kits.models import Entry, Kit, Label, LabelKind, Lot, Place
from kits.services.lookup import find, holders
from kits.services.restocking import adding, sealing, sorting
from labels.models import Scan
from labels.rules.codes.gs1 import MakersCode
from labels.rules.codes.scans import Intent, Means, Readings
from labels.services import passerby
from labels.services.scan import kit_scans, pack_scans, views
from labels.services.scan.refusals import bind, empty_outcome, problem_of, refused
from labels.services.scan.resolve import Meaning, meanings
from labels.services.scan.results import (
    NextStep,
    Outcome,
    ScanAnswer,
    ScanRequest,
    ScanResult,
    Step,
    resend,
    text_of,
)

MOST_LABELS = 100
"""Items read in one event."""

_RIGHTS = {
    Intent.IDENTIFY: "identify",
    Intent.CHECK_OUT: "check_out",
    Intent.CHECK_IN: "check_in",
    Intent.RECEIVE: "receive",
    Intent.COUNT: "count",
    Intent.LOOK_INSIDE: "look_inside",
    Intent.ADD: "restock",
}
_WITH_KITS = (Intent.CHECK_OUT, Intent.CHECK_IN, Intent.LOOK_INSIDE, Intent.ADD)
_LONGEST_KEPT = 500


def scan(act: Act, readings: Readings, ask: ScanRequest) -> ScanAnswer:
    """Do what is wanted with all that was read, each reading on its own, and record what was
    read. Runs in the caller's transaction.

    A problem with one reading is its outcome. Raises NotAllowed where the asker may not
    do this anywhere, TooLarge, and Invalid where what is said belongs to one kit and several
    were read.
    """
    act.actor.require(_right_for(ask))
    read = _meanings(act, readings, any_room=ask.any_room)
    if ask.intent in _WITH_KITS:
        _refuse_several_kits(read, ask)
        if not _is_one_kit(read):  # one may be swapped, which locks two by itself
            _lock(read)
    outcomes = [_outcome(act, meaning, ask, read, transaction.atomic()) for meaning in read]
    answer = ScanAnswer(act.key, ask.intent, readings, outcomes or [empty_outcome(readings)])
    _record(act, answer)
    return answer


def _right_for(ask: ScanRequest) -> str:
    if ask.emergency:
        return "emergency"
    return "report_gone" if ask.already_gone else _RIGHTS[ask.intent]


def identify(act: Act, readings: Readings) -> ScanAnswer:
    """What all that was read is, and what can be done next; not even that it was read is written.

    A problem with one reading is its outcome. Raises NotAllowed, TooLarge.
    """
    act.actor.require(_RIGHTS[Intent.IDENTIFY])
    read = _meanings(act, readings)
    outcomes = [_outcome(act, each, ScanRequest(), read, nullcontext()) for each in read]
    return ScanAnswer(act.key, Intent.IDENTIFY, readings, outcomes or [empty_outcome(readings)])


def _meanings(act: Act, readings: Readings, *, any_room: bool = False) -> Sequence[Meaning]:
    if len(readings.seen) > MOST_LABELS:
        raise TooLarge(
            "too-large",
            _("Scan at most %(most)d labels at a time.") % {"most": MOST_LABELS},
            limit=MOST_LABELS,
        )
    today = clock.today(views.zone_for(act))
    return meanings(act.actor, readings.seen, today=today, any_room=any_room)


def _tags(read: Sequence[Meaning]) -> list[Person]:
    labels = [m.label for m in read if m.means == Means.PERSON and m.label]
    return [label.person for label in labels if label.person]


def _refuse_several_kits(read: Sequence[Meaning], ask: ScanRequest) -> None:
    kits = sum(m.kit is not None for m in read)
    if kits < 2:
        return
    of_one_kit = {
        "intent": ask.intent in (Intent.LOOK_INSIDE, Intent.ADD),
        "seal_seen": ask.seal_seen,
        "used": ask.used,
        "wrong": ask.wrong,
        "short_reason": ask.short_reason,
        "cleared_by": ask.cleared_by,
        "take_reason": ask.take_reason,
        "swap": ask.swap,
    }
    for field, value in of_one_kit.items():
        if value:
            raise Invalid(
                _(
                    "%(kits)d kits were scanned, but this information is about only one of "
                    "them. Scan that kit by itself."
                )
                % {"kits": kits},
                field=field,
            )


def _is_one_kit(read: Sequence[Meaning]) -> bool:
    return sum(m.means in (Means.KIT, Means.SECTION) for m in read) == 1


def _lock(read: Sequence[Meaning]) -> None:
    """Lock the kits in ascending order before any is written: two phones with the same kits in
    different order would otherwise wait for each other."""
    wanted = {m.kit.pk for m in read if m.kit is not None}
    wanted |= {m.place.kit_id for m in read if m.place and m.place.kit_id is not None}
    list(Kit.objects.select_for_update(of=("self",)).filter(pk__in=wanted).order_by("pk"))


def _outcome(
    act: Act,
    meaning: Meaning,
    ask: ScanRequest,
    read: Sequence[Meaning],
    inside: AbstractContextManager[object],
) -> Outcome:
    try:
        with inside:
            return _act_on(act, meaning, ask, read, _tags(read))
    except Problem as problem:
        return refused(act, meaning, ask, problem)


def _act_on(
    act: Act, meaning: Meaning, ask: ScanRequest, read: Sequence[Meaning], tags: Sequence[Person]
) -> Outcome:
    """What comes of one reading; raises the Problem that keeps it from being done."""
    intent = ask.intent
    if meaning.means in (Means.KIT, Means.SECTION) and intent in _WITH_KITS:
        return _act_on_kit(act, meaning, ask, tags, alone=_is_one_kit(read))
    looks_up = intent not in _WITH_KITS
    match meaning:
        case Meaning(means=Means.KIT, kit=Kit() as kit) if intent == Intent.COUNT:
            return _count_kit(meaning, kit)
        case Meaning(means=Means.KIT) if intent == Intent.IDENTIFY:
            return kit_scans.show(act, meaning)
        case Meaning(means=Means.SECTION | Means.SHELF, place=Place() as place) if looks_up:
            return pack_scans.place(meaning, place, intent)
        case Meaning(means=Means.LOT, label=Label(lot=Lot() as lot)) if looks_up:
            return pack_scans.lot(act, meaning, lot, intent, _place_read(read, ask))
        case Meaning(means=Means.MAKER, pack=MakersCode() as code) if looks_up:
            return pack_scans.pack(act, meaning, code, intent, _place_read(read, ask))
        case Meaning(means=Means.PERSON, label=Label(person=Person() as person)) if intent in (
            Intent.CHECK_OUT,
            Intent.IDENTIFY,
        ):
            return _person(act, meaning, person, ask, alone=len(read) == len(tags))
        case Meaning(means=Means.ELSEWHERE, label=Label() as label):
            return _show_elsewhere(act, meaning, label, intent)
        case Meaning(means=Means.BLANK) if intent == Intent.IDENTIFY:
            return Outcome(
                meaning.seen,
                Means.BLANK,
                ScanResult.IDENTIFIED,
                _("A label that is not linked to anything yet."),
                label=meaning.label,
                next=[bind(meaning)],
            )
    raise problem_of(meaning, intent)


def _act_on_kit(
    act: Act, meaning: Meaning, ask: ScanRequest, tags: Sequence[Person], *, alone: bool
) -> Outcome:
    match ask.intent:
        case Intent.CHECK_OUT:
            return kit_scans.take_out(act, meaning, ask, tags, alone=alone)
        case Intent.CHECK_IN:
            return kit_scans.hand_in(act, meaning, ask)
        case Intent.LOOK_INSIDE:
            return _check(act, meaning)
        case _:
            return _add(act, meaning, ask)


def _place_read(others: Sequence[Meaning], ask: ScanRequest) -> Place | None:
    """The shelf or section that is filled or counted: given, or read along."""
    if ask.place is not None:
        return ask.place
    wanted = {Means.SHELF} if ask.intent == Intent.RECEIVE else {Means.SHELF, Means.SECTION}
    read = [meaning.place for meaning in others if meaning.means in wanted]
    return read[0] if len(read) == 1 else None


def _count_kit(meaning: Meaning, kit: Kit) -> Outcome:
    return Outcome(
        meaning.seen,
        Means.KIT,
        ScanResult.READY,
        _("Count %(kit)s, pouch by pouch.") % {"kit": kit.name},
        label=meaning.label,
        next=[
            NextStep(
                Step.COUNT_KIT, _("Count %(kit)s") % {"kit": kit.name}, kit.name, needs=("found",)
            )
        ],
    )


def _person(
    act: Act, meaning: Meaning, tagged: Person, ask: ScanRequest, *, alone: bool
) -> Outcome:
    person = views.scanned_person(act, tagged)
    taking = ask.intent == Intent.CHECK_OUT
    facts = {"name": person.name, "kits": ", ".join(person.kits)}
    sentence = _("%(name)s has %(kits)s.") if person.kits else _("%(name)s’s tag.")
    if taking and alone:
        sentence = _("%(name)s’s tag. Now scan the kit.")
    scan_kit = resend(
        Intent.CHECK_OUT,
        _("Scan the kit that %(name)s is taking") % facts,
        "",
        ("text",),
        holder=str(person.id),
    )
    return Outcome(
        meaning.seen,
        Means.PERSON,
        ScanResult.HOLDER if taking else ScanResult.IDENTIFIED,
        sentence % facts,
        label=meaning.label,
        thing=person,
        next=[scan_kit] if alone else [],
    )


def _show_elsewhere(act: Act, meaning: Meaning, label: Label, intent: Intent) -> Outcome:
    if intent != Intent.IDENTIFY:
        raise NotFound("label", text_of(meaning))
    facts = passerby.facts_of(label, act.actor)
    sentence = _("%(what)s. It belongs to %(whose)s.") % {"what": facts.what, "whose": facts.whose}
    hand_in = resend(Intent.CHECK_IN, _("Hand it in"), text_of(meaning))
    return Outcome(
        meaning.seen,
        Means.ELSEWHERE,
        ScanResult.IDENTIFIED,
        " ".join(filter(None, (sentence, facts.how_to_return))),
        label=label,
        thing=facts,
        next=[hand_in] if label.kind == LabelKind.KIT else [],
    )


def _record(act: Act, answer: ScanAnswer) -> None:
    now = clock.now()
    Scan.objects.bulk_create(
        Scan(
            key=act.key,
            person=act.person,
            room=act.room,
            intent=str(answer.intent),
            text=_kept(each.seen.text),
            symbology=each.seen.symbology[:30],
            picture_sha256=answer.look.picture_sha256,
            rung=each.seen.rung[:40],
            label=each.label,
            means=str(each.means),
            outcome=each.outcome[:40],
            entry=each.entry,
            read_at=now,
        )
        for each in answer.outcomes
    )


def _kept(text: str) -> str:
    """A text as a database takes it: at most 500 characters, NUL and half surrogates shown."""
    return text[:_LONGEST_KEPT].replace("\0", "\u2400").encode("utf-8", "replace").decode()


# ---------------------------------------------------------------------- checked, or something added
def _check(act: Act, meaning: Meaning) -> Outcome:
    """Record that somebody looked through a kit and found it as the book has it; it waits no
    longer to be sorted. Raises what `_kit_here` raises."""
    kit = _kit_here(act, meaning)
    entry = sorting.look_inside(part(act, kit.name), kit)
    sentence = (
        _("%(kit)s has been checked: everything is as on record. %(verdict)s.")
        if sealing.not_replaced(kit)
        else _("%(kit)s has been checked: everything is there. %(verdict)s.")
    )
    return _mended(act, meaning, kit, entry, ScanResult.CHECKED, sentence)


def _add(act: Act, meaning: Meaning, ask: ScanRequest) -> Outcome:
    """Put in what one line of a kit's list lacks (`ask.line`), from the shelves here. Raises what
    `_kit_here` and `adding.add` raise, Invalid without a line."""
    kit = _kit_here(act, meaning)
    if ask.line is None:
        raise Invalid(_("Specify which item on the kit list is to be added."), field="line")
    done = adding.add(part(act, kit.name), kit, ask.line, through=ask.through)
    count = sum(row.units for row in done.put_in)
    sentence = (
        _("%(kit)s: %(count)d added. %(verdict)s.")
        if count
        else _("%(kit)s: topped up. %(verdict)s.")
    )
    return _mended(act, meaning, kit, done.entry, ScanResult.ADDED, sentence, count=count)


def _kit_here(act: Act, meaning: Meaning) -> Kit:
    """The kit that was scanned. Raises Unacceptable (`not-a-kit`), NotFound for another room's,
    Refused (`kit-is-out`)."""
    kit = kit_scans.kit_of(meaning)
    refuse_first(
        (meaning.place is not None, kit_scans.not_a_kit(meaning)),
        (not find.sees_kit(act.actor, kit), NotFound("kit", kit.name)),
    )
    if (held := holders.open_checkout(kit)) is not None:
        raise holders.kit_is_out(held)
    return kit


def _mended(
    act: Act, meaning: Meaning, kit: Kit, entry: Entry, outcome: str, says: str, **said: object
) -> Outcome:
    kit = find.kits_of(act.actor).get(pk=kit.pk)
    scanned = views.scanned_kit(act.actor, kit)
    undo = NextStep(Step.UNDO, _("Undo this"), str(entry.pk))
    return Outcome(
        meaning.seen,
        Means.KIT,
        outcome,
        says % {**said, "kit": kit.name, "verdict": scanned.verdict_text},
        label=meaning.label,
        thing=scanned,
        entry=entry,
        next=[*kit_scans.steps_of_kit(act, meaning, kit, scanned), undo],
    )
