"""Sealing. Before a seal goes on: what is not replaced, in words, and the refusal that asks. When
it is on: whether the bag closed over what is in it, and what it weighs."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Q, Sum
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Refused
from gearroom.core.models import Room
from gearroom.core.rules.grouping import summed
from kits.models import (
    Closing,
    Entry,
    EntryKind,
    Holding,
    Item,
    Kit,
    ListLine,
    Photo,
    Place,
    Seal,
    SealFact,
)
from kits.rules.ledger import Level
from kits.rules.planning.fit import Part, bulk
from kits.rules.restocking import sealing as rule
from kits.rules.restocking.sealing import Lack, NotReplaced
from kits.services.ledger import Book, kit_book, readiness

MOST_MASS_G = 100_000


@dataclass(frozen=True)
class Closed:
    """What somebody says of a bag that is sealed: whether it closed (None: nothing), and what it
    weighs on a scale (g)."""

    closed: bool | None = None
    mass_g: int | None = None


NOT_SAID = Closed()


def not_replaced(kit: Kit, section: Place | None = None) -> list[NotReplaced]:
    """What is not replaced in a kit today, or in one of its sections."""
    return rule.not_replaced(
        readiness.states([kit.pk])[kit.pk],
        readiness.today_of(kit),
        section.section_key if section else None,
    )


def not_replaced_refusal(kit: Kit, rows: Sequence[NotReplaced]) -> Refused:
    """The question that comes before a seal on a kit with items not replaced; `lines` has them."""
    return Refused(
        "not-replaced",
        question(rows),
        kit=kit.name,
        count=sum(row.count for row in rows),
        lines=[
            {
                "item": row.thing.id,
                "name": row.thing.name,
                "section": row.section,
                "units": row.count,
                "why": str(row.lack),
                "text": line(row),
            }
            for row in rows
        ],
    )


def question(rows: Sequence[NotReplaced]) -> str:
    """*3 not replaced: seal anyway?*"""
    out = sum(row.count for row in rows if row.lack is Lack.COMES_OUT)
    missing = sum(row.count for row in rows) - out
    if not out:
        return _("%(count)d not replaced: seal anyway?") % {"count": missing}
    sentence = (
        _("%(count)d not replaced, %(out)d must be removed: seal anyway?")
        if missing
        else _("%(out)d must be removed: seal anyway?")
    )
    return sentence % {"count": missing, "out": out}


def line(row: NotReplaced) -> str:
    """One item that is not replaced, in a few words."""
    texts: dict[Lack | Level | None, str] = {
        Lack.NOT_REPLACED: _("%(count)d × %(thing)s not replaced"),
        Lack.COMES_OUT: _("%(count)d × %(thing)s must be removed"),
        Level.LOW: _("%(thing)s: low"),
        Level.EMPTY: _("%(thing)s: empty"),
    }
    text = texts.get(row.lack) or texts.get(row.level) or _("%(thing)s: level not checked")
    return text % {"count": row.count, "thing": row.thing.name}


def refuse_if_in_use(kit: Kit, section: Place | None, number: str) -> None:
    """Raise Refused where a seal with this number is on already: `sealed-already` there,
    `seal-in-use` elsewhere."""
    if (in_use := Seal.objects.unbroken().filter(number__iexact=number).first()) is None:
        return
    if (in_use.kit_id, in_use.section_id) == (kit.pk, section.pk if section else None):
        raise Refused(
            "sealed-already",
            _("%(kit)s already has seal %(number)s.") % {"kit": kit.name, "number": number},
        )
    raise Refused(
        "seal-in-use",
        _("Seal %(number)s is on %(kit)s. Check the number again, or look at that kit.")
        % {"number": number, "kit": in_use.kit.name},
        kit=in_use.kit.name,
    )


def refuse_if_opened_since(book: Book, kit: Kit, section: Place | None) -> None:
    """Raise Refused (`opened-since`) where a seal is claimed to have gone on before the latest
    opening or seal that is on record: it is not what is on the kit now."""
    if (claim := book.claim()) is None:
        return
    since = Q(entry__claimed_at__gt=claim) | Q(entry__claimed_at=None, entry__occurred_at__gt=claim)
    later = SealFact.objects.filter(since, kit=kit, entry__reversed_by=None)
    if (later.filter(section=section) if section else later).exists():
        raise Refused(
            "opened-since",
            _(
                "%(kit)s has since been opened or resealed. Check which seal is on the kit now, "
                "and enter its number."
            )
            % {"kit": kit.name},
            kit=kit.name,
        )


# ------------------------------------------------------------------------------ whether it closed
def check_closed(said: Closed) -> None:
    """Raise Invalid (field `mass_g`) for a weight that no bag has."""
    if said.mass_g is not None and not 1 <= said.mass_g <= MOST_MASS_G:
        raise Invalid(
            _("Enter the weight in grams, from 1 to %(most)s.") % {"most": MOST_MASS_G},
            field="mass_g",
        )


def write_closed(entry: Entry, kit: Kit, section: Place | None, said: Closed) -> None:
    """Keep, with an entry, whether a kit or one of its sections closed over what is in it now."""
    if said == NOT_SAID:
        return
    parts = _inside(kit, section)
    whole = bulk(parts)
    units = sum(part.units for part in parts)
    unknown = sum(part.units for part in parts if part.item in whole.volume_unknown)
    Closing.objects.create(
        entry=entry,
        kit=kit,
        section=section,
        closed=said.closed,
        volume_ml=whole.volume_ml,
        known_share=1 - unknown / units if units else 1,
        mass_g=said.mass_g,
    )


def _inside(kit: Kit, section: Place | None) -> list[Part]:
    """What is on record in a kit's bag, or in one of its sections; of what is loose, one."""
    lines = ListLine.objects.filter(section__version=kit.list_version_id)
    if section is not None:
        lines = lines.filter(section__key=section.section_key)
        places = Place.objects.filter(pk=section.pk)
    else:
        beside = kit.list_version.sections.filter(outside=True).values("key")
        lines = lines.filter(section__outside=False)
        places = kit.sections.exclude(section_key__in=beside)
    held = (
        Holding.objects.on_hand()
        .filter(place__in=places)
        .values_list("lot__item")
        .annotate(units=Sum("units"))
    )
    units = dict(held.order_by())
    units |= dict.fromkeys(lines.filter(item__by_eye=True).values_list("item", flat=True), 1)
    return [
        Part(item.pk, units[item.pk], item.volume_ml, item.mass_g)
        for item in Item.objects.filter(pk__in=units)
    ]


# ----------------------------------------------------------------------------------- a seal goes on
def reseal(
    act: Act,
    kit: Kit,
    number: str,
    *,
    section: Place | None = None,
    anyway: bool = False,
    closed: Closed = NOT_SAID,
    packed: Sequence[tuple[Place, bytes]] = (),
) -> Seal:
    """Put a numbered seal on a kit, or on one of its sections; with whether it closed, and what it
    weighs, where somebody says so; `packed` are photos of how sections are packed.

    A seal is no check: a kit that waits to be sorted waits on until somebody looks inside,
    restocks or counts. Raises Refused: `seal-in-use`, `sealed-already`, `opened-since`;
    `not-replaced` where something that was used is not replaced or may not stay inside, unless
    `anyway`.
    """
    number = number.strip()
    if not number or len(number) > 40:
        raise Invalid(_("Enter the number printed on the seal, up to 40 characters."), field="seal")
    check_closed(closed)
    with kit_book(act, kit, here="reseal") as (book, kit):
        refuse_if_opened_since(book, kit, section)
        refuse_if_in_use(kit, section, number)
        lacking = not_replaced(kit, section)
        if lacking and not anyway:
            raise not_replaced_refusal(kit, lacking)
        units_lacking = summed((str(row.thing.id), row.count) for row in lacking)
        entry = book.post(
            EntryKind.RESEAL,
            kit=kit,
            detail={
                "number": number,
                "section": section.section_key if section else None,
                "ends_sorting": False,
                "not_replaced": units_lacking,
            },
        )
        Seal.objects.unbroken().filter(kit=kit, section=section).update(broken=entry)
        write_closed(entry, kit, section, closed)
        Photo.objects.bulk_create(
            Photo(entry=entry, section=pouch, jpeg=jpeg) for pouch, jpeg in packed
        )
        return Seal.objects.create(kit=kit, section=section, number=number, put_on=entry)


def next_seal_number(room: Room) -> str:
    """The number after the last one that was put on a kit in a room: the next on the strip, or
    nothing where the last does not end in digits."""
    last = (
        Seal.objects.filter(put_on__room=room)
        .order_by("-id")
        .values_list("number", flat=True)
        .first()
    )
    if (match := re.search(r"^(.*?)(\d+)$", last or "")) is None:
        return ""
    head, digits = match.groups()
    return f"{head}{int(digits) + 1:0{len(digits)}d}"
