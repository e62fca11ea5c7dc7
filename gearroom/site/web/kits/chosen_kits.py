"""Several kits that were ticked in the table: labelled together, or reserved for one trip."""

from collections.abc import Sequence

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page import Done, PageForm, ShortText, actor, form_view, show, today_here
from kits.models import Kit
from kits.services.labelling import labelling
from kits.services.lookup import find
from kits.services.overview import kits_table
from kits.services.trips import reservations

_MOST_TRIPS = 100


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    names = (request.POST or request.GET).getlist("kit")
    trips = find.trips_of(who).filter(last_day__gte=today_here(request), cancelled_at=None)
    return show(
        request,
        "site/kits/chosen/chosen.html",
        problem=problem,
        kits=kits_table.named(who, names),
        trips=trips.order_by("departs_at", "pk")[:_MOST_TRIPS] if who.may("reserve") else [],
        may={name: who.may(name) for name in ("print_labels", "reserve")},
    )


class ChosenForm(PageForm):
    """What is done with all kits that were ticked."""

    do = ShortText(10)
    trip = ShortText(20)


@form_view("look", page_of=_page)
def chosen(act: Act, request: HttpRequest) -> Done:
    """Several kits, and one form for each thing that can be done with all of them."""
    values = ChosenForm.read(request.POST)
    names = dict.fromkeys(filter(None, request.POST.getlist("kit")))
    kits = [find.kit(act.actor, name) for name in names]
    if not kits:
        raise Invalid(_("Choose at least one kit."), field="kit")
    match values["do"]:
        case "labels":
            return _labels(act, kits)
        case "reserve":
            return _reserve(act, kits, values["trip"])
    raise Invalid(_("Choose an action."))


def _labels(act: Act, kits: Sequence[Kit]) -> Done:
    codes = ".".join(label.code for label in labelling.labels_for(act, kits))
    return Done(_("The labels are ready to print."), to=f"{reverse('print-labels')}?codes={codes}")


def _reserve(act: Act, kits: Sequence[Kit], ref: str) -> Done:
    if not ref:
        raise Invalid(_("Choose the trip to reserve the kits for."), field="trip")
    trip = find.trip(act.actor, ref)
    for kit in kits:
        reservations.reserve(act, kit, trip)
    says = _("Reserved for %(trip)s: %(kits)s.")
    return Done(
        says % {"trip": trip.name, "kits": ", ".join(kit.name for kit in kits)},
        to=reverse("trip", args=[trip.pk]),
    )
