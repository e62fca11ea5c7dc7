"""When what is out is due back: changed by one tap, for one kit or for all of a trip."""

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts.act import Act
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import Moment, PageForm
from gearroom.site.web.page.shell import Done, back_to
from kits.services.lookup import find
from kits.services.text import wording
from kits.services.trips import due_times


class DueForm(PageForm):
    """When a kit is due, or a trip returns."""

    due_at = Moment(label=gettext_lazy("Due time"))


@form_view("set_due")
def set_due(act: Act, request: HttpRequest, kit: str) -> Done:
    """Have a kit that is out be due at another time; an empty one is none."""
    out = find.kit(act.actor, kit)
    zone = out.home_room.time_zone
    none = request.POST.get("due_at") == ""
    at = None if none else DueForm.read(request.POST, zone=zone)["due_at"]
    due_times.set_due(act, out, at)
    says = _("%(kit)s is due back on %(when)s.") if at else _("%(kit)s has no due time.")
    return Done(
        says % {"kit": out.name, "when": wording.moment(at, zone) if at else ""},
        to=back_to(request, reverse("kit", args=[out.name])),
    )


@form_view("set_due")
def extend(act: Act, request: HttpRequest, trip: int) -> Done:
    """Have a trip return later, and all that is out on it be due then."""
    longer = find.trip(act.actor, trip)
    zone = longer.room.time_zone if longer.room else settings.TIME_ZONE
    labels = {"due_at": _("Returns")}
    values = DueForm.read(request.POST, zone=zone, labels=labels)
    done = due_times.extend(act, longer, values["due_at"])
    return Done(
        _("%(trip)s returns on %(when)s. Due back then: %(kits)s.")
        % {
            "trip": longer.name,
            "when": wording.moment(done.trip.returns_at, zone),
            "kits": ", ".join(dict.fromkeys(each.kit.name for each in done.checkouts)) or _("none"),
        },
        to=back_to(request, reverse("trip", args=[longer.pk])),
    )
