"""What a stranger sees of a label: what it is, whose it is, how to return it; nothing more.

The same goes for somebody who is signed in but has nothing to do with the room.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.models.installation import current
from kits.models import Label, LabelKind
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.ledger import kit_state
from kits.services.lookup import find

_WHAT = {
    LabelKind.SECTION: _lazy("A pouch from a first aid kit"),
    LabelKind.LOT: _lazy("Stock from a gear room"),
    LabelKind.SHELF: _lazy("A shelf in a gear room"),
    LabelKind.PERSON: _lazy("Somebody’s name tag"),
    LabelKind.BLANK: _lazy("A label that is not linked to anything yet"),
}


@dataclass(frozen=True)
class Facts:
    """A label as a passer-by sees it. `yours`: whoever asks belongs to its room and may see more.

    `code` as people see it. `whose` is the organisation and its gear room. `replaced_by`: the code
    of the label that took the place of a cancelled one.
    """

    code: str
    kind: str
    what: str
    whose: str
    how_to_return: str
    phone: str
    yours: bool
    cancelled: bool = False
    replaced_by: str = ""


def label_of(code: str) -> Label | None:
    """The label with this code, written in any way, with what it is on; None if nobody here made
    it."""
    return (
        Label.objects.select_related(*labelling.SHOWN_WITH)
        .filter(code=label_codes.parse(code) or "")
        .first()
    )


def facts_of(label: Label, actor: Actor | None) -> Facts:
    """What a passer-by sees of a label, which comes with what it is on. `actor` is None for whoever
    is not signed in."""
    left = _has_left(label)
    room = None if left else home_of(label)
    after = labelling.successor(label) if label.cancelled_at else None
    return Facts(
        code=label_codes.shown(label.code),
        kind=label.kind,
        what=_("First aid kit %(kit)s") % {"kit": label.kit.name}
        if label.kit
        else str(_WHAT[LabelKind(label.kind)]),
        whose=""
        if left
        else ", ".join(filter(None, (current().organisation, room.name if room else ""))),
        how_to_return=room.how_to_return if room else "",
        phone=room.phone if room else "",
        yours=actor is not None and belongs(actor, label),
        cancelled=label.cancelled_at is not None,
        replaced_by=label_codes.shown(after.code) if after else "",
    )


def _has_left(label: Label) -> bool:
    """Whether what it is on was sold or given away: it is whoever's it is now."""
    kit = label.of_kit
    return kit is not None and kit.retired_on is not None and kit_state.has_left(kit)


def home_of(label: Label) -> Room | None:
    """The room that a label, or what it is on, belongs to."""
    if label.of_kit is not None:
        return label.of_kit.home_room
    if label.place is not None:
        return label.place.room
    if label.person is not None:
        return label.room or label.person.home_room
    return label.room


def belongs(actor: Actor, label: Label, people: Collection[int] | None = None) -> bool:
    """Whether somebody may know more of a label than a passer-by.

    Kits: at home or now in a room of theirs. Batches and blanks belong to the organisation: one
    room is enough. People: those they may see, among whom `people` are (ids) where that was asked
    for many labels at once.
    """
    if label.of_kit is not None:
        return find.sees_kit(actor, label.of_kit)
    if label.place is not None:
        return actor.belongs_to(label.place.room_id)
    if label.person_id is not None:
        return label.person_id in (people_of(actor, [label]) if people is None else people)
    return actor.everywhere or bool(actor.roles)


def people_of(actor: Actor, labels: Iterable[Label]) -> frozenset[int]:
    """Whose tags among these labels somebody may see (ids): their own, and those of people whom
    they may see."""
    wanted = {label.person_id for label in labels if label.person_id}
    own = {actor.person.pk} if actor.person is not None else set()
    if wanted <= own or not actor.may("see_people"):
        return frozenset(wanted & own)
    visible = find.people_of(actor).filter(pk__in=wanted).values_list("pk", flat=True)
    return frozenset(wanted & own) | frozenset(visible)
