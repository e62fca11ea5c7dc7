"""The form of what was used: one tap an item, and what is reported besides.

Whoever knows the very batch scans or types its label, and it gets a field of its own, counted once;
the form is sent to itself for that and keeps what was entered.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _, ngettext

from gearroom.core.acts import Invalid
from gearroom.site.web.page import (
    FOREIGN,
    Choice,
    PageForm,
    Several,
    ShortText,
    Tick,
    WholeNumber,
    one_more,
)
from kits.models import Item, Kit, Lot
from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Level
from kits.services.custody import returns
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UsedLine, UseLine
from kits.services.custody.use_suggestions import UseSuggestions
from kits.services.kits import holds
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import find

MOST_UNITS = 999
MOST_NEEDED = 20

_NAME = re.compile(r"(used|away|lot|level)-(?:(.*)-)?([0-9]{1,9})")
_KINDS = ("used-", "away-", "lot-", "level-")
"""How names of fields begin: units of an item (`used-ITEM`), of one that went with a casualty
(`away-ITEM`), of a batch (`lot-LOT`); how full something loose is (`level-SECTION-ITEM`)."""


@dataclass(frozen=True)
class Field:
    """A field as a page shows it: of an item, or of one batch of it, with what was entered, and how
    many units of the item are on record in the kit."""

    name: str
    item: Item
    value: str = ""
    lot: Lot | None = None
    on_record: int = 0

    @property
    def beyond(self) -> bool:
        """More was entered than is on record."""
        return self.value.isdecimal() and int(self.value) > self.on_record


class UseForm(PageForm):
    """What was used: a field an item, a batch and something loose; `in_class`: all of it there."""

    in_class = Tick()

    def __init__(self, data: Mapping[str, Any], *files: Any, **options: Any) -> None:
        super().__init__(data, *files, **options)
        for name in data:
            if name.startswith("level-"):
                self.fields[name] = Choice(Level, required=False)
            elif name.startswith(_KINDS):
                self.fields[name] = WholeNumber(
                    most=MOST_UNITS,
                    required=False,
                    message=_(
                        "“%(text)s” is not a valid quantity. Enter a whole number up to %(most)d."
                    ),
                )


class RemarksForm(PageForm):
    """What is reported besides use: `needed`, an item a line; `mixed`, other kits' names."""

    needed = ShortText(10_000)
    mixed = Several()
    given_back = Tick()


def use_fields(
    sent: QueryDict, suggested: UseSuggestions, batch: Lot | None = None
) -> dict[str, Any]:
    """The fields of a form of use as it was filled in, with one more of a batch just scanned."""
    entered = {name: str(value) for name, value in sent.items()}
    ids = [int(m[3]) for name in sent if (m := _NAME.fullmatch(name)) and m[1] == "lot"]
    known = Lot.objects.select_related("item").in_bulk(ids)
    lots = {pk: known[pk] for pk in ids if pk in known}
    if batch is not None:
        name = f"lot-{batch.pk}"
        entered[name] = one_more(entered.get(name, ""), MOST_UNITS)
        lots.setdefault(batch.pk, batch)

    def field(name: str, item: Item, lot: Lot | None = None) -> Field:
        return Field(name, item, entered.get(name) or "0", lot, suggested.on_record.get(item.pk, 0))

    return {
        "batches": [field(f"lot-{pk}", lot.item, lot) for pk, lot in lots.items()],
        "away": [field(f"away-{item.pk}", item) for item in suggested.lasting],
        "first": [field(f"used-{item.pk}", item) for item in suggested.first],
        "pouches": [
            {
                "name": pouch.name,
                "counted": [field(f"used-{item.pk}", item) for item in pouch.counted],
                "by_eye": [
                    Field(name, item, entered.get(name, ""))
                    for item in pouch.by_eye
                    for name in [f"level-{pouch.key}-{item.pk}"]
                ],
            }
            for pouch in suggested.pouches
        ],
    }


def use_of(sent: QueryDict, kit: Kit) -> tuple[list[UseLine], list[LooseLevel]]:
    """What a form says was used, and how full what is loose was left. Raises Invalid."""
    values = UseForm.read(sent)
    went = Went.IN_CLASS if values.pop("in_class") else Went.USED
    entered = [(*_parts(name), value) for name, value in values.items() if value]
    of_lots = {pk for kind, _key, pk, _value in entered if kind == "lot"}
    of_items = {pk for kind, _key, pk, _value in entered if kind != "lot"}
    lots = Lot.objects.select_related("item").in_bulk(of_lots)
    items = Item.objects.in_bulk(of_items)
    if of_lots - lots.keys() or of_items - items.keys():
        raise Invalid(str(FOREIGN))
    lines: dict[str, list[UseLine]] = {"lot": [], "used": [], "away": []}
    levels: list[LooseLevel] = []
    for kind, key, pk, value in entered:
        match kind:
            case "lot":
                lines[kind].append(UseLine(lots[pk].item, value, lots[pk], went=went))
            case "used":
                lines[kind].append(UseLine(items[pk], value, went=went))
            case "away":
                lines[kind].append(UseLine(items[pk], value, went=Went.MAY_COME_BACK))
            case _ if items[pk].by_eye:
                levels.append(LooseLevel(find.section(kit, key), items[pk], value))
    return [*lines["lot"], *lines["used"], *lines["away"]], levels


def remark_fields(sent: QueryDict, kit: Kit) -> dict[str, Any]:
    """What a form asks besides use, as it was filled in."""
    mixed = sent.getlist("mixed")
    return {
        "not_ours": returns.has_own(kit),
        "mixed": [(other, other.name in mixed) for other in holds.maybe_mixed_with(kit)],
    }


def remarks_of(sent: QueryDict, kit: Kit) -> Remarks:
    """What a form reports besides use. Raises Invalid."""
    values = RemarksForm.read(sent)
    lines = [" ".join(line.split()) for line in values["needed"].splitlines()]
    wanted = [line for line in lines if line][:MOST_NEEDED]
    items = {item.name.casefold(): item for item in Item.objects.all()} if wanted else {}
    mixed = [other for other in holds.maybe_mixed_with(kit) if other.name in values["mixed"]]
    if len(mixed) != len(set(values["mixed"])):
        raise Invalid(str(FOREIGN))
    return Remarks(
        [
            NeedLine(item) if (item := items.get(line.casefold())) else NeedLine(words=line)
            for line in wanted
        ],
        mixed,
        given_back=values["given_back"],
    )


def use_in_words(lines: Sequence[UsedLine]) -> str:
    """How many items were used, as a sentence, and how many of them were not on record."""
    count, beyond = sum(line.units for line in lines), sum(line.found for line in lines)
    if not count:
        return _("Nothing used.")
    used = ngettext("%(count)d item used.", "%(count)d items used.", count) % {"count": count}
    if not beyond:
        return used
    more = ngettext(
        "%(count)d more than was on record in the kit: undo this if it is a mistake.",
        "%(count)d more than were on record in the kit: undo this if it is a mistake.",
        beyond,
    ) % {"count": beyond}
    return f"{used} {more}"


def _parts(name: str) -> tuple[str, str, int]:
    """The kind, the section and the id that the name of a field is made of. Raises Invalid."""
    if (match := _NAME.fullmatch(name)) is None:
        raise Invalid(str(FOREIGN))
    return match[1], match[2] or "", int(match[3])
