"""Kits for all trips together: what is proposed, changed by hand, and reserved at once."""

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, ngettext

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.rules.grouping import grouped
from gearroom.site.web.page import Done, actor, form_view, show
from gearroom.site.web.trips.trips import chosen_room
from kits.services.lookup import find
from kits.services.trips import season_kits

ADDED = "add-"
"""What the field of a kit added to a trip by hand begins with; the trip's id follows."""


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    """Each open trip with its kits, those chosen for it ticked; after a refusal as they were."""
    room = chosen_room(request)
    found = season_kits.season_kits(actor(request), room)
    rows = [
        (
            row,
            [
                (each, f"{row.trip.pk}:{each.kit.name}", _is_ticked(request, row, each))
                for each in row.chosen
            ],
            request.POST.get(f"{ADDED}{row.trip.pk}", ""),
        )
        for row in found.trips
    ]
    return show(
        request,
        "site/trips/season/season.html",
        problem=problem,
        open=[row for row in rows if not row[0].is_settled or row[2]],
        served=[row for row in rows if row[0].is_settled and not row[2]],
        kits=[(kit.name, kit.name) for kit in found.kits],
        percent=100 * found.within if found.within >= 0.0005 else None,
        not_counted_on=found.not_counted_on,
        chosen=room,
        may_edit=actor(request).may("edit_trip"),
    )


def _is_ticked(
    request: HttpRequest, row: season_kits.TripKits, each: season_kits.KitForTrip
) -> bool:
    sent = request.POST.getlist("reserve")
    return request.method != "POST" or f"{row.trip.pk}:{each.kit.name}" in sent


@form_view("reserve", page_of=_page)
def reserve(act: Act, request: HttpRequest) -> Done:
    """Reserve the ticked kits, and those added by hand."""
    pairs = [tuple(value.split(":", 1)) for value in request.POST.getlist("reserve")]
    pairs += [
        (name.removeprefix(ADDED), kit)
        for name, kit in request.POST.items()
        if name.startswith(ADDED) and isinstance(kit, str) and kit
    ]
    if any(len(pair) != 2 for pair in pairs):
        raise Invalid(_("Choose kits from the page, and try again."), field="reserve")
    done = season_kits.reserve(
        act, [(find.trip(act.actor, trip), find.kit(act.actor, kit)) for trip, kit in pairs]
    )
    of_trips = grouped((row.reservation.trip.name, row.reservation.kit.name) for row in done)
    return Done(
        ngettext("%(n)d kit reserved. %(which)s.", "%(n)d kits reserved. %(which)s.", len(done))
        % {
            "n": len(done),
            "which": "; ".join(f"{trip}: {', '.join(kits)}" for trip, kits in of_trips.items()),
        },
        to=reverse("season-kits"),
    )
