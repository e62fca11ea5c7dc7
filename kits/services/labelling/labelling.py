"""Labels: codes made for things, blanks made ahead and bound later, cancelled and replaced.

A code is drawn at random, so that nothing can be learnt or guessed from it; what it means is
in the book alone. A label that was cancelled keeps its code for ever and leads to the one that
took its place.
"""

import secrets
import uuid
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models.functions import Upper
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import SYSTEM, Act, Actor, Invalid, NotFound, Refused
from gearroom.core.models import Person, Room
from kits.models import EntryKind, Kit, Label, LabelKind, Lot, Place, PlaceKind
from kits.models.details import LabelDetail
from kits.models.labels import LabelQuerySet
from kits.rules.lookup import label_codes
from kits.services.ledger.book import Book
from kits.services.lookup import find
from kits.services.text.amounts import units

Target = Kit | Place | Lot | Person

MOST_BLANKS = 1000
"""Blanks made in one act."""

SHOWN_WITH = (
    "kit__home_room",
    "kit__room",
    "kit__list_version__packing_list",
    "place__room",
    "place__kit__home_room",
    "place__kit__room",
    "place__kit__list_version__packing_list",
    "lot__item",
    "person__home_room",
    "room",
    "replaced_by",
)
"""What is loaded along with labels that are to be shown."""

_ROUNDS = 8


def label_for(act: Act, target: Target, room: Room | None = None) -> Label:
    """Make a label for a kit, a section, a batch, a shelf or a person.

    `room` is whose label it is, for a batch and a person, who belong to no room by themselves.
    """
    bound = _bound(target)
    room = _room_of(target) or room or act.room
    act.actor.require("print_labels", room.pk if room else None)
    with Book(act) as book:
        made = _draw(act, 1, room, bound)[0]
        _write(book, made, _detail(made, "made"))
    return made


def labels_for(
    act: Act, targets: Sequence[Target], room: Room | None = None, *, again: bool = False
) -> list[Label]:
    """A label for each of several things: the one that it has, or a new one; with `again` always
    a new one."""
    return [
        (None if again else live(target, act.actor))
        or label_for(replace(act, key=uuid.uuid5(act.key, str(number))), target, room)
        for number, target in enumerate(targets)
    ]


def blanks(act: Act, room: Room, count: int) -> list[Label]:
    """Make blank labels for a room, to be bound when they are stuck on. At most `MOST_BLANKS`."""
    act.actor.require("print_labels", room.pk)
    if units(count, field="blanks") > MOST_BLANKS:
        raise Invalid(
            _("Create at most %(most)d blank labels at a time.") % {"most": MOST_BLANKS},
            field="blanks",
        )
    with Book(act) as book:
        made = _draw(act, count, room, {"kind": LabelKind.BLANK})
        book.post(
            EntryKind.LABEL,
            room=room,
            detail={"did": "made", "is": LabelKind.BLANK, "codes": [each.code for each in made]},
        )
    return made


def bind(act: Act, code: str, target: Target) -> Label:
    """Bind a blank label to what it was stuck on; once more to the same thing changes nothing.

    Raises NotFound, and Refused: `label-cancelled`, or `label-bound` with what it is bound to.
    """
    label = find.label(code)
    blank = label.kind == LabelKind.BLANK
    if blank and label.room_id is not None and not act.actor.belongs_to(label.room_id):
        raise NotFound("label", code)  # another room printed it, for things of its own
    bound = _bound(target)
    room = _room_of(target) or label.room or act.room
    act.actor.require("bind_label", room.pk if room else None)
    if binding(label) == bound:
        return label
    with Book(act) as book:
        now = clock.now()
        won = (
            Label.objects.active()
            .filter(pk=label.pk, kind=LabelKind.BLANK)
            .update(**bound, room=room, bound_at=now)
        )
        label = find.label(code)
        if not won:
            if binding(label) == bound:
                return label
            theirs = labels_of(act.actor).filter(pk=label.pk).exists()
            on = name_of(label) if theirs else find.on_what(label.kind)
            raise Refused(
                "label-bound",
                _(
                    "The label %(code)s is already in use: %(on)s. Use another blank label. If "
                    "this label was moved, cancel it there first and print a new one."
                )
                % {"code": label_codes.shown(label.code), "on": on},
                label=label_codes.shown(label.code),
                means=label.kind,
                bound_to=on,
            )
        _write(book, label, _detail(label, "bound"))
    return label


def cancel(act: Act, code: str, why: str, *, and_replace: bool = False) -> Label:
    """Cancel a label, and with `and_replace` make the one that takes its place (`replaced_by`).

    Raises NotFound, and Refused `label-cancelled` where it was cancelled before.
    """
    label = find.label(code)
    act.actor.require("cancel_label", label.room_id)
    replacement = None
    with Book(act) as book:
        if and_replace:
            replacement = _draw(act, 1, label.room, binding(label))[0]
            _write(book, replacement, _detail(replacement, "made"))
        won = (
            Label.objects.active()
            .filter(pk=label.pk)
            .update(cancelled_at=clock.now(), cancelled_why=why, replaced_by=replacement)
        )
        if not won:
            find.label(code)  # raises: somebody cancelled it meanwhile
        label.refresh_from_db()
        detail = _detail(label, "cancelled")
        detail |= {"why": why, "replaced_by": replacement.code if replacement else None}
        _write(book, label, detail)
    return label


def successor(label: Label) -> Label | None:
    """The label that counts now in the place of a cancelled one, however often it was replaced."""
    passed = {label.pk}
    while label.cancelled_at is not None:
        after = label.replaced_by
        if after is None or after.pk in passed:
            return None
        passed.add(after.pk)
        label = after
    return label


def live(target: Target, actor: Actor = SYSTEM) -> Label | None:
    """The newest label of a thing that counts, among those that somebody may see."""
    return labels_of(actor).active().filter(**_bound(target)).order_by("-id").first()


def labels_of(actor: Actor) -> LabelQuerySet:
    """The labels of somebody's rooms (see `find.labels_of`), with all that is shown of them."""
    return find.labels_of(actor).select_related(*SHOWN_WITH)


def one_of(actor: Actor, code: str) -> Label:
    """A label of somebody's rooms by its code, cancelled or not. Raises NotFound."""
    label = labels_of(actor).filter(code=label_codes.parse(code) or "").first()
    if label is None or (label.kind == LabelKind.PERSON and not actor.may("see_people")):
        raise NotFound("label", code)
    return label


def stamp_printed(labels: Sequence[Label]) -> None:
    """Note that labels were handed out for printing."""
    Label.objects.filter(pk__in=[each.pk for each in labels]).update(printed_at=clock.now())


def binding(label: Label) -> dict[str, Any]:
    """What a label is bound to, as its columns have it."""
    return {
        "kind": label.kind,
        "kit_id": label.kit_id,
        "place_id": label.place_id,
        "lot_id": label.lot_id,
        "person_id": label.person_id,
    }


def name_of(label: Label) -> str:
    """What a label is on, in a few words, such as `kit DAY-01` or `shelf C2`."""
    if label.kit is not None:
        return _("kit %(kit)s") % {"kit": label.kit.name}
    if label.place is not None and label.place.kit is not None:
        return _("%(pouch)s of %(kit)s") % {
            "pouch": label.place.name,
            "kit": label.place.kit.name,
        }
    if label.place is not None:
        return _("shelf %(shelf)s") % {"shelf": label.place.name}
    if label.lot is not None:
        number = label.lot.number or label.lot.serial
        sentence = (
            _("%(thing)s, batch %(number)s") if number else _("%(thing)s, batch without a number")
        )
        return sentence % {"thing": label.lot.item.name, "number": number}
    return _("%(name)s’s tag") % {"name": label.person.name} if label.person else _("blank label")


def _bound(target: Target) -> dict[str, Any]:
    empty = {"kit_id": None, "place_id": None, "lot_id": None, "person_id": None}
    match target:
        case Kit():
            return {**empty, "kind": LabelKind.KIT, "kit_id": target.pk}
        case Lot():
            return {**empty, "kind": LabelKind.LOT, "lot_id": target.pk}
        case Person():
            return {**empty, "kind": LabelKind.PERSON, "person_id": target.pk}
    kinds = {PlaceKind.SECTION: LabelKind.SECTION, PlaceKind.SHELF: LabelKind.SHELF}
    if (kind := kinds.get(PlaceKind(target.kind))) is None:
        raise Invalid(
            _("%(place)s cannot have a label: only shelves and sections of kits can.")
            % {"place": target.name}
        )
    return {**empty, "kind": kind, "place_id": target.pk}


def _room_of(target: Target) -> Room | None:
    kit = target.kit if isinstance(target, Place) else target
    if isinstance(kit, Kit):
        return kit.home_room
    return target.room if isinstance(target, Place) else None


def _draw(act: Act, count: int, room: Room | None, bound: dict[str, Any]) -> list[Label]:
    """Make labels with codes that no label and no kit has."""
    for _round in range(_ROUNDS):
        drawn: set[str] = set()
        while len(drawn) < count:
            drawn.add(label_codes.new_code(secrets.choice))
        if _taken(drawn):
            continue
        now = clock.now()
        blank = bound["kind"] == LabelKind.BLANK
        try:
            with transaction.atomic():
                return Label.objects.bulk_create(
                    Label(
                        code=code,
                        room=room,
                        made_at=now,
                        made_by=act.person,
                        bound_at=None if blank else now,
                        **bound,
                    )
                    for code in drawn
                )
        except IntegrityError:  # another drew the same meanwhile
            continue
    raise RuntimeError("no free label code is left")


def _taken(drawn: set[str]) -> bool:
    names = drawn | {label_codes.shown(code) for code in drawn}
    return (
        Label.objects.filter(code__in=drawn).exists()
        or Kit.objects.annotate(capitals=Upper("name")).filter(capitals__in=names).exists()
    )


def _detail(label: Label, did: str) -> LabelDetail:
    return {
        "did": did,
        "is": label.kind,
        "label": label.code,
        "place": label.place_id,
        "person": label.person_id,
    }


def _write(book: Book, label: Label, detail: LabelDetail) -> None:
    book.post(EntryKind.LABEL, kit=label.of_kit, lot=label.lot, room=label.room, detail=detail)
