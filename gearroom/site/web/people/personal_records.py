"""What is kept about people: given to them, and erased; and somebody who is on record twice made
one."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _, ngettext

from gearroom.core.acts import Act, Problem
from gearroom.core.models import Redaction
from gearroom.core.services.people import people, personal_data, redaction
from gearroom.site.web.page import Done, actor, form_view, read_page, show
from kits.services.lookup import find
from kits.services.people import personal_records


@read_page("own_account")
def export(request: HttpRequest, person: int) -> HttpResponse:
    """All that is kept about somebody, as a file: one's own; anybody's for an administrator."""
    who = actor(request)
    return JsonResponse(
        personal_data.export(who, people.get(who, person)),
        json_dumps_params={"indent": 2, "ensure_ascii": False},
        headers={"Content-Disposition": f'attachment; filename="person-{person}.json"'},
    )


def _erase_page(request: HttpRequest, person: int, problem: Problem | None = None) -> HttpResponse:
    redaction.require_administrator(actor(request))
    of = people.get(actor(request), person)
    return show(
        request,
        "site/people/erase.html",
        problem=problem,
        somebody=of,
        moves=personal_records.moves(of),
        words=request.POST.get("words", ""),
    )


@form_view("erase_person", page_of=_erase_page)
def erase(act: Act, request: HttpRequest, person: int) -> Done:
    """What is erased of somebody and what stays, what hangs on them, and the act itself."""
    words = request.POST.get("words", "").splitlines()
    done = personal_records.erase(act, people.get(act.actor, person), words)
    sentence = _("Erased. Their past actions are now on record under Person %(number)s.")
    sentence %= {"number": done.person}
    if done.still_named:
        also = _("Their name still appears in: %(things)s. Change it there.")
        sentence += " " + also % {"things": ", ".join(done.still_named)}
    return Done(sentence, to=reverse("people"))


def _names_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    redaction.require_administrator(actor(request))
    if problem is not None:
        raise problem
    done = Redaction.objects.filter(about=None).order_by("pk").last()
    return show(request, "site/people/names_in_old_records.html", done=done)


@form_view("erase_person", "names", page_of=_names_page)
def names(act: Act, request: HttpRequest) -> Done:
    """Names in old records are put where they can be erased: asked, then done."""
    rows = redaction.redact_landed(act).rows.count()
    return Done(
        ngettext(
            "Names in %(count)s record can now be erased.",
            "Names in %(count)s records can now be erased.",
            rows,
        )
        % {"count": rows}
    )


def _merge_page(request: HttpRequest, person: int, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of = people.get(who, person)
    chosen = request.POST.get("into") or request.GET.get("into", "")
    into = find.person(who, chosen) if chosen else None
    if into == of:
        return redirect("person", of.pk)
    return show(
        request,
        "site/people/merge.html",
        problem=problem,
        somebody=of,
        into=into,
        others=people.may_take(who).exclude(pk=of.pk),
        moves=personal_records.moves(of) if into else None,
    )


@form_view("edit_person", page_of=_merge_page)
def merge(act: Act, request: HttpRequest, person: int) -> Done:
    """Which record of somebody is kept, what moves to it, and the act itself."""
    into = find.person(act.actor, request.POST.get("into", ""))
    kept = personal_records.merge(act, people.get(act.actor, person), into)
    return Done(
        _("The two records of %(name)s have been merged into one.") % {"name": kept.name},
        to=reverse("person", args=[kept.pk]),
    )
