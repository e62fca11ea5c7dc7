"""What is asked by a link that needs no account: “What did you use?” of whoever had kits, one
answer a kit; and “Did you clear it?”, which is asked signed in too. A page only asks, a tap
answers."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, AlreadyAnswered, NotFound, Problem, database_problems
from gearroom.core.models.installation import current
from gearroom.site.web.custody.use_form import remark_fields, remarks_of, use_fields, use_of
from gearroom.site.web.page import (
    Done,
    ShortText,
    YesOrNo,
    actor,
    errors,
    form_view,
    id_of,
    read_field,
    read_page,
    room_here,
    show,
)
from kits.models import Checkout, Clearance
from kits.services.custody import clearances, use_requests
from kits.services.custody.use_suggestions import suggest
from kits.services.lookup import find
from kits.services.notices.texts.kits import lacks
from labels.rules.layout.symbols import symbol_svg


@read_page("see_people")
def request_use(request: HttpRequest, kit: str) -> HttpResponse:
    """The link to send to whoever had the kit last: as text, as a message, as a symbol."""
    who = actor(request)
    back = find.kit(who, kit)
    held = use_requests.latest(who, back)
    facts: dict[str, Any] = {"kit": back, "held": held, "days": use_requests.WITHIN.days}
    if held is not None:
        message = _message(request, held, use_requests.times_of_person(who, held))
        symbol = "data:image/svg+xml," + quote(symbol_svg(message["link"]))
        facts |= {**message, "symbol": symbol}
    return show(request, "site/custody/use_requests/new.html", **facts)


@read_page("see_people")
def request_all_use(request: HttpRequest) -> HttpResponse:
    """Everybody who can still be asked about kits of this room, each with one link for all."""
    rows = [
        {"person": held[0].person, "held": held, **_message(request, held[0], held)}
        for held in use_requests.people_to_ask(actor(request), room_here(request))
    ]
    return show(
        request,
        "site/custody/use_requests/new_for_all.html",
        rows=rows,
        days=use_requests.WITHIN.days,
    )


def _message(request: HttpRequest, held: Checkout, times: Sequence[Checkout]) -> dict[str, str]:
    """A link, and what to write around it; all kits that it leads to are named."""
    path = reverse("used", args=[use_requests.token(held, actor(request))])
    link = current().public_url + path if current().public_url else request.build_absolute_uri(path)
    words = _("What did you use from %(kit)s? Please answer here: %(link)s") % {
        "kit": ", ".join(each.kit.name for each in times),
        "link": link,
    }
    return {"link": link, "body": quote(words)}


def report_use(request: HttpRequest, link: str, time: int | None = None) -> HttpResponse:
    """What somebody used, by the link that they were sent: of one kit at a time, where it was
    several; that nothing was used, of all at once."""
    try:
        times = use_requests.times_of_link(link)
    except AlreadyAnswered as problem:
        return _answered(request, link, problem=problem)
    except Problem as problem:
        return errors.refusal(request, problem)
    if request.method == "POST" and request.POST.get("nothing"):
        return _report_nothing(request, link, times)
    if time is None and len(times) > 1:
        return _choice(request, link, times)
    held = next((each for each in times if time in (None, each.pk)), None)
    if held is None:
        return errors.refusal(request, NotFound("link", link[:20]))
    if request.method != "POST":
        return _form(request, held)
    try:
        used, levels = use_of(request.POST, held.kit)
        remarks = remarks_of(request.POST, held.kit)
        wrong = read_field(ShortText(), request.POST, "wrong")
        with database_problems():
            report = use_requests.answer(held, used, levels=levels, wrong=wrong, remarks=remarks)
    except Problem as problem:
        return _form(request, held, problem)
    left = [each for each in times if each != held]
    return _answered(request, link, kits=[held.kit], report=report, left=left)


def _report_nothing(request: HttpRequest, link: str, times: Sequence[Checkout]) -> HttpResponse:
    """Nothing was used from the kits that the page listed."""
    listed = set(request.POST.getlist("time"))
    done = [each for each in times if str(each.pk) in listed]
    try:
        with database_problems():
            for held in done:
                use_requests.answer(held, [])
    except Problem as problem:
        return _choice(request, link, times, problem)
    left = [each for each in times if each not in done]
    return _answered(request, link, kits=[each.kit for each in done], left=left)


def _choice(
    request: HttpRequest, link: str, times: Sequence[Checkout], problem: Problem | None = None
) -> HttpResponse:
    return show(
        request, "site/custody/use_requests/kits.html", problem=problem, times=times, link=link
    )


def _form(request: HttpRequest, held: Checkout, problem: Problem | None = None) -> HttpResponse:
    return show(
        request,
        "site/custody/use_requests/kit.html",
        problem=problem,
        held=held,
        kit=held.kit,
        sent=request.POST,
        **use_fields(request.POST, suggest(held.kit)),
        **remark_fields(request.POST, held.kit),
    )


def _answered(
    request: HttpRequest, link: str, problem: Problem | None = None, **facts: Any
) -> HttpResponse:
    return show(
        request, "site/custody/use_requests/answered.html", problem=problem, link=link, **facts
    )


# -------------------------------------------------------------------------------- clearances
_MOST_CLEARANCES = 100
_ANSWER = YesOrNo(message=gettext_lazy("Answer yes or no: did you approve taking this kit?"))


def answer_by_link(request: HttpRequest, link: str) -> HttpResponse:
    """What somebody says of a clearance by the link that they were sent."""
    try:
        clearance = clearances.by_link(link)
        if request.method != "POST":
            return _clearance_page(request, clearance)
        clearances.answer_by_link(clearance, confirmed=read_field(_ANSWER, request.POST, "answer"))
    except AlreadyAnswered as problem:
        return _clearance_page(request, clearance, problem)
    except Problem as problem:
        return errors.refusal(request, problem)
    return redirect(request.path)


def _clearance_page(
    request: HttpRequest, clearance: Clearance, problem: Problem | None = None
) -> HttpResponse:
    facts = {**_clearance_facts(clearance), "kit": clearance.checkout.kit}
    return show(request, "site/custody/clearances/clearance.html", problem=problem, **facts)


def _list_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    if problem is not None:
        raise problem
    who = actor(request)
    rows = [
        {**_clearance_facts(clearance), "own": clearances.answers_for(clearance) == who.person}
        for clearance in clearances.visible_to(who)[:_MOST_CLEARANCES]
    ]
    return show(request, "site/custody/clearances/clearances.html", rows=rows)


@form_view("look", "clearances", page_of=_list_page)
def list_clearances(act: Act, request: HttpRequest) -> Done:
    """One's own clearances and those of one's rooms, the newest first; one's own are answered
    here."""
    clearance = clearances.get(act.actor, id_of(request.POST.get("clearance", "")) or 0)
    confirmed = read_field(_ANSWER, request.POST, "answer")
    clearances.answer(act, clearance, confirmed=confirmed)
    sentence = (
        _("Recorded: you approved taking %(kit)s.")
        if confirmed
        else _("Recorded: you did not approve taking %(kit)s. Its keepers will be notified.")
    )
    return Done(sentence % {"kit": clearance.checkout.kit.name})


def _clearance_facts(clearance: Clearance) -> dict[str, Any]:
    answer = getattr(clearance, "answer", None)
    return {
        "clearance": clearance,
        "reasons": lacks(clearance.reasons),
        "answer": answer,
        "open": answer is None,
    }
