"""Count what is in a kit, without looking at the record: differences are shown before they are
posted. It is also how a kit that was filled before is put on record."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, ngettext

from gearroom.core.acts import Act, Invalid, Problem, printable
from gearroom.core.rules.grouping import summed
from gearroom.site.web.page import (
    Choice,
    Done,
    WholeNumber,
    acted,
    actor,
    one_more,
    page,
    read_field,
    show,
)
from gearroom.site.web.scan.pictures import batch_of
from kits.models import Holding, Item, Kit, ListLine, Lot, Place
from kits.rules.ledger import Criticality, Kind, Level, PrintedDateError, last_good_day
from kits.rules.recalls.batch_numbers import is_asked
from kits.services.ledger import LooseLevel, lots, readiness
from kits.services.lookup import find
from kits.services.restocking import sorting
from kits.services.stock import counting
from kits.services.stock.counting import CountLine
from kits.services.text.wording import in_words

ROWS_FOR_BATCHES = 2
"""Rows an item for batches that are not on record there: few items are of more than two."""


@dataclass(frozen=True)
class Blank:
    """Fields for a batch that is not on record there, with what was typed in them: `row` ends their
    names, `number` is what stands after LOT or SN. `item` None: which item it is, is asked
    too. `asks_number`: else the batch number is folded away (see `batch_numbers`)."""

    row: str
    item: Item | None
    units: str
    number: str
    expiry: str
    asks_number: bool = True

    @property
    def used(self) -> bool:
        """Whether anything was typed in it."""
        return bool(self.units or self.number or self.expiry)

    @property
    def instrument(self) -> bool:
        """Each one counts by its serial number."""
        return self.item is not None and self.item.kind == Kind.INSTRUMENT


@dataclass(frozen=True)
class Row:
    """What is asked of one item in a section: units of each batch known there (the field's name,
    the batch, what was typed), of others, or how full what is loose is."""

    place: Place
    item: Item
    carry: int
    known: Sequence[tuple[str, Lot, str]]
    blanks: Sequence[Blank]
    level_field: str
    level: str

    @property
    def open_blanks(self) -> list[Blank]:
        """Those that show at once: one where no batch is known, and what something is typed in."""
        first = [] if self.known else self.blanks[:1]
        return [blank for blank in self.blanks if blank.used or blank in first]

    @property
    def further_blanks(self) -> list[Blank]:
        """The others, folded away."""
        return [blank for blank in self.blanks if blank not in self.open_blanks]


@dataclass(frozen=True)
class Section:
    """A section to count: its items, and one more that is on no line: `other` (an id), `blank`."""

    place: Place
    rows: Sequence[Row]
    other: str
    blank: Blank


@page("count")
def count(request: HttpRequest, kit: str) -> HttpResponse:
    """Count all of a kit; the first time the form comes back it shows what differs."""
    counted = find.kit(actor(request), kit)
    actor(request).require("count", counted.room_id)
    if request.method != "POST":
        return _sheet(request, counted)
    try:
        batch = batch_of(request) if request.POST.get("read") else None
        if batch is not None:
            return _sheet(
                request, counted, sent=_one_more(counted, request.POST, batch), batch=batch
            )
        if request.POST.get("sure"):
            return acted(
                request,
                lambda act: _count(act, counted, request.POST),
                to=reverse("kit", args=[counted.name]),
            )
        return _compare(request, counted)
    except Problem as problem:
        return _sheet(request, counted, problem=problem)


def _sheet(
    request: HttpRequest,
    kit: Kit,
    problem: Problem | None = None,
    sent: QueryDict | None = None,
    **facts: Any,
) -> HttpResponse:
    sent = sent or request.POST
    return show(
        request,
        "site/kits/count/count.html",
        problem=problem,
        kit=kit,
        sections=_sections(kit, sent),
        rest="rest" in sent,
        things=Item.objects.active().filter(by_eye=False).order_by("name"),
        **facts,
    )


def _sections(kit: Kit, sent: Mapping[str, Any]) -> list[Section]:
    """What to count, by section: the list's lines in order, then what else is there."""
    wanted: dict[tuple[str, int], tuple[Item, int, Criticality]] = {
        (line.section.key, line.item_id): (line.item, line.carry, Criticality(line.criticality))
        for line in ListLine.objects.filter(section__version=kit.list_version_id).select_related(
            "item", "section"
        )
    }
    places = _places(kit)
    there: dict[tuple[str, int], list[Lot]] = defaultdict(list)
    for held in (
        Holding.objects.on_hand()
        .filter(place__in=places)
        .select_related("lot__item", "place")
        .order_by("lot__item__name", "lot__expiry", "lot")
    ):
        where = (held.place.section_key, held.lot.item_id)
        wanted.setdefault(where, (held.lot.item, 0, Criticality.ROUTINE))
        there[where].append(held.lot)
    return [
        Section(
            place,
            [
                _row(place, item, carry, matters, there[key, pk], sent)
                for (key, pk), (item, carry, matters) in wanted.items()
                if key == place.section_key
            ],
            sent.get(f"else-{place.pk}", ""),
            _blank(f"{place.pk}-else", None, sent),
        )
        for place in places
    ]


def _row(
    place: Place,
    item: Item,
    carry: int,
    matters: Criticality,
    lots: Sequence[Lot],
    sent: Mapping[str, Any],
) -> Row:
    asked = is_asked(Kind(item.kind), sterile=item.sterile, criticality=matters)
    names = [f"have-{lot.pk}-{place.pk}" for lot in lots]
    level = f"level-{place.pk}-{item.pk}"
    return Row(
        place,
        item,
        carry,
        [(name, lot, sent.get(name, "")) for name, lot in zip(names, lots, strict=True)],
        [
            _blank(f"{place.pk}-{item.pk}-{n}", item, sent, asks_number=asked)
            for n in range(ROWS_FOR_BATCHES)
        ],
        level,
        sent.get(level, ""),
    )


def _blank(
    row: str, item: Item | None, sent: Mapping[str, Any], *, asks_number: bool = True
) -> Blank:
    units, number, expiry = (sent.get(f"{name}-{row}", "") for name in _BLANK)
    return Blank(row, item, units, number, expiry, asks_number)


_BLANK = ("units", "number", "expiry")


def _one_more(kit: Kit, before: QueryDict, batch: Lot) -> QueryDict:
    """What was typed, and one more of a batch that was scanned: in its own field, or else in a row
    of its item that is still free. Raises Invalid."""
    sent = before.copy()
    sections = _sections(kit, before)
    rows = [row for section in sections for row in section.rows if row.item.pk == batch.item_id]
    if batch.item.by_eye:
        raise Invalid(
            _("%(item)s is loose (not counted): choose full, low or empty instead of a number.")
            % {"item": batch.item.name}
        )
    for name, lot, value in (field for row in rows for field in row.known):
        if lot.pk == batch.pk:
            sent[name] = _one_more_of(batch, value)
            return sent
    number = batch.serial or batch.number
    expiry = batch.expiry.isoformat() if batch.expiry else ""
    item = str(batch.item_id)
    free: list[tuple[Blank, Place | None]] = [(blank, None) for row in rows for blank in row.blanks]
    if not rows:
        free = [(each.blank, each.place) for each in sections if each.other in ("", item)]
    for blank, place in free:
        if not blank.used or (blank.number, blank.expiry) == (number, expiry):
            for name, text in zip(
                _BLANK, (_one_more_of(batch, blank.units), number, expiry), strict=True
            ):
                sent[f"{name}-{blank.row}"] = text
            if place is not None:
                sent[f"else-{place.pk}"] = item
            return sent
    raise Invalid(
        _(
            "There is no free row left for %(item)s. Review and save the differences, then "
            "continue counting."
        )
        % {"item": batch.item.name}
    )


def _one_more_of(batch: Lot, units: str) -> str:
    """One more than was typed; of what has a serial number there is one."""
    return "1" if batch.serial else one_more(units)


# ------------------------------------------------------------------------------------ what is typed
def _compare(request: HttpRequest, kit: Kit) -> HttpResponse:
    """What the count would change and what it leaves out; a batch that nobody knew is not kept for
    it."""
    places, complete = _places(kit), "rest" in request.POST
    with transaction.atomic():
        lines, levels = _lines(request.POST, kit)
        differences = counting.differences(places, lines, complete=complete, levels=levels)
        left_out = [] if complete else counting.not_counted(places, lines)
        transaction.set_rollback(True)
    return _sheet(request, kit, differences=differences, left_out=left_out)


def _count(act: Act, kit: Kit, sent: QueryDict) -> Done:
    lines, levels = _lines(sent, kit)
    done = counting.count(act, _places(kit), lines, levels=levels, complete="rest" in sent)
    if done.complete:  # else nobody has looked at all that is in it
        sorting.look_inside(act, kit)
    differing = len(done.differences)
    sentence = (
        ngettext(
            "%(kit)s has been counted: %(count)d batch differed from the record.",
            "%(kit)s has been counted: %(count)d batches differed from the record.",
            differing,
        )
        if differing
        else _("%(kit)s has been counted: everything matches the record.")
    )
    if not done.complete:
        sentence += " " + _(
            "Anything you left blank was not counted. Count it before the kit is taken out."
        )
    return Done(sentence % {"kit": kit.name, "count": differing}, done.entry.pk)


def _places(kit: Kit) -> list[Place]:
    return list(kit.sections.open())


def _lines(sent: QueryDict, kit: Kit) -> tuple[list[CountLine], list[LooseLevel]]:
    """What the form says is there. Fields: `have-LOT-PLACE` units of a known batch,
    `units|number|expiry-PLACE-ITEM-ROW` of another one, `level-PLACE-ITEM`, and for an item that
    is on no line `else-PLACE` in place of the item. The same batch in two rows is the sum of both.
    Raises Invalid."""
    lines: list[CountLine] = []
    levels: list[LooseLevel] = []
    for section in _sections(kit, sent):
        for row in section.rows:
            if row.item.by_eye:
                if row.level:
                    level = read_field(Choice(Level), sent, row.level_field)
                    levels.append(LooseLevel(row.place, row.item, level))
                continue
            for name, lot, value in row.known:
                if value.strip():
                    units = read_field(WholeNumber(label=row.item.name), sent, name)
                    lines.append(CountLine(row.place, units, lot=lot))
            for blank in row.blanks:
                lines += _batch(kit, row.place, row.item, blank, known=bool(row.known))
        if section.other:
            other = find.item(section.other)
            lines += _batch(kit, section.place, other, section.blank, known=True)
    sums = summed(((line.place, line.lot, line.item), line.units) for line in lines)
    return [
        CountLine(place, n, lot=lot, item=item) for (place, lot, item), n in sums.items()
    ], levels


def _batch(kit: Kit, place: Place, item: Item, blank: Blank, *, known: bool) -> Iterator[CountLine]:
    """What a row for another batch says, if anything; `known`: the item has rows of its own, so
    that none here says nothing of it."""
    number, printed = blank.number.strip(), blank.expiry.strip()
    instrument = item.kind == Kind.INSTRUMENT
    typed = blank.units.strip() or ("1" if instrument and number else "")
    if not typed:
        if number or printed:
            raise Invalid(
                _("%(thing)s: enter how many of batch “%(batch)s” there are.")
                % {"thing": item.name, "batch": printable(number or printed)}
            )
        return
    units = read_field(WholeNumber(label=item.name), {"units": typed}, "units")
    if not units:
        if not known:
            yield CountLine(place, 0, item=item)
        return
    try:
        expiry = last_good_day(printed, today=readiness.today_of(kit)) if printed else None
    except PrintedDateError as error:
        raise Invalid(f"{item.name}: {in_words(error.says)}") from error
    lot = (
        lots.known(item=item, serial=number)
        if instrument
        else lots.known(item=item, number=number, expiry=expiry)
    )
    yield CountLine(place, units, lot=lot)
