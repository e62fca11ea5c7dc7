"""Count what is in a kit, without looking at the book: differences are shown before they are
posted. It is also how a kit that was filled before comes into the book."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem, printable
from gearroom.site.web.page import fields
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from gearroom.site.web.scan.pictures import batch_of
from kits.models import Holding, Item, Kit, ListLine, Lot, Place
from kits.rules.ledger.expiry import PrintedDateError, last_good_day
from kits.rules.ledger.facts import Kind, Level
from kits.services.ledger import lots, readiness
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import find
from kits.services.restocking import sorting
from kits.services.stock import counting
from kits.services.text.wording import in_words

ROWS_FOR_BATCHES = 2
"""Rows a thing for batches that the book does not have there: few things are of more than two."""


@dataclass(frozen=True)
class Blank:
    """Fields for a batch that the book does not have there, with what was said in them. `item`
    None: which thing it is, is asked too."""

    row: str
    item: Item | None
    said: Mapping[str, str]

    @property
    def units(self) -> str:
        """How many there are, as typed."""
        return self.said.get(f"units-{self.row}", "")

    @property
    def number(self) -> str:
        """What stands after LOT or SN, as typed."""
        return self.said.get(f"number-{self.row}", "")

    @property
    def expiry(self) -> str:
        """The date, as typed."""
        return self.said.get(f"expiry-{self.row}", "")

    @property
    def used(self) -> bool:
        """Whether anything was said in it."""
        return bool(self.units or self.number or self.expiry)

    @property
    def instrument(self) -> bool:
        """Each one counts by its serial number."""
        return self.item is not None and self.item.kind == Kind.INSTRUMENT


@dataclass(frozen=True)
class Row:
    """What is asked of one thing in a section: units of each batch known there, of others, or how
    full by eye."""

    place: Place
    item: Item
    carry: int
    lots: Sequence[Lot]
    said: Mapping[str, str]

    @property
    def level_field(self) -> str:
        """The field of what is judged by eye."""
        return f"level-{self.place.pk}-{self.item.pk}"

    @property
    def level(self) -> str:
        """What was said in it."""
        return self.said.get(self.level_field, "")

    @property
    def known(self) -> list[tuple[str, Lot, str]]:
        """The fields of batches known there, with what was said in them."""
        names = [(f"have-{lot.pk}-{self.place.pk}", lot) for lot in self.lots]
        return [(name, lot, self.said.get(name, "")) for name, lot in names]

    @property
    def blanks(self) -> list[Blank]:
        """Fields for other batches."""
        return [
            Blank(f"{self.place.pk}-{self.item.pk}-{number}", self.item, self.said)
            for number in range(ROWS_FOR_BATCHES)
        ]

    @property
    def open_blanks(self) -> list[Blank]:
        """Those that show at once: one where no batch is known, and what something is said in."""
        return [
            each
            for number, each in enumerate(self.blanks)
            if each.used or (number == 0 and not self.lots)
        ]

    @property
    def further_blanks(self) -> list[Blank]:
        """The others, folded away."""
        return [each for each in self.blanks if each not in self.open_blanks]


@dataclass(frozen=True)
class Section:
    """A section to count: its things, and one more that is on no line."""

    place: Place
    rows: Sequence[Row]
    said: Mapping[str, str]

    @property
    def other(self) -> str:
        """The thing chosen that is on no line: its id."""
        return self.said.get(f"else-{self.place.pk}", "")

    @property
    def blank(self) -> Blank:
        """Its fields."""
        return Blank(f"{self.place.pk}-else", None, self.said)


@page("count")
def count(request: HttpRequest, kit: str) -> HttpResponse:
    """Count all of a kit; the first time the form comes back it shows what differs."""
    found = find.kit(actor(request), kit)
    actor(request).require("count", found.room_id)
    if request.method != "POST":
        return _sheet(request, found)
    try:
        batch = batch_of(request) if request.POST.get("read") else None
        if batch is not None:
            return _sheet(request, found, said=_one_more(found, request.POST, batch), batch=batch)
        if request.POST.get("sure"):
            return _posted(request, found)
        return _compared(request, found)
    except Problem as problem:
        return _sheet(request, found, problem=problem)


def _sheet(
    request: HttpRequest,
    kit: Kit,
    problem: Problem | None = None,
    said: QueryDict | None = None,
    batch: Lot | None = None,
    **compared: Any,
) -> HttpResponse:
    said = said or request.POST
    facts = {
        "kit": kit,
        "sections": _sections(kit, said),
        "rest": "rest" in said,
        "batch": batch,
        "things": Item.objects.active().filter(by_eye=False).order_by("name"),
        "problem": problem,
        "differences": None,
        **compared,
    }
    status = problem.status if problem else 200
    return show(request, "site/kits/count.html", facts, status=status)


def _sections(kit: Kit, said: Mapping[str, str]) -> list[Section]:
    """What to count, by section: the list's lines in order, then what else is there."""
    wanted: dict[tuple[str, int], tuple[Item, int]] = {}
    for line in ListLine.objects.filter(section__version=kit.list_version_id).select_related(
        "item", "section"
    ):
        wanted[line.section.key, line.item_id] = (line.item, line.carry)
    places = _places(kit)
    there: dict[tuple[str, int], list[Lot]] = defaultdict(list)
    for held in (
        Holding.objects.on_hand()
        .filter(place__in=places)
        .select_related("lot__item", "place")
        .order_by("lot__item__name", "lot__expiry", "lot")
    ):
        where = (held.place.section_key, held.lot.item_id)
        wanted.setdefault(where, (held.lot.item, 0))
        there[where].append(held.lot)
    return [
        Section(
            place,
            [
                Row(place, item, carry, there[key, pk], said)
                for (key, pk), (item, carry) in wanted.items()
                if key == place.section_key
            ],
            said,
        )
        for place in places
    ]


def _one_more(kit: Kit, before: QueryDict, batch: Lot) -> QueryDict:
    """What was said, and one more of a batch that was scanned: in its own field, or else in a row
    of its thing that is still free. Raises Invalid."""
    said = before.copy()
    sections = _sections(kit, before)
    rows = [row for section in sections for row in section.rows if row.item.pk == batch.item_id]
    if batch.item.by_eye:
        raise Invalid(
            _("%(item)s is loose: choose full, low or empty instead of a number.")
            % {"item": batch.item.name}
        )
    for name, lot, value in (field for row in rows for field in row.known):
        if lot.pk == batch.pk:
            said[name] = _more(batch, value)
            return said
    number = batch.serial or batch.number
    expiry = batch.expiry.isoformat() if batch.expiry else ""
    item = str(batch.item_id)
    free: list[tuple[Blank, Place | None]] = [(blank, None) for row in rows for blank in row.blanks]
    if not rows:
        free = [(each.blank, each.place) for each in sections if each.other in ("", item)]
    for blank, place in free:
        if not blank.used or (blank.number, blank.expiry) == (number, expiry):
            said[f"units-{blank.row}"] = _more(batch, blank.units)
            said[f"number-{blank.row}"] = number
            said[f"expiry-{blank.row}"] = expiry
            if place is not None:
                said[f"else-{place.pk}"] = item
            return said
    raise Invalid(
        _(
            "There is no free row for %(item)s. See what differs and save it, then continue "
            "counting."
        )
        % {"item": batch.item.name}
    )


def _more(batch: Lot, units: str) -> str:
    """One more than was said; of what has a serial number there is one."""
    return "1" if batch.serial else fields.one_more(units)


# ------------------------------------------------------------------------------------- what is said
def _compared(request: HttpRequest, kit: Kit) -> HttpResponse:
    """What the count would change and what it leaves out; a batch that nobody knew is not kept for
    it."""
    said, places = request.POST, _places(kit)
    with transaction.atomic():
        found, levels = _counted(said, kit)
        complete = "rest" in said
        differences = counting.differences(places, found, complete=complete, levels=levels)
        left_out = [] if complete else counting.not_counted(places, found)
        transaction.set_rollback(True)
    return _sheet(request, kit, differences=differences, left_out=left_out)


def _posted(request: HttpRequest, kit: Kit) -> HttpResponse:
    def perform(act: Act) -> Done:
        found, levels = _counted(request.POST, kit)
        complete = "rest" in request.POST
        done = counting.count(act, _places(kit), found, levels=levels, complete=complete)
        if done.complete:  # else nobody has seen all that is in it
            sorting.look_inside(act, kit)
        return Done(_says(kit, done), done.entry.pk)

    return acted(request, perform, to=reverse("kit", args=[kit.name]))


def _says(kit: Kit, done: counting.CountResult) -> str:
    differing = len(done.differences)
    says = (
        ngettext(
            "%(kit)s is counted: %(count)d batch differed from the record.",
            "%(kit)s is counted: %(count)d batches differed from the record.",
            differing,
        )
        if differing
        else _("%(kit)s is counted: all as on record.")
    )
    if not done.complete:
        says += " " + _("What you left empty was not counted; count it before the kit goes.")
    return says % {"kit": kit.name, "count": differing}


def _places(kit: Kit) -> list[Place]:
    return list(kit.sections.open())


def _counted(said: QueryDict, kit: Kit) -> tuple[list[counting.CountLine], list[LooseLevel]]:
    """What the form says was found. Fields: `have-LOT-PLACE` units of a known batch,
    `units|number|expiry-PLACE-ITEM-ROW` of another one, `level-PLACE-ITEM`, and for a thing that
    is on no line `else-PLACE` in place of the item."""
    found: dict[tuple[int, int, int], counting.CountLine] = {}
    levels: list[LooseLevel] = []
    for section in _sections(kit, said):
        for row in section.rows:
            if row.item.by_eye:
                levels += _level(row)
                continue
            for name, lot, value in row.known:
                if value.strip():
                    units = fields.whole(said, name, what=row.item.name)
                    found[row.place.pk, lot.pk, 0] = counting.CountLine(row.place, units, lot=lot)
            for blank in row.blanks:
                _add(found, _batch(kit, row.place, row.item, blank, known=bool(row.lots)))
        if section.other:
            other = find.item(section.other)
            _add(found, _batch(kit, section.place, other, section.blank, known=True))
    return list(found.values()), levels


def _level(row: Row) -> Iterable[LooseLevel]:
    if row.level:
        try:
            yield LooseLevel(row.place, row.item, Level(row.level))
        except ValueError:
            raise Invalid(
                _("This form did not come from this page. Load the page again.")
            ) from None


def _batch(
    kit: Kit, place: Place, item: Item, blank: Blank, *, known: bool
) -> counting.CountLine | None:
    """What a row for another batch says; `known`: the thing has rows of its own, so that none here
    says nothing of it."""
    number, printed = blank.number.strip(), blank.expiry.strip()
    instrument = item.kind == Kind.INSTRUMENT
    units = blank.units.strip() or ("1" if instrument and number else "")
    if not units:
        if number or printed:
            raise Invalid(
                _("%(thing)s: enter how many of batch “%(batch)s” there are.")
                % {"thing": item.name, "batch": printable(number or printed)}
            )
        return None
    count = fields.whole({"units": units}, "units", what=item.name)
    if not count:
        return None if known else counting.CountLine(place, 0, item=item)
    try:
        expiry = last_good_day(printed, today=readiness.today_of(kit)) if printed else None
    except PrintedDateError as error:
        raise Invalid(f"{item.name}: {in_words(error.says)}") from error
    lot = (
        lots.known(item=item, serial=number)
        if instrument
        else lots.known(item=item, number=number, expiry=expiry)
    )
    return counting.CountLine(place, count, lot=lot)


def _add(
    found: dict[tuple[int, int, int], counting.CountLine], more: counting.CountLine | None
) -> None:
    """Put a row to the others; the same batch in two rows is the sum of both."""
    if more is None:
        return
    where = (more.place.pk, more.lot.pk if more.lot else 0, more.item.pk if more.item else 0)
    before = found[where].units if where in found else 0
    found[where] = replace(more, units=before + more.units)
