"""A bought kit broken down in one go: each line with what is likely to become of it filled in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page import (
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    id_of,
    read_page,
    show,
    words,
)
from gearroom.site.web.restocking.stripping import bought_item, loose_level
from kits.models import Disposal, FilledKit, Item, Kit
from kits.rules.buying.bought_kit import Fate, Part
from kits.rules.ledger import Batch, must_be_dated
from kits.rules.ledger.facts import Kind, Level
from kits.rules.stock.disposal import allowed
from kits.services.buying import filled_kits
from kits.services.buying.bought_kits import MOST_LINES
from kits.services.ledger import readiness
from kits.services.lookup import find, holders
from kits.services.restocking import building, stripping
from kits.services.restocking.building import MOST_MINUTES, BoughtItem
from kits.services.restocking.stripping import Places
from kits.services.text import buying_texts

_MOST_ROWS = 3 * MOST_LINES
"""A line has at most three parts: kept, an extra, and the rest."""


@read_page("strip")
def choose(request: HttpRequest, id: int) -> HttpResponse:
    """Which kit a filled kit that was bought becomes."""
    who = actor(request)
    filled = filled_kits.filled_kit(who, id)
    kits = find.kits_of(who).active().filter(room=filled.room).order_by("name")
    return show(
        request,
        "site/restocking/bought/choose.html",
        filled=filled,
        kits=kits,
        may_add=who.may("edit_kit", filled.room_id),
    )


# ------------------------------------------------------------------------------------- its lines
class LineForm(PageForm):
    """Units of an item that came in the kit, and where they go, as `FATE:WHERE`."""

    item = ShortText(20)
    units = WholeNumber(least=0, required=False, label=gettext_lazy("How many"))
    goes = ShortText(80)
    reason = ShortText(300)
    number = ShortText(80)
    expiry = ShortText(40)
    serial = ShortText(80)


class TimeForm(PageForm):
    """How long it took."""

    minutes = WholeNumber(
        least=1, most=MOST_MINUTES, required=False, label=gettext_lazy("Minutes it took")
    )


@dataclass(frozen=True)
class LineRow:
    """A line: the number of its inputs and what they hold, its item, why it is likely to go there,
    and where it may go, in groups of values with labels."""

    at: int
    item: Item
    values: Mapping[str, Any]
    why: str
    places: Sequence[tuple[str, Sequence[tuple[str, str]]]]

    @property
    def is_dated(self) -> bool:
        """Whether its date is asked for: what is kept, and is not loose, where it needs one."""
        return self.item.needs_date and self.values["goes"].startswith(("keep:", "shelf:"))

    @property
    def is_instrument(self) -> bool:
        """Whether it has a serial number in place of a batch's."""
        return self.item.kind == Kind.INSTRUMENT


def _page(request: HttpRequest, kit: str, id: int, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of, filled = find.kit(who, kit), filled_kits.filled_kit(who, id)
    who.require("strip", of.room_id)
    parts = filled_kits.likely(who, filled, of.list_version)
    return show(
        request,
        "site/restocking/bought/lines.html",
        problem=problem,
        kit=of,
        filled=filled,
        out=holders.open_checkout(of),
        before=len(stripping.progress(of).came),
        rows=_rows(request, of, filled, parts),
        unknown=[part for part in parts if part.line.thing is None],
        reasons=buying_texts.REASONS.values(),
        minutes=request.POST.get("minutes", ""),
        most_minutes=MOST_MINUTES,
    )


def _rows(
    request: HttpRequest, kit: Kit, filled: FilledKit, parts: Sequence[Part]
) -> list[LineRow]:
    sent = request.POST
    guesses = [part for part in parts if part.line.thing is not None]
    if "item-0" in sent:
        given = [LineForm(sent, row=n) for n in range(_count(sent))]
        held = [{name: sent.get(f.add_prefix(name), "") for name in f.fields} for f in given]
    else:
        held = [_guess(part) for part in guesses]
    items = Item.objects.in_bulk([pk for each in held if (pk := id_of(str(each["item"])))])
    places = stripping.places_for(kit, items.values())
    rows = []
    for at, values in enumerate(held):
        item = items.get(id_of(str(values["item"])) or 0)
        if item is None:
            continue
        where = _places(item, places[item.pk])
        if not values["goes"]:
            values["goes"] = _first(where, Fate(values.get("fate", Fate.KEEP)))
        why = buying_texts.why(guesses[at]) if at < len(guesses) else ""
        rows.append(LineRow(at, item, values, why, where))
    return rows


def _count(sent: Mapping[str, str]) -> int:
    """How many lines a form has, which are numbered without a gap."""
    return next((n for n in range(_MOST_ROWS) if f"item-{n}" not in sent), _MOST_ROWS)


def _guess(part: Part) -> dict[str, Any]:
    assert part.line.thing is not None
    expiry = part.line.expiry
    reason = part.before.reason if part.before else ""
    return {
        "item": part.line.thing.id,
        "units": part.units,
        "goes": "",
        "fate": part.fate,
        "expiry": expiry.isoformat() if expiry else "",
        "reason": buying_texts.reason(reason),
    }


def _places(item: Item, places: Places) -> list[tuple[str, list[tuple[str, str]]]]:
    keep = [(f"keep:{place.section_key}", place.name) for place in places.sections]
    if item.by_eye:
        levels = [(Level.FULL, _("full")), (Level.LOW, _("low"))]
        keep = [
            (f"level:{place.section_key}:{level}", f"{place.name}: {label}")
            for place in places.sections
            for level, label in levels
        ]
    taught = item.for_class
    ways = [
        (f"dispose:{way}", str(words.DISPOSALS[Disposal(way)]))
        for way in allowed(Kind(item.kind), item.disposal)
    ]
    groups = [
        (_("Stays in the kit"), keep),
        (_("To a shelf"), [(f"shelf:{place.pk}", place.name) for place in places.shelves]),
        (_("For training"), [("training", _("Training box"))] if taught else []),
        (_("Disposed of"), ways),
    ]
    return [(label, options) for label, options in groups if options]


def _first(places: Sequence[tuple[str, Sequence[tuple[str, str]]]], fate: Fate) -> str:
    """The first place that a fate leads to; what is loose is kept where its list has it."""
    values = [value for _label, options in places for value, _name in options]
    if fate is Fate.TRAINING and "training" not in values:
        fate = Fate.DISPOSE
    starts = ("keep", "level") if fate is Fate.KEEP else (str(fate),)
    return next((value for value in values if value.startswith(starts)), "")


# -------------------------------------------------------------------------------------- writing it
@form_view("strip", page_of=_page)
def break_down(act: Act, request: HttpRequest, kit: str, id: int) -> Done:
    """What is in it and where each line goes, all recorded at once."""
    of, filled = find.kit(act.actor, kit), filled_kits.filled_kit(act.actor, id)
    sent, minutes = request.POST, TimeForm.read(request.POST)["minutes"]
    items, levels = list[BoughtItem](), []
    for n in range(_count(sent)):
        values = {**LineForm.read(sent, row=n), "row": n}
        if not values["units"]:
            continue
        item = find.item(values["item"])
        if values["goes"].startswith("level:"):
            levels.append(loose_level(of, item, values["goes"].removeprefix("level:")))
        else:
            items.append(_item(act, of, item, values))
    _refuse_undated(of, items)
    done = building.strip(
        act,
        of,
        items,
        levels=levels,
        supplier=filled.supplier.name if filled.supplier else "",
        price=filled.price,
        currency=filled.currency,
        minutes=minutes,
        filled=filled.pk,
    )
    count = len(items) + len(levels)
    return Done(
        ngettext(
            "%(n)d line of %(filled)s has been recorded.",
            "%(n)d lines of %(filled)s have been recorded.",
            count,
        )
        % {"n": count, "filled": filled.name},
        done.entry.pk,
        to=reverse("strip-kit", args=[of.name]),
    )


def _refuse_undated(kit: Kit, items: Sequence[BoughtItem]) -> None:
    """Raise Invalid that names all that would be kept without the date that it needs."""
    undated = [
        each.item.name
        for each in items
        if each.fate is Fate.KEEP
        and each.expiry is None
        and must_be_dated(Batch(id=0, thing=readiness.thing_of(each.item)))
    ]
    if undated:
        raise Invalid(
            _(
                "These items would stay in %(kit)s without an expiry date: %(things)s. Enter "
                "their dates, or put them elsewhere."
            )
            % {"kit": kit.name, "things": ", ".join(dict.fromkeys(undated))}
        )


def _item(act: Act, kit: Kit, item: Item, values: dict[str, Any]) -> BoughtItem:
    try:
        return bought_item(act, kit, item, values["units"], values["goes"], values)
    except Invalid as wrong:
        says = _("%(thing)s: %(says)s") % {"thing": item.name, "says": wrong.detail}
        raise Invalid(says, **wrong.facts) from None
