"""Makers' codes, batches and shelves scanned: for stock that arrives, and for counting.

Nothing is written here: what was read is laid out, ready to be confirmed.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _, ngettext

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Unacceptable
from kits.models import Lot, PackCode, Place, Recall, RecallScope
from kits.services.ledger import lots
from kits.services.text import wording
from labels.models import Scan
from labels.rules.codes import gs1
from labels.rules.codes.scans import Intent, Means, Reading
from labels.rules.codes.typed import TextKind, resolve
from labels.services.scan import views
from labels.services.scan.resolve import Meaning, meanings
from labels.services.scan.results import NextStep, Outcome, ScannedPack, ScanResult, Step, resend

_SAME_BOX_WITHIN = timedelta(minutes=15)
_SCANS_LOOKED_AT = 50


def known_packs(readings: Sequence[gs1.Pack]) -> list[ScannedPack]:
    """A maker's code's readings with what the book knows of each; four queries for all."""
    codes = {
        row.gtin: row
        for row in PackCode.objects.select_related("item").filter(
            gtin__in={pack.gtin for pack in readings if pack.gtin}
        )
    }
    known = list(_lots_like(codes.values(), readings))
    recalls = list(
        Recall.objects.blocking().filter(item__in={code.item_id for code in codes.values()})
    )
    packs = []
    for pack in readings:
        code = codes.get(pack.gtin or "")
        number, serial = _normal(pack.lot), _normal(pack.serial)
        lot = _known_lot(known, code.item_id, number, serial, pack.expiry) if code else None
        packs.append(
            ScannedPack(
                gtin=pack.gtin or "",
                number=number,
                serial=serial,
                expiry=pack.expiry,
                count=pack.count,
                units_per_pack=code.units_per_pack if code else None,
                units=pack.count or (code.units_per_pack if code else None),
                item=code.item_id if code else None,
                item_name=code.item.name if code else "",
                base_unit=code.item.base_unit if code else "",
                lot=lot.pk if lot else None,
                recalled=lot.recall_id is not None
                if lot
                else code is not None and _is_recalled(recalls, code.item_id, number),
            )
        )
    return packs


def _known_lot(
    rows: Iterable[Lot], item_id: int, number: str, serial: str, expiry: date | None
) -> Lot | None:
    """The batch of an item that is on record with what a code has of it."""
    if not (number or serial or expiry):
        return None
    same = (
        row
        for row in rows
        if (row.serial == serial if row.serial else (row.number, row.expiry) == (number, expiry))
    )
    return next((row for row in same if row.item_id == item_id), None)


def _is_recalled(recalls: Sequence[Recall], item_id: int, number: str) -> bool:
    """Whether a batch that is new here is recalled; where its number is not in the code, only
    what is so of every batch is known."""
    blocking = lots.blocking([each for each in recalls if each.item_id == item_id], number)
    return blocking is not None and bool(number or blocking.scope != RecallScope.NUMBER)


def _normal(number: str | None) -> str:
    return lots.normal(number or "")


def _lots_like(codes: Iterable[PackCode], readings: Sequence[gs1.Pack]) -> Iterable[Lot]:
    numbers = {_normal(pack.lot) for pack in readings}
    serials = {_normal(pack.serial) for pack in readings} - {""}
    return Lot.objects.filter(
        Q(number__in=numbers, serial="") | Q(serial__in=serials),
        item__in={code.item_id for code in codes},
        opened_on__isnull=True,
    )


def pack(
    act: Act, meaning: Meaning, code: gs1.MakersCode, intent: Intent, place: Place | None
) -> Outcome:
    """A maker's code: which item and batch it is, to be confirmed; never taken by itself."""
    packs = known_packs(code.candidates)
    best = packs[0]
    name = best.item_name or (
        _("A pack with the code %(gtin)s") % {"gtin": best.gtin} if best.gtin else _("A batch")
    )
    sentence = [f"{name}, {_batch_text(best)}."]
    if len(packs) > 1 or code.confirm:
        sentence.append(_("Compare with the pack: this code can be read in more than one way."))
    if best.recalled:
        sentence.append(_("This batch has been recalled: it goes into quarantine."))
    steps: list[NextStep] = []
    before = None
    if intent == Intent.RECEIVE:
        if (before := _earlier_scan(act, code.best)) is not None:
            sentence.append(_repeat_text(code.best, before))
        steps = [step for each in packs for step in _receive(each, place, again=before is not None)]
    elif intent == Intent.IDENTIFY and act.actor.could("receive"):
        steps = [step for each in packs for step in _receive(each, None, again=False)]
    elif intent == Intent.COUNT:
        steps = [
            _count_line({"lot": str(each.lot)}, place)
            if each.lot
            else _count_line(
                {"item": each.item}, place, _("This batch is new here: count the item")
            )
            for each in packs
            if each.item is not None
        ]
    return Outcome(
        meaning.seen,
        Means.MAKER,
        ScanResult.IDENTIFIED if intent == Intent.IDENTIFY else ScanResult.READY,
        " ".join(sentence),
        packs=packs,
        again=before is not None,
        next=steps,
    )


def _batch_text(pack: ScannedPack) -> str:
    words = [_("batch %(number)s") % {"number": pack.number}] if pack.number else []
    if pack.serial:
        words.append(_("serial number %(serial)s") % {"serial": pack.serial})
    if pack.expiry:
        words.append(_("good until %(day)s") % {"day": wording.day(pack.expiry)})
    return ", ".join(words) or _("the batch and the expiry date are not in this code")


def _fields(pack: ScannedPack) -> dict[str, Any]:
    given = {
        "item": pack.item,
        "pack_code": pack.gtin,
        "number": pack.number,
        "expiry": pack.expiry.isoformat() if pack.expiry else None,
        "serial": pack.serial if not pack.number else "",
    }
    return {name: value for name, value in given.items() if value}


def _receive(pack: ScannedPack, place: Place | None, *, again: bool) -> list[NextStep]:
    """The step that confirms it; for an item that is new here, the steps before that too."""
    fields = _fields(pack)
    needs = [] if place else ["shelf"]
    if place is not None:
        fields["shelf"] = str(place.pk)
    before: list[NextStep] = []
    if pack.item is None:
        sentence = _("This item is new here: add it first")
        before.append(NextStep(Step.ADD_ITEM, sentence, needs=("name", "kind", "base_unit")))
        if pack.gtin:
            known = {"gtin": pack.gtin, **({"units_per_pack": pack.count} if pack.count else {})}
            holds = [] if pack.count else ["units_per_pack"]
            before.append(
                NextStep(
                    Step.ADD_PACK_CODE, _("Enter what a pack contains"), "", known, ["item", *holds]
                )
            )
        else:
            needs.append("item")
    if pack.units is not None:
        fields["units"] = pack.units
    else:
        needs.append("packs" if pack.gtin else "units")
    if not pack.number and not pack.serial:
        needs += ["number", "expiry"]
    elif pack.expiry is None:
        needs.append("expiry")
    sentence = _("More of the same batch?") if again else _("Receive this pack")
    return [*before, NextStep(Step.RECEIVE, sentence, "", fields, needs)]


def _count_line(line: dict[str, Any], place: Place | None, says: str = "") -> NextStep:
    """One line of a count, which still needs its units."""
    says = says or _("Count these")
    fields: dict[str, Any] = {"found": [line], "complete": False}
    if place is not None and place.kit is not None:
        fields["section"] = place.section_key
        return NextStep(Step.COUNT_KIT, says, place.kit.name, fields, ["found.0.units"])
    if place is not None:
        return NextStep(Step.COUNT, says, "", {"shelf": str(place.pk), **fields}, ["found.0.units"])
    return NextStep(Step.COUNT, says, "", fields, ["shelf", "found.0.units"])


def _earlier_scan(act: Act, pack: gs1.Pack) -> Scan | None:
    """The last scan of the same pack by the same person within minutes."""
    recent = Scan.objects.filter(
        person=act.person,
        intent=str(Intent.RECEIVE),
        means=str(Means.MAKER),
        read_at__gte=clock.now() - _SAME_BOX_WITHIN,
    ).exclude(key=act.key)
    today = clock.today(views.zone_for(act))
    for row in recent[:_SCANS_LOOKED_AT]:
        text = resolve(row.text, today=today, from_gs1_symbol=gs1.FNC1 in row.text)
        if text.kind == TextKind.MAKER and text.maker is not None and text.maker.best == pack:
            return row
    return None


def _repeat_text(pack: gs1.Pack, before: Scan) -> str:
    minutes = int((clock.now() - before.read_at).total_seconds() // 60)
    ago = (
        ngettext("%(count)d minute ago", "%(count)d minutes ago", minutes) % {"count": minutes}
        if minutes > 1
        else _("a moment ago")
    )
    if pack.serial:
        return _("The same pack was scanned %(ago)s. More of the same batch?") % {"ago": ago}
    return _("The same code was scanned %(ago)s. More of the same batch?") % {"ago": ago}


def lot(act: Act, meaning: Meaning, row: Lot, intent: Intent, place: Place | None) -> Outcome:
    """A batch by our own label."""
    # Whoever counts does not see what is expected by the record.
    scanned = views.scanned_lot(act, row, where=intent == Intent.IDENTIFY)
    sentence = (
        _("%(thing)s, batch %(batch)s, good until %(day)s.")
        if scanned.expiry
        else _("%(thing)s, batch %(batch)s.")
    ) % {
        "thing": scanned.item_name,
        "batch": scanned.number or scanned.serial or _("without a number"),
        "day": wording.day(scanned.expiry) if scanned.expiry else "",
    }
    if scanned.recalled:
        sentence += " " + _("This batch has been recalled: do not use it.")
    steps: list[NextStep] = []
    if intent == Intent.RECEIVE:
        known = {
            "number": row.number,
            "expiry": row.expiry.isoformat() if row.expiry else "",
            "serial": row.serial,
            "shelf": str(place.pk) if place else "",
        }
        fields = {"item": row.item_id, **{name: value for name, value in known.items() if value}}
        needs = ["units"] if place else ["shelf", "units"]
        steps.append(
            NextStep(Step.RECEIVE, _("More of the same batch"), fields=fields, needs=needs)
        )
    elif intent == Intent.COUNT:
        steps.append(_count_line({"lot": str(row.pk)}, place))
    return Outcome(
        meaning.seen,
        Means.LOT,
        ScanResult.IDENTIFIED if intent == Intent.IDENTIFY else ScanResult.READY,
        sentence,
        label=meaning.label,
        thing=scanned,
        next=steps,
    )


def place(meaning: Meaning, where: Place, intent: Intent) -> Outcome:
    """A shelf or a kit's section by its label."""
    scanned = views.scanned_section(where) if where.kit_id else views.scanned_shelf(where)
    what = (
        _("%(where)s of %(kit)s.") % {"where": where.name, "kit": where.kit.name}
        if where.kit
        else f"{where.name}."
    )
    steps: list[NextStep] = []
    if intent == Intent.COUNT:
        sentence = _("Count %(where)s") % {"where": where.name}
        if where.kit is not None:
            section = {"section": where.section_key}
            steps.append(NextStep(Step.COUNT_KIT, sentence, where.kit.name, section, ("found",)))
        else:
            steps.append(NextStep(Step.COUNT, sentence, "", {"shelf": str(where.pk)}, ("found",)))
    elif intent == Intent.RECEIVE and not where.kit_id:
        steps.append(
            resend(
                Intent.RECEIVE, _("Scan the items that go here"), "", ("text",), place=str(where.pk)
            )
        )
    return Outcome(
        meaning.seen,
        meaning.means,
        ScanResult.IDENTIFIED if intent == Intent.IDENTIFY else ScanResult.READY,
        what,
        label=meaning.label,
        thing=scanned,
        next=steps,
    )


# ------------------------------------------------------------------------------- a batch for a form
def batch_in(actor: Actor, read: str | Sequence[Reading]) -> Lot:
    """The one batch that a text (typed, or by a scanner) or what was read in a picture names.

    Raises Unacceptable: `nothing-read`, `not-wanted-here` (says what it is instead), `code-wrong`;
    `which-batch` where a maker's code is of a batch that is not in the book, or may be of several.
    """
    readings = [Reading(read)] if isinstance(read, str) else list(read)
    if not readings:
        raise Unacceptable(
            "nothing-read",
            _(
                "No label was found in the picture. Move closer, hold the camera still and make "
                "sure there is enough light."
            ),
        )
    resolved = meanings(actor, readings, today=clock.now().date())
    lots: dict[int, Lot] = {}
    for each in resolved:
        if each.label is not None and each.label.lot is not None:
            lots[each.label.lot.pk] = each.label.lot
        elif each.pack is not None:
            known = {pack.lot for pack in known_packs(each.pack.candidates)}
            if None in known or len(known) > 1:
                raise Unacceptable(
                    "which-batch",
                    _("This batch is not on record. Count the item without the batch."),
                )
            lots |= Lot.objects.select_related("item").in_bulk([pk for pk in known if pk])
    if len(lots) == 1:
        return next(iter(lots.values()))
    wrong = next((each for each in resolved if each.means == Means.WRONG_CODE), None)
    if wrong is not None:
        raise Unacceptable("code-wrong", wrong.says)
    raise Unacceptable(
        "not-wanted-here",
        _("This is not a batch label. Scan the batch label or the maker’s code."),
    )
