"""What went with a casualty and may come back, and what in a kit is a participant's own."""

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import PageForm, WholeNumber
from gearroom.site.web.page.shell import Done, actor, show
from kits.services.custody import returns
from kits.services.lookup import find, reporters
from kits.services.stock import away, views


class ReturnForm(PageForm):
    """How much of it came back, or never will."""

    units = WholeNumber(
        least=1,
        most=999_999,
        message=gettext_lazy("Enter how many, as a whole number of 1 or more."),
    )


def _away_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    shelves = views.shelves_of(who)
    rows = [
        {
            "row": row,
            "shelves": [shelf for shelf in shelves if shelf.room_id == row.kit.home_room_id],
            "may_write_off": who.may("write_off", row.kit.home_room_id),
            "may_come_back": who.may("come_back", row.kit.home_room_id),
        }
        for row in away.visible_to(who)
    ]
    return show(request, "site/custody/returns.html", {"rows": rows}, problem=problem)


@form_view("look", "away", page_of=_away_page)
def list_away(act: Act, request: HttpRequest) -> Done:
    """What may still come back, each with the two ways that it ends."""
    sent = request.POST
    kit, lot = find.kit(act.actor, sent.get("kit", "")), find.lot(sent.get("lot", ""))
    units = ReturnForm.read(sent)["units"]
    facts = {"count": units, "thing": lot.item.name}
    if sent.get("gone"):
        entry = away.write_off(act, kit, lot, units)
        return Done(_("%(count)d × %(thing)s written off as used.") % facts, entry.pk)
    shelf = find.shelf(act.actor, sent.get("shelf", ""))
    entry = away.come_back(act, kit, lot, units, shelf)
    return Done(_("%(count)d × %(thing)s returned.") % facts, entry.pk)


@form_view("log_use", "kit")
def report_participants_own(act: Act, request: HttpRequest, kit: str) -> Done:
    """Something of a participant's own is in a kit, or went back to its owner."""
    carrying = reporters.kit(act.actor, kit)
    inside = request.POST.get("inside") == "1"
    entry = returns.report_own(act, carrying, inside=inside)
    says = (
        _("%(kit)s contains something that belongs to a participant.")
        if inside
        else _("%(kit)s: the participant’s item has been given back.")
    )
    return Done(says % {"kit": carrying.name}, entry.pk)
