"""Lines pasted from anywhere: which items they may mean. Nothing is written."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid
from kits.models import Item, ListLine
from kits.rules.ledger.facts import Criticality
from kits.rules.lists import pasting as rules
from kits.rules.lists.pasting import Likeness, PastedLine
from kits.services.lists import signatures
from kits.services.lists.drafts import LineDraft
from kits.services.text.planning import draft_texts

MOST_LINES = 200


@dataclass(frozen=True)
class Candidates:
    """A pasted line with the items that it may mean, the most likely first; `sure`: its words are
    the item's name; `likely`: the first is meant, and no other has all those words too, or there is
    no other."""

    line: PastedLine
    items: Sequence[Item]
    sure: bool
    likely: bool

    @property
    def best(self) -> Item | None:
        """The item that is chosen unless somebody chooses another; none where it is a guess."""
        return self.items[0] if self.likely and self.line.units != 0 else None


def candidates(text: str) -> list[Candidates]:
    """What each line of a text may mean. Raises Invalid where there are too many or none."""
    lines = rules.lines(text)
    refuse_too_many(lines)
    items = {item.pk: item for item in Item.objects.active()}
    names = {pk: item.name for pk, item in items.items()}
    return [_candidates(line, names, items) for line in lines]


def refuse_too_many(lines: Sequence[object]) -> None:
    """Raise Invalid where more was pasted than there can be at once, or nothing."""
    if not lines:
        raise Invalid(_("Paste at least one line."), field="text")
    if len(lines) > MOST_LINES:
        raise Invalid(
            _("Paste at most %(most)d lines at once.") % {"most": MOST_LINES}, field="text"
        )


def meant(name: str, items: Mapping[int, str]) -> tuple[str, bool]:
    """The name of the item that a pasted text most likely means, and whether that is a guess; the
    text itself where none is likely."""
    found = rules.matches(name, items)
    if not found:
        return name, False
    best = found[0].likeness
    if best is Likeness.EXACT:
        return items[found[0].item], False
    alone = sum(match.likeness is best for match in found) == 1
    return (items[found[0].item], True) if alone and best is not Likeness.CLOSE else (name, False)


def like(name: str, items: Mapping[int, str]) -> list[str]:
    """The names of items that a text may mean, the most likely first."""
    return [items[match.item] for match in rules.matches(name, items)]


def _candidates(line: PastedLine, names: dict[int, str], items: dict[int, Item]) -> Candidates:
    found = rules.matches(line.name, names)
    best = found[0].likeness if found else None
    alone = sum(match.likeness is best for match in found) == 1
    return Candidates(
        line,
        [items[match.item] for match in found],
        sure=best is Likeness.EXACT,
        likely=alone and (len(found) == 1 or best is not Likeness.CLOSE),
    )


def as_elsewhere(items: Iterable[Item]) -> dict[int, LineDraft]:
    """The lines, by item, that another list in use has as must-have or important: of several the
    one that matters most, then the one with the highest minimum."""
    lines = ListLine.objects.filter(
        section__version__in=signatures.in_use().values("pk"),
        item__in=list(items),
        criticality__in=[Criticality.MUST_HAVE, Criticality.IMPORTANT],
    ).select_related("item", "section__version__packing_list")
    found: dict[int, ListLine] = {}
    for line in sorted(lines.defer("section__version__signed_page"), key=_weight):
        found[line.item_id] = line
    return {
        pk: LineDraft(
            line.item,
            line.carry,
            line.never_below,
            Criticality(line.criticality),
            draft_texts.kept(line.section.version),
        )
        for pk, line in found.items()
    }


def _weight(line: ListLine) -> tuple[bool, int, int, int]:
    must_have = line.criticality == Criticality.MUST_HAVE
    return must_have, line.never_below, line.section.version.number, -line.pk
