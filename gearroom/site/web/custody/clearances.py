"""“Did you clear it?”: by a link that needs no account, or signed in; a page only asks, a tap
answers."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import AlreadyAnswered, Problem
from gearroom.site.web.page import errors
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import PageForm, YesOrNo
from gearroom.site.web.page.shell import Done, actor, show
from kits.models import Clearance
from kits.services.custody import clearances
from kits.services.notices.texts.kits import lacks

_MOST = 100


class AnswerForm(PageForm):
    """Whether somebody cleared a kit."""

    answer = YesOrNo(message=gettext_lazy("Answer yes or no: did you clear this kit for use?"))


def answer_by_link(request: HttpRequest, link: str) -> HttpResponse:
    """What somebody says of a clearance by the link that they were sent."""
    try:
        clearance = clearances.by_link(link)
        if request.method != "POST":
            return _page(request, clearance)
        confirmed = AnswerForm.read(request.POST)["answer"]
        clearances.answer_by_link(clearance, confirmed=confirmed)
    except AlreadyAnswered as problem:
        return _page(request, clearance, problem)
    except Problem as problem:
        return errors.refusal(request, problem)
    return redirect(request.path)


def _page(
    request: HttpRequest, clearance: Clearance, problem: Problem | None = None
) -> HttpResponse:
    facts = {**_facts(clearance), "kit": clearance.checkout.kit}
    response = show(request, "site/custody/clearances/clearance.html", facts, problem=problem)
    response.headers["Cache-Control"] = "private, no-store"
    return response


def _list_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    if problem is not None:
        raise problem
    who = actor(request)
    rows = [
        {**_facts(clearance), "own": clearances.answers_for(clearance) == who.person}
        for clearance in clearances.visible_to(who)[:_MOST]
    ]
    return show(request, "site/custody/clearances/clearances.html", {"rows": rows})


@form_view("look", "clearances", page_of=_list_page)
def list_clearances(act: Act, request: HttpRequest) -> Done:
    """One's own clearances and those of one's rooms, the newest first; one's own are answered
    here."""
    pk = request.POST.get("clearance", "")
    clearance = clearances.get(act.actor, int(pk) if pk.isascii() and pk.isdigit() else 0)
    confirmed = AnswerForm.read(request.POST)["answer"]
    clearances.answer(act, clearance, confirmed=confirmed)
    says = (
        _("Recorded: you cleared %(kit)s for use.")
        if confirmed
        else _("Recorded: you did not clear %(kit)s for use. Its keepers will be notified.")
    )
    return Done(says % {"kit": clearance.checkout.kit.name})


def _facts(clearance: Clearance) -> dict[str, Any]:
    answer = getattr(clearance, "answer", None)
    return {
        "clearance": clearance,
        "reasons": lacks(clearance.reasons),
        "answer": answer,
        "open": answer is None,
    }
