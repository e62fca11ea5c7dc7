"""Check a kit against its record: one tap where all is as on record, else the lines that differ."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page import (
    Choice,
    Done,
    WholeNumber,
    actor,
    form_view,
    read_field,
    show,
)
from gearroom.site.web.page.words import LEVELS
from kits.models import Kit
from kits.rules.ledger import Level
from kits.services.ledger import LooseLevel, readiness
from kits.services.lookup import find
from kits.services.overview import kits_overview
from kits.services.restocking import checking
from kits.services.restocking.checking import CheckLine
from kits.services.stock.counting import CountLine


@dataclass(frozen=True)
class Row:
    """A line to look at, the name of its input, and what was typed there."""

    line: CheckLine
    name: str
    typed: str


def _page(request: HttpRequest, kit: str, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of = find.kit(who, kit)
    who.require("look_inside", of.room_id)
    summary = kits_overview.overview(who, of)
    rows = _rows(of, request.POST)
    return show(
        request,
        "site/kits/check/check.html",
        problem=problem,
        kit=summary.kit,
        summary=summary,
        today=readiness.today_of(of),
        sections=[(place, list(each)) for place, each in groupby(rows, lambda row: row.line.place)],
        short=[row.line for row in rows if row.line.short],
        level_names=LEVELS,
    )


def _rows(kit: Kit, sent: Mapping[str, str]) -> list[Row]:
    names = ((line, f"there-{line.place.pk}-{line.item.pk}") for line in checking.lines(kit))
    return [Row(line, name, sent.get(name, "")) for line, name in names]


@form_view("look_inside", "kit", page_of=_page)
def check(act: Act, request: HttpRequest, kit: str) -> Done:
    """Record that a kit was opened and that all is as on record, but for what differs."""
    of, sent = find.kit(act.actor, kit), request.POST
    if sent.get("revision") != str(of.revision):
        raise Invalid(
            _(
                "The record of %(kit)s has changed since you opened this page. Compare the kit "
                "with the record again, then save."
            )
            % {"kit": of.name}
        )
    counts: list[CountLine] = []
    levels: list[LooseLevel] = []
    if not sent.get("all"):
        counts, levels = _differing(_rows(of, sent), sent)
    done = checking.check(act, of, differing=counts, levels=levels)
    differing = len({(each.place, each.lot.item_id) for each in done.differences}) + len(levels)
    sentence = (
        ngettext(
            "%(kit)s has been checked: %(count)d item differed from the record, which "
            "now shows what you entered.",
            "%(kit)s has been checked: %(count)d items differed from the record, which now shows "
            "what you entered.",
            differing,
        )
        if differing
        else _("%(kit)s has been checked: everything matches the record.")
    )
    return Done(sentence % {"kit": of.name, "count": differing}, done.entry.pk)


def _differing(
    rows: Sequence[Row], sent: Mapping[str, Any]
) -> tuple[list[CountLine], list[LooseLevel]]:
    """What the form says that differs. Raises Invalid where it says of nothing."""
    filled = [row for row in rows if row.typed.strip()]
    if not filled:
        raise Invalid(
            _(
                "You have not entered any difference. If everything matches the record, use the "
                "button at the top."
            )
        )
    counts, levels = [], []
    for row in filled:
        line = row.line
        if line.item.by_eye:
            levels.append(
                LooseLevel(line.place, line.item, read_field(Choice(Level), sent, row.name))
            )
        else:
            units = read_field(WholeNumber(label=line.item.name), sent, row.name)
            counts.append(CountLine(line.place, units, item=line.item))
    return counts, levels
