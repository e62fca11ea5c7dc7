"""The regular check of an instrument in a kit: its question, answered in one tap."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid
from gearroom.site.web.page import fields
from gearroom.site.web.page.shell import Done, acted, page
from kits.models import Lot
from kits.services.lookup import find
from kits.services.stock import instruments


@require_POST
@page("check_instrument")
def check(request: HttpRequest, kit: str) -> HttpResponse:
    """Record that an instrument inside passed its check, or failed it."""

    def perform(act: Act) -> Done:
        inside = Lot.objects.select_related("item").filter(
            holdings__place__kit=find.kit(act.actor, kit), holdings__units__gt=0
        )
        lot = inside.filter(pk=fields.whole(request.POST, "lot", what=_("Instrument"))).first()
        if lot is None:
            raise Invalid(_("That instrument is not in this kit. Load the page again."))
        passed = request.POST.get("passed", "")
        if passed not in ("yes", "no"):
            raise Invalid(_("Choose whether it passed."), field="passed")
        instruments.check(
            act, lot, passed=passed == "yes", answer=fields.words(request.POST, "answer", 200)
        )
        told = {"thing": lot.item.name, "serial": lot.serial}
        if passed == "yes":
            return Done(_("%(thing)s %(serial)s passed its check.") % told)
        return Done(_("%(thing)s %(serial)s failed its check and is on hold.") % told)

    return acted(request, perform, to=reverse("kit", args=[kit]) + "#checks")
