"""What was read stands for: looked up in the book for all that was read at once."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Q
from django.db.models.functions import Upper
from django.utils.translation import gettext_lazy as _lazy

from gearroom.core import clock
from gearroom.core.acts import SYSTEM, Actor
from kits.models import Kit, Label, LabelKind, Place
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.lookup import find
from kits.services.text.wording import in_words
from labels.rules.codes import gs1
from labels.rules.codes.scans import FOREIGN, TYPED, Means, Reading
from labels.rules.codes.typed import ResolvedText, TextKind, resolve
from labels.services import passerby

NOT_IN_THE_BOOK = _lazy("This looks like one of our labels, but it was not created here.")
_LONGEST_NAME = 40
_FACTS_OF = (LabelKind.KIT, LabelKind.SECTION)


@dataclass(frozen=True)
class Meaning:
    """One reading, and what it stands for.

    `label` is there for every label of ours, `kit` also for a kit named by a typed text. `offered`
    is the one label that a wrong code may have meant: to be offered, never taken; `kits` are those
    that a typed text may be short for, where there are several. `says` is a sentence for a person
    where it is nothing to act on.
    """

    seen: Reading
    means: Means
    label: Label | None = None
    kit: Kit | None = None
    offered: Label | None = None
    kits: Sequence[Kit] = ()
    pack: gs1.MakersCode | None = None
    says: str = ""

    @property
    def place(self) -> Place | None:
        """The shelf or section whose label was read."""
        return self.label.place if self.label else None


def meanings(
    actor: Actor, readings: Sequence[Reading], *, today: date, any_room: bool = False
) -> list[Meaning]:
    """What each reading stands for, in its order; the same label read twice is there once. Five
    queries at most, however many readings there are.

    `any_room`: labels of rooms that are not the asker's are told too (a hand-in, an emergency);
    otherwise they are ELSEWHERE.
    """
    typed = [resolve(each.text, today=today, from_gs1_symbol=each.is_gs1) for each in readings]
    own = Label.objects.select_related(*labelling.SHOWN_WITH).filter(
        code__in={t.code for t in typed if t.kind == TextKind.OWN and t.code}
    )
    labels = {row.code: row for row in own}
    people = passerby.people_of(actor, labels.values())
    names = _kits_named(actor, [s for s in readings if s.symbology == TYPED], any_room=any_room)
    near = _labels_one_character_away(
        actor, [t.code for t in typed if t.kind == TextKind.OWN_WRONG and t.code]
    )
    short = find.kits_short_for_each(
        actor,
        {
            _name(each.text)
            for each, text in zip(readings, typed, strict=True)
            if each.symbology == TYPED
            and text.kind == TextKind.OTHER
            and _name(each.text) not in names
        },
    )
    resolved: list[Meaning] = []
    for each, text in zip(readings, typed, strict=True):
        kit = names.get(_name(each.text)) if each.symbology == TYPED else None
        if kit is not None and text.kind != TextKind.OWN:
            meaning = Meaning(each, Means.KIT, kit=kit)
        elif text.kind == TextKind.OWN:
            meaning = _meaning_of_own(
                actor, each, labels.get(text.code or ""), people, any_room=any_room
            )
        else:
            meaning = _short_name(each, short.get(_name(each.text), [])) or _meaning_of_other(
                each, text, near
            )
        if not any(_is_same(meaning, other) for other in resolved):
            resolved.append(meaning)
    return resolved


def _meaning_of_own(
    actor: Actor, reading: Reading, label: Label | None, people: Collection[int], *, any_room: bool
) -> Meaning:
    if label is None:
        return Meaning(reading, Means.UNKNOWN_LABEL, says=str(NOT_IN_THE_BOOK))
    if label.cancelled_at is not None:
        return Meaning(reading, Means.CANCELLED, label=label)
    if not passerby.belongs(actor, label, people) and not (any_room and label.kind in _FACTS_OF):
        return Meaning(reading, Means.ELSEWHERE, label=label)
    return Meaning(reading, Means(label.kind), label=label, kit=label.kit)


def _short_name(reading: Reading, kits: Sequence[Kit]) -> Meaning | None:
    """What was typed for a kit's name by somebody who left a part of it out."""
    if len(kits) == 1:
        return Meaning(reading, Means.KIT, kit=kits[0])
    return Meaning(reading, Means.OTHER, kits=kits) if kits else None


def _meaning_of_other(reading: Reading, text: ResolvedText, near: dict[str, Label]) -> Meaning:
    sentence = in_words(text.says or "")
    match text.kind:
        case TextKind.OWN_WRONG:
            return Meaning(
                reading, Means.WRONG_CODE, offered=near.get(text.code or ""), says=sentence
            )
        case TextKind.MAKER:
            return Meaning(reading, Means.MAKER, pack=text.maker)
        case TextKind.MAKER_WRONG:
            return Meaning(reading, Means.MAKER_WRONG, says=sentence)
    return Meaning(reading, FOREIGN[text.kind], says=sentence)


def _is_same(one: Meaning, other: Meaning) -> bool:
    if one.kit is not None and other.kit is not None:  # it may have several labels
        return one.kit.pk == other.kit.pk
    if one.label is not None and other.label is not None:
        return one.label.pk == other.label.pk
    # Two equal packs side by side are two packs; two of anything else are one.
    return one.seen.text == other.seen.text and one.means != Means.MAKER


def _name(text: str) -> str:
    return text.strip().upper()


def _kits_named(actor: Actor, readings: Sequence[Reading], *, any_room: bool) -> dict[str, Kit]:
    """Kits whose very name was typed, by the name in capitals."""
    texts = [each.text.strip() for each in readings]
    wanted = [text for text in texts if text.isprintable() and 0 < len(text) <= _LONGEST_NAME]
    if not wanted:
        return {}
    rows = find.kits_of(SYSTEM if any_room else actor)
    # SQLite makes capitals of ASCII alone; a name of other letters is found as it is written.
    rows = rows.annotate(capitals=Upper("name")).filter(
        Q(capitals__in=[text.upper() for text in wanted]) | Q(name__in=wanted)
    )
    return {_name(row.name): row for row in rows}


def _labels_one_character_away(actor: Actor, wrong: Sequence[str]) -> dict[str, Label]:
    """For each wrong code the label of somebody's rooms that is one character away from it; none
    where there are several."""
    candidates = {code: label_codes.corrections(code) for code in wrong}
    every = {candidate for near in candidates.values() for candidate in near}
    if not every:
        return {}
    rows = labelling.labels_of(actor).active().filter(code__in=every)
    known = {code: [row for row in rows if row.code in near] for code, near in candidates.items()}
    return {code: there[0] for code, there in known.items() if len(there) == 1}


def code_in(text: str) -> str:
    """The code that a scanned text holds; any other text as it is."""
    typed = resolve(text, today=clock.now().date())
    return typed.code if typed.kind == TextKind.OWN and typed.code else text
