"""What is kept about people: given to them, and erased."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.core.models import Redaction
from gearroom.core.services.people import people, person_export, redaction
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.services.people import erasure


@require_safe
@page("own_account")
def export(request: HttpRequest, person: int) -> HttpResponse:
    """All that is kept about somebody, as a file: one's own; anybody's for an administrator."""
    who = actor(request)
    made = person_export.export(who, people.get(who, person))
    answer = JsonResponse(made, json_dumps_params={"indent": 2, "ensure_ascii": False})
    answer["Content-Disposition"] = f'attachment; filename="person-{person}.json"'
    return answer


@page("erase_person")
def erase(request: HttpRequest, person: int) -> HttpResponse:
    """What is erased of somebody and what stays, what hangs on them, and the act itself."""
    who = actor(request)
    redaction.require_administrator(who)
    if request.method != "POST":
        return _ask(request, person)

    def perform(act: Act) -> Done:
        words = request.POST.get("words", "").splitlines()
        done = erasure.erase(act, people.get(act.actor, person), words)
        says = _("Erased. What they did is now recorded under Person %(number)s.") % {
            "number": done.person
        }
        if done.still_named:
            things = ", ".join(done.still_named)
            says += " " + _("Their name is still in: %(things)s. Change it there.") % {
                "things": things
            }
        return Done(says)

    try:
        return acted(request, perform, to=reverse("people"))
    except Problem as problem:
        return _ask(request, person, problem)


def _ask(request: HttpRequest, person: int, problem: Problem | None = None) -> HttpResponse:
    found = people.get(actor(request), person)
    facts = {
        "shown": found,
        "moves": erasure.in_the_way(found),
        "words": request.POST.get("words", ""),
        "problem": problem,
    }
    return show(request, "site/people/erase.html", facts, status=problem.status if problem else 200)


@page("erase_person")
def names(request: HttpRequest) -> HttpResponse:
    """Names in old records are put where they can be erased: asked, then done."""
    redaction.require_administrator(actor(request))

    def perform(act: Act) -> Done:
        rows = redaction.redact_landed(act).rows.count()
        says = ngettext(
            "Names in %(count)s record can now be erased.",
            "Names in %(count)s records can now be erased.",
            rows,
        )
        return Done(says % {"count": rows})

    if request.method == "POST":
        return acted(request, perform, to=reverse("names"))
    done = Redaction.objects.filter(about=None).order_by("pk").last()
    return show(request, "site/people/names_in_old_records.html", {"done": done})
