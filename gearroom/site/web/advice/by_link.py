"""What a link shows to whoever has it, without an account: eight questions, then the answer."""

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.utils.translation import get_language, gettext as _
from django.views.decorators.http import require_http_methods

from gearroom.core import clock
from gearroom.core.acts import Problem, TooOften, database_problems
from gearroom.core.services.accounts import attempts
from gearroom.site.web.page import errors
from gearroom.site.web.page.forms import Number, PageForm, Several, ShortText, WholeNumber
from gearroom.site.web.page.shell import show
from kits.models import Activity, Advice
from kits.rules.planning.advice import State
from kits.services.advice import document, links, register
from kits.services.advice.drafts import Answers
from kits.services.lists.drafts import MOST_DAYS, MOST_PEOPLE
from kits.services.text.planning import advice_texts
from kits.services.text.wording import HAZARDS


class AnswersForm(PageForm):
    """What is asked of a trip."""

    people = WholeNumber(least=1, most=MOST_PEOPLE, label=advice_texts.QUESTIONS["people"])
    children = WholeNumber(
        most=MOST_PEOPLE, required=False, initial=0, label=advice_texts.QUESTIONS["children"]
    )
    days = WholeNumber(least=1, most=MOST_DAYS, label=advice_texts.QUESTIONS["days"])
    season = ShortText(10)
    activity = ShortText(40)
    hazard = Several()
    hours = Number(links.MOST_HOURS, label=advice_texts.QUESTIONS["hours"])
    trained = Several()


@require_http_methods(["GET", "HEAD", "POST"])
def answer(request: HttpRequest, link: str) -> HttpResponse:
    """The questions, until the answer is sent; then the answer, and that it was withdrawn."""
    try:
        advice = links.by_link(link)
    except Problem as problem:
        return errors.refusal(request, problem)
    if request.method != "POST":
        return _page(request, advice)
    try:
        if wait := attempts.count("link", request.META.get("REMOTE_ADDR", "")):
            raise TooOften(
                "too-many-requests",
                _("Too many attempts. Wait %(seconds)d seconds, then try again.")
                % {"seconds": wait},
                retry_after=wait,
            )
        with database_problems():
            links.answer(advice, _read(request.POST))
    except Problem as problem:
        return _page(request, links.by_link(link), problem)
    return redirect(request.path)


def _read(sent: QueryDict) -> Answers:
    values = AnswersForm.read(sent)
    hours: Decimal = values["hours"]
    return Answers(
        people=values["people"],
        days=values["days"],
        children=values["children"],
        season=values["season"],
        activity=values["activity"],
        hazards=sorted(set(values["hazard"])),
        hours_to_care=f"{hours.normalize():f}",
        trained=sorted(set(values["trained"])),
    )


def _page(request: HttpRequest, advice: Advice, problem: Problem | None = None) -> HttpResponse:
    state = register.state_of(advice)
    if state is State.WITHDRAWN:
        return show(request, "site/advice/withdrawn.html", status=410, withdrawal=advice.withdrawal)
    copy = register.latest_copy(advice) if state is State.SENT else None
    if copy is not None:
        return show(
            request,
            "site/advice/answer.html",
            problem=problem,
            paper=document.page_of(copy.text, get_language()),
            over=copy.not_after < clock.today("UTC"),
        )
    return _questions(request, advice, problem)


def _questions(request: HttpRequest, advice: Advice, problem: Problem | None) -> HttpResponse:
    values: Any = _values(advice)
    chosen_hazards, chosen_trained = values.get("hazard", ()), values.get("trained", ())
    if problem:
        values = request.POST
        chosen_hazards = request.POST.getlist("hazard")
        chosen_trained = request.POST.getlist("trained")
    return show(
        request,
        "site/advice/questions.html",
        problem=problem,
        answered=advice.answers is not None,
        questions=advice_texts.QUESTIONS,
        values=values,
        most_people=MOST_PEOPLE,
        most_days=MOST_DAYS,
        seasons=advice_texts.SEASONS.items(),
        activities=Activity.objects.filter(retired_on=None).order_by("name"),
        hazards=HAZARDS.items(),
        chosen_hazards=chosen_hazards,
        needs=links.needs_with_training(),
        chosen_trained=chosen_trained,
        caution=advice_texts.CAUTION,
    )


def _values(advice: Advice) -> dict[str, Any]:
    """What was answered, as the form shows it."""
    kept = advice.answers or {"children": 0}
    return {
        **kept,
        "hazard": kept.get("hazards", ()),
        "hours": kept.get("hours_to_care", ""),
    }
