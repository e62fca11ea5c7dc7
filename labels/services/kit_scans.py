"""Kits scanned: shown, taken out, handed back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q
from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from gearroom.core import clock
from gearroom.core.act import Act
from gearroom.core.models import Person
from gearroom.core.problems import Invalid, NotFound, Problem, Refused, Unacceptable
from kits.models import AsFound, Checkout, Kit, Place, Reservation, Seal
from kits.services import (
    custody,
    derive,
    find,
    fitness,
    holders,
    reservations,
    sealing,
    turnaround,
    use,
    verdict_wording,
    verdicts,
    wording,
)
from labels.rules.scans import Intent, Means
from labels.services import passerby, showing
from labels.services.meaning import Meaning
from labels.services.outcomes import (
    Ask,
    KitSeen,
    Next,
    Outcome,
    Thing,
    UsedSaid,
    again,
    part,
    text_of,
)

_SOON = timedelta(days=1)
"""How long before a departure somebody with another kit in the hand is thought to mean it."""


def show(act: Act, meaning: Meaning) -> Outcome:
    """A kit, with what can be done with it now."""
    kit = _kit_of(meaning)
    seen = showing.kit_seen(act.actor, kit)
    if seen.out_since is not None:
        says = _("%(kit)s is out with %(has_it)s, due %(time)s.") % {
            "kit": kit.name,
            "has_it": seen.has_it,
            "time": _time(kit, seen.due_at),
        }
    elif seen.trip is not None and seen.guide_name:
        says = _("%(kit)s is for %(guide_name)s, %(trip_name)s. %(fitness)s") % {
            "kit": kit.name,
            "guide_name": seen.guide_name,
            "trip_name": seen.trip_name,
            "fitness": _fitness(seen),
        }
    elif seen.trip is not None:
        says = _("%(kit)s is for %(trip_name)s. %(fitness)s") % {
            "kit": kit.name,
            "trip_name": seen.trip_name,
            "fitness": _fitness(seen),
        }
    else:
        says = _("%(kit)s is here. %(fitness)s") % {"kit": kit.name, "fitness": _fitness(seen)}
    return Outcome(
        meaning.seen,
        Means.KIT,
        "identified",
        says,
        label=meaning.label,
        thing=seen,
        next=what_now(meaning, kit, seen),
    )


def _fitness(seen: KitSeen) -> str:
    through = wording.day(seen.through)
    if seen.fit:
        return _("Fit to go through %(through)s.") % {"through": through}
    worst = seen.reasons[0]["text"]
    if seen.may_go:
        return _("May go short through %(through)s: %(worst)s") % {
            "through": through,
            "worst": worst,
        }
    return _("Not fit through %(through)s: %(worst)s") % {"through": through, "worst": worst}


def what_now(meaning: Meaning, kit: Kit, seen: KitSeen) -> list[Next]:
    """What can be done with a kit as it stands, the likeliest first."""
    text = text_of(meaning)
    if seen.out_since is not None:
        closed = (
            (_("Sealed and dry"), AsFound.SEALED)
            if seen.seal
            else (_("Closed, nothing used"), AsFound.CLOSED)
        )
        return [
            again(Intent.CHECK_IN, closed[0], text, as_found=str(closed[1])),
            again(Intent.CHECK_IN, _("Sort later"), text, as_found=str(AsFound.SORT_LATER)),
            again(Intent.CHECK_IN, _("Opened"), text, ("used",), as_found=str(AsFound.OPENED)),
            Next("pass", _("Pass it on"), kit.name, needs=("person",)),
        ]
    found: list[Next] = []
    if seen.to_sort:
        found.append(again(Intent.LOOK_INSIDE, _checked_now(kit), text))
    if seen.to_sort or not seen.may_go:
        found.append(Next("restock", _("See what it lacks"), kit.name))
    if seen.may_go:
        needs = [] if seen.guide else ["holder"]
        needs += [] if seen.fit else ["short_reason"]
        whom = seen.guide_name
        says = _("Take it out to %(whom)s") % {"whom": whom} if whom else _("Take it out")
        found.append(again(Intent.CHECK_OUT, says, text, needs))
    return found


def _checked_now(kit: Kit) -> str:
    if sealing.not_replaced(kit):
        return _("Checked now: as the book has it")
    return _("Checked now, all there")


# ---------------------------------------------------------------------------------- looking inside
def check(act: Act, meaning: Meaning) -> Outcome:
    """Record that somebody looked through a kit and found it as the book has it; it waits no
    longer to be sorted, and can go. Raises Refused (`kit-is-out`), NotFound for another room's."""
    kit = _kit_of(meaning)
    if _section_of(meaning) is not None:
        raise not_a_kit(meaning)
    if not _theirs(act, kit):
        raise NotFound("kit", kit.name)
    held = holders.open_checkout(kit)
    if held is not None:
        raise holders.kit_is_out(held)
    entry = turnaround.look_inside(part(act, kit.name), kit)
    kit = find.kits_of(act.actor).get(pk=kit.pk)
    seen = showing.kit_seen(act.actor, kit)
    says = (
        _("%(kit)s is checked: as the book has it. %(verdict)s.")
        if sealing.not_replaced(kit)
        else _("%(kit)s is checked: all there. %(verdict)s.")
    )
    verdict = verdict_wording.verdict(verdicts.judged_one(kit).verdict)
    return Outcome(
        meaning.seen,
        Means.KIT,
        "checked",
        says % {"kit": kit.name, "verdict": verdict},
        label=meaning.label,
        thing=seen,
        entry=entry,
        next=[
            *what_now(meaning, kit, seen),
            Next("undo", _("That was a mistake"), str(entry.pk)),
        ],
    )


# -------------------------------------------------------------------------------------- taking out
def take_out(act: Act, meaning: Meaning, ask: Ask, tags: Sequence[Person]) -> Outcome:
    """Take a kit, or a section with a seal of its own, out to whoever is named: `ask.holder`, or
    the one whose tag was read along with it, or the guide of the trip it is reserved for.

    Raises what `custody.check_out` raises; NotFound for another room's kit; Unacceptable
    (`which-person`) where several tags were read; Refused (`another-kit-is-reserved`) where
    another kit is the one for this trip or person, unless `ask.swap`.
    """
    kit, section = _kit_of(meaning), _section_of(meaning)
    if (
        section is not None
        and not Seal.objects.filter(section=section, broken__isnull=True).exists()
    ):
        raise not_a_kit(meaning)
    if not (
        ask.fact or act.actor.belongs_to(kit.home_room_id) or act.actor.belongs_to(kit.room_id)
    ):
        raise NotFound("kit", kit.name)
    holder = _holder(ask, tags)
    trip = ask.trip
    if section is None and not ask.fact:
        meant = _meant_instead(kit, ask, holder)
        if meant is not None and not ask.swap:
            raise _another_is_reserved(kit, meant)
        if meant is not None:
            reservations.swap(part(act, kit.name, "swap"), meant.kit, kit, meant.trip)
            trip = meant.trip
            holder = holder or meant.person
    taken = custody.check_out(
        part(act, kit.name, section.section_key if section else ""),
        kit,
        person=holder,
        trip=trip,
        due_at=ask.due_at,
        section=section,
        short_reason=ask.short_reason,
        emergency=ask.emergency,
        already_gone=ask.already_gone,
    )
    out = taken.checkout
    what = _what(kit, section)
    who = out.person.name if out.person else _("somebody not named")
    due = _time(kit, out.due_at)
    if out.trip is not None:
        says = _("%(what)s is out with %(who)s for %(trip)s, due %(due)s.") % {
            "what": what,
            "who": who,
            "trip": out.trip.name,
            "due": due,
        }
    else:
        says = _("%(what)s is out with %(who)s, due %(due)s.") % {
            "what": what,
            "who": who,
            "due": due,
        }
    if ask.emergency:
        says += " " + _("Recorded as an emergency; the keeper is told.")
    elif not taken.verdict.fit:
        says += " " + wording.reason(taken.verdict.reasons[0])["text"]
    return Outcome(
        meaning.seen,
        meaning.means,
        "taken-out",
        says,
        label=meaning.label,
        thing=_thing(act, meaning, kit),
        entry=taken.entry,
        next=[Next("undo", _("That was a mistake"), str(taken.entry.pk))],
    )


def _holder(ask: Ask, tags: Sequence[Person]) -> Person | None:
    if ask.holder is not None:
        return ask.holder
    if len(tags) > 1:
        names = ", ".join(person.name for person in tags)
        raise Unacceptable(
            "which-person",
            _("The tags of %(names)s were read. Scan the tag of the one who takes it, alone.")
            % {"names": names},
        )
    return tags[0] if tags else None


def _meant_instead(kit: Kit, ask: Ask, holder: Person | None) -> Reservation | None:
    """The promise of another kit that this one would go out in the place of, or None.

    That is so where a trip is named which has other kits and not this one; and where somebody is
    named who is promised another kit that departs soon, and not this one.
    """
    today = fitness.today_of(kit)
    open_ones = (
        Reservation.objects.select_related("kit", "trip", "person")
        .filter(released__isnull=True, trip__cancelled_at__isnull=True, trip__last_day__gte=today)
        .order_by("trip__departs_at", "pk")
    )
    if ask.trip is not None:
        open_ones = open_ones.filter(trip=ask.trip)
    elif holder is not None:
        open_ones = open_ones.filter(
            Q(person=holder) | Q(person__isnull=True, trip__leader=holder),
            trip__departs_at__lte=clock.now() + _SOON,
        )
    else:
        return None
    own = open_ones.filter(kit=kit).first()
    if own is not None and (holder is None or own.person_id in (None, holder.pk)):
        return None
    gone = Checkout.objects.filter(reservation=OuterRef("pk"), undone__isnull=True)
    waiting = list(open_ones.exclude(kit=kit).filter(~Exists(gone)))
    theirs = [row for row in waiting if holder is not None and row.person_id == holder.pk]
    return next(iter(theirs or ([] if own else waiting)), None)


def _another_is_reserved(kit: Kit, meant: Reservation) -> Refused:
    other, mine, trip = meant.kit.name, kit.name, meant.trip.name
    if meant.person is not None:
        whom = meant.person.name
        said = _(
            "%(other)s is promised to %(whom)s for %(trip)s, not %(mine)s. Take %(other)s, or "
            "swap: send it again with “swap”."
        ) % {"other": other, "whom": whom, "trip": trip, "mine": mine}
    else:
        said = _(
            "%(other)s is promised for %(trip)s, not %(mine)s. Take %(other)s, or swap: send it "
            "again with “swap”."
        ) % {"other": other, "trip": trip, "mine": mine}
    return Refused(
        "another-kit-is-reserved",
        said,
        kit=kit.name,
        reserved=meant.kit.name,
        reservation=meant.pk,
        trip=meant.trip_id,
    )


# ------------------------------------------------------------------------------------ handing back
def hand_in(act: Act, meaning: Meaning, ask: Ask) -> Outcome:
    """Hand a kit, or a section that is out on its own, back; whoever brings it, wherever it
    belongs. Raises Invalid for use that names no batch and no thing of ours."""
    kit, section = _kit_of(meaning), _section_of(meaning)
    if section is not None and holders.open_checkout(kit, section) is None:
        raise not_a_kit(meaning)
    back = custody.check_in(
        part(act, kit.name, section.section_key if section else ""),
        kit,
        as_found=ask.as_found,
        section=section,
        seal_seen=ask.seal_seen,
        used=[_use_line(kit, said) for said in ask.used],
        sharps_or_blood=ask.sharps_or_blood,
        wet=ask.wet,
        wrong=ask.wrong,
        incident=ask.incident,
    )
    what = _what(kit, section)
    return Outcome(
        meaning.seen,
        meaning.means,
        "handed-back",
        " ".join([_back(what, back), *_remarks(back)]),
        label=meaning.label,
        thing=_thing(act, meaning, back.kit),
        entry=back.entry,
        next=_after_hand_in(act, back),
    )


def _use_line(kit: Kit, said: UsedSaid) -> use.UseLine:
    item = said.lot.item if said.lot else said.item
    if item is None:
        raise Invalid(_("Say which thing was used: “item”, “lot” or “label”."), field="used")
    if said.lot is not None and said.item is not None and said.item.pk != said.lot.item_id:
        raise Invalid(
            _("That batch is of %(batch)s, not of %(thing)s.")
            % {"batch": said.lot.item.name, "thing": said.item.name},
            field="used",
        )
    section = find.section(kit, said.section) if said.section else None
    return use.UseLine(item, said.units, said.lot, section)


def _back(what: str, back: custody.HandedBack) -> str:
    match AsFound(back.as_found):
        case AsFound.SEALED:
            return _("%(what)s is back: sealed and dry.") % {"what": what}
        case AsFound.CLOSED:
            return _("%(what)s is back: closed, nothing used.") % {"what": what}
        case AsFound.OPENED:
            return _("%(what)s is back: opened.") % {"what": what}
        case _:
            return _("%(what)s is back: sort later.") % {"what": what}


def _remarks(back: custody.HandedBack) -> list[str]:
    said = [wording.irregular(code) for code in back.irregular]
    lines = back.use.lines if back.use else ()
    if lines:
        used = ", ".join(f"{line.units} × {line.item.name}" for line in lines)
        said.append(_("Used: %(used)s.") % {"used": used})
    found = sum(line.found for line in lines)
    if found:
        said.append(
            _("The book did not hold %(found)d of that: written as found and used.")
            % {"found": found}
        )
    return said


def _after_hand_in(act: Act, back: custody.HandedBack) -> list[Next]:
    undo = Next("undo", _("That was a mistake"), str(back.entry.pk))
    kit = back.kit
    if not _theirs(act, kit) or back.as_found in derive.CLOSED:
        return [undo]
    return [
        Next("log-use", _("Say what was used"), kit.name, needs=("used",)),
        Next("look-inside", _("Look inside"), kit.name),
        Next("restock", _("See what it lacks"), kit.name),
        undo,
    ]


# ----------------------------------------------------------------------------------------- at large
def not_a_kit(meaning: Meaning) -> Problem:
    """The refusal of a label that is on something else where a kit is wanted."""
    return Invalid(
        _("This label is %(what)s, not on a kit. Scan the kit's own label.")
        % {"what": find.on_what(meaning.means)},
        code="not-a-kit",
        means=str(meaning.means),
    )


def _theirs(act: Act, kit: Kit) -> bool:
    return act.actor.belongs_to(kit.home_room_id) or act.actor.belongs_to(kit.room_id)


def _kit_of(meaning: Meaning) -> Kit:
    kit = meaning.kit
    if kit is None and meaning.label is not None and meaning.label.place is not None:
        kit = meaning.label.place.kit
    if kit is None:
        raise not_a_kit(meaning)
    return kit


def _section_of(meaning: Meaning) -> Place | None:
    return meaning.label.place if meaning.label is not None else None


def _thing(act: Act, meaning: Meaning, kit: Kit) -> Thing | None:
    """The kit as it stands now; to somebody of other rooms, what a passer-by sees."""
    if _theirs(act, kit):
        return showing.kit_seen(act.actor, find.kits_of(act.actor).get(pk=kit.pk))
    return passerby.facts_of(meaning.label, act.actor) if meaning.label else None


def _time(kit: Kit, at: datetime | None) -> str:
    if at is None:
        return _("at no set time")
    local = at.astimezone(ZoneInfo(kit.home_room.time_zone))
    return formats.date_format(local, pgettext("date format", "l j F, H:i"))


def _what(kit: Kit, section: Place | None) -> str:
    return (
        _("%(section)s of %(kit)s") % {"section": section.name, "kit": kit.name}
        if section
        else kit.name
    )
