"""Sold or given away: a kit whole, with its papers, or units of a batch on a shelf."""

from dataclasses import replace

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts import Act, Problem
from gearroom.site.web.page import (
    Choice,
    Done,
    Money,
    PageForm,
    ShortText,
    Tick,
    WholeNumber,
    actor,
    form_view,
    id_of,
    read_page,
    room_here,
    show,
)
from kits.models import PlaceKind
from kits.services.leaving import from_stock, missed, papers as kit_papers, whole_kit
from kits.services.leaving.terms import LONGEST_TO, Terms
from kits.services.lookup import find, holders
from kits.services.stock import views


class LeaveForm(PageForm):
    """To whom, for how much and why."""

    way = Choice(PlaceKind, message=gettext_lazy("Choose whether this is sold or given away."))
    to = ShortText(LONGEST_TO)
    price = Money(required=False, label=gettext_lazy("Price for all of it"))
    currency = ShortText(12)
    reason = ShortText()
    expired = Tick()

    @classmethod
    def terms(cls, act: Act, request: HttpRequest) -> tuple[Act, Terms]:
        """The act with its reason, and the terms."""
        values = cls.read(request.POST)
        terms = Terms(
            values["way"],
            values["to"],
            values["price"],
            values["currency"].upper() if values["price"] is not None else "",
            values["expired"],
        )
        return replace(act, reason=values["reason"]), terms


def _kit_page(request: HttpRequest, kit: str, problem: Problem | None = None) -> HttpResponse:
    of = find.kit(actor(request), kit)
    return show(
        request,
        "site/kits/leaving/kit.html",
        problem=problem,
        papers=kit_papers.papers(actor(request), of),
        kit=of,
        trips=whole_kit.trips_of(of),
        out=holders.open_checkout(of),
        values=request.POST,
    )


@form_view("edit_kit", page_of=_kit_page)
def leave_kit(act: Act, request: HttpRequest, kit: str) -> Done:
    """What the kit would be missing from, and what goes with it; then it has left."""
    of = find.kit(act.actor, kit)
    act, terms = LeaveForm.terms(act, request)
    without = [pk for text in request.POST.getlist("without") if (pk := id_of(text)) is not None]
    done = whole_kit.leave(act, of, terms, without=without)
    return Done(
        ngettext(
            "%(kit)s has left with %(units)d unit. Print its papers for %(to)s.",
            "%(kit)s has left with %(units)d units. Print its papers for %(to)s.",
            done.units,
        )
        % {"kit": of.name, "units": done.units, "to": terms.to},
        done.entry.pk,
        to=reverse("kit-papers", args=[of.name]),
    )


@read_page("edit_kit")
def papers(request: HttpRequest, kit: str) -> HttpResponse:
    """A kit's contents with batches and dates, and its history, to go with it."""
    of = find.kit(actor(request), kit)
    return show(
        request,
        "site/kits/leaving/papers.html",
        kit=of,
        papers=kit_papers.papers(actor(request), of),
    )


@read_page("edit_kit")
def spare_kits(request: HttpRequest) -> HttpResponse:
    """Which kit of the room would be missed least."""
    room = room_here(request)
    return show(
        request,
        "site/kits/leaving/spare_kits.html",
        room=room,
        rows=missed.spare_kits(actor(request), room),
    )


def _stock_page(
    request: HttpRequest, place: int, lot: int, problem: Problem | None = None
) -> HttpResponse:
    who, row = actor(request), views.held_batch(actor(request), place, lot)
    who.require("dispose", row.place.room_now.pk)
    return show(
        request,
        "site/kits/leaving/stock.html",
        problem=problem,
        held=row,
        values=request.POST,
    )


class UnitsForm(PageForm):
    """How many units of the batch."""

    units = WholeNumber(least=1, label=gettext_lazy("Units"))


@form_view("dispose", page_of=_stock_page)
def leave_stock(act: Act, request: HttpRequest, place: int, lot: int) -> Done:
    """Units of a batch on a shelf that others have now."""
    row = views.held_batch(act.actor, place, lot)
    units = UnitsForm.read(request.POST)["units"]
    act, terms = LeaveForm.terms(act, request)
    entry = from_stock.leave(act, place=row.place, lot=row.lot, units=units, terms=terms)
    return Done(
        _("%(units)d × %(thing)s recorded as passed on to %(to)s.")
        % {"units": units, "thing": row.lot.item.name, "to": terms.to},
        entry.pk,
        to=reverse("thing", args=[row.lot.item_id]),
    )
