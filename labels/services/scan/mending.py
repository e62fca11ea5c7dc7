"""Kits scanned that may not go as they are: checked, or something added, by one tap."""

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, NotFound, part
from kits.models import Entry, Kit
from kits.services.lookup import find, holders
from kits.services.restocking import adding, sealing, sorting
from labels.rules.codes.scans import Means
from labels.services.scan import kit_scans, views
from labels.services.scan.resolve import Meaning
from labels.services.scan.results import NextStep, Outcome, ScanRequest, ScanResult, Step


def check(act: Act, meaning: Meaning) -> Outcome:
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


def add(act: Act, meaning: Meaning, ask: ScanRequest) -> Outcome:
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
    if meaning.place is not None:
        raise kit_scans.not_a_kit(meaning)
    if not find.sees_kit(act.actor, kit):
        raise NotFound("kit", kit.name)
    held = holders.open_checkout(kit)
    if held is not None:
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
