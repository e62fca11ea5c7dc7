"""When what is out is due back: changed by one tap, for one kit or for all of a trip."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from gearroom.core.acts.act import Act
from gearroom.site.web.page import fields
from gearroom.site.web.page.shell import Done, acted, actor, back_to, page
from kits.services.lookup import find
from kits.services.text import wording
from kits.services.trips import due_times


@require_POST
@page("set_due")
def set_due(request: HttpRequest, kit: str) -> HttpResponse:
    """Have a kit that is out be due at another time; an empty one is none."""
    found = find.kit(actor(request), kit)
    zone = found.home_room.time_zone

    def perform(act: Act) -> Done:
        text = request.POST.get("due_at")
        at = None if text == "" else fields.instant(request.POST, "due_at", zone, _("Due"))
        due_times.set_due(act, found, at)
        if at is None:
            return Done(_("%(kit)s has no due time.") % {"kit": found.name})
        says = _("%(kit)s is due %(when)s.")
        return Done(says % {"kit": found.name, "when": wording.moment(at, zone)})

    return acted(request, perform, to=back_to(request, reverse("kit", args=[found.name])))


@require_POST
@page("set_due")
def extend(request: HttpRequest, trip: int) -> HttpResponse:
    """Have a trip return later, and all that is out on it be due then."""
    found = find.trip(actor(request), trip)
    zone = found.room.time_zone if found.room else settings.TIME_ZONE

    def perform(act: Act) -> Done:
        done = due_times.extend(
            act, found, fields.instant(request.POST, "due_at", zone, _("Returns"))
        )
        says = _("%(trip)s returns %(when)s. Due then: %(kits)s.")
        facts = {
            "trip": found.name,
            "when": wording.moment(done.trip.returns_at, zone),
            "kits": ", ".join(dict.fromkeys(each.kit.name for each in done.checkouts)) or _("none"),
        }
        return Done(says % facts)

    return acted(request, perform, to=back_to(request, reverse("trip", args=[found.pk])))
