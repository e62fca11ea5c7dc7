"""Whether advice for others is on, and who may send it: for administrators of every room."""

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Problem
from gearroom.site.web.page.form_acts import Done
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import PageForm, Several, Tick, id_of
from gearroom.site.web.page.shell import show
from kits.services.advice import access
from kits.services.text.planning import advice_texts


class AccessForm(PageForm):
    """Whether it is on, and the numbers of those who may send."""

    on = Tick()
    sender = Several()


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    named = {person.pk for person in access.senders()}
    if problem:
        named = {pk for text in request.POST.getlist("sender") if (pk := id_of(text))}
    return show(
        request,
        "site/advice/access.html",
        problem=problem,
        on="on" in request.POST if problem else access.is_on(),
        people=[(person, person.pk in named) for person in access.candidates()],
        duty=advice_texts.DUTY,
    )


@form_view("set_up_advice", "advice-access", page_of=_page)
def set_up(act: Act, request: HttpRequest) -> Done:
    """Turn advice for others on or off, and name who may send it."""
    values = AccessForm.read(request.POST)
    senders = [id_of(text) or 0 for text in values["sender"]]
    access.put(act, on=values["on"], senders=senders)
    if values["on"]:
        return Done(_("Advice for others is turned on."))
    return Done(_("Advice for others is turned off."))
