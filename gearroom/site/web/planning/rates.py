"""How often needs come up: all of them, and one with its statements and a form to state another."""

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page.form_acts import Done
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import Number, PageForm, ShortText, Tick
from gearroom.site.web.page.shell import actor, read_page, show
from gearroom.site.web.planning.vocabulary import chosen_activity, need_of
from kits.models import Activity, NeedGroup
from kits.rules.planning.records.rates import MOST_WEIGHT
from kits.rules.planning.records.studies import STUDIES, Study
from kits.services.planning.records import need_rates, priors, rates
from kits.services.planning.records.need_rates import NeedRow, Ours
from kits.services.text.planning import planning_texts as texts, rate_texts


@read_page()
def all_rates(request: HttpRequest) -> HttpResponse:
    """Every need in its group: what we recorded, what was stated, what plans take."""
    known = rates.records()
    chosen = Activity.objects.filter(key=request.GET.get("activity", "")).first()
    rows = [_short_row(each) for each in need_rates.rows(known, chosen)]
    return show(
        request,
        "site/planning/rates/rates.html",
        groups=[
            (rate_texts.group(group.value), of_group)
            for group in NeedGroup
            if (of_group := [row for row in rows if row["of"].need.group == group.value])
        ],
        activities=Activity.objects.filter(retired_on__isnull=True).order_by("name"),
        activity=chosen,
        studies=_studies(),
        may_state=actor(request).may("state_rate"),
        caution=texts.CAUTION,
    )


def _studies() -> list[tuple[Study, list[str]]]:
    """Each study with what it found, in words."""
    return [
        (each, [rate_texts.study_rate(what, rate) for what, rate in each.rates.items()])
        for each in STUDIES
    ]


def _short_row(of: NeedRow) -> dict[str, Any]:
    """A need's row of the table, whose headings say what its numbers are."""
    taken, use = of.taken, of.ours.use
    return {
        "of": of,
        "ours": rate_texts.uses_in_days(use.uses, use.days, at_least=use.at_least),
        "entered": rate_texts.entered(taken.stated),
        "taken": rate_texts.rate_and_range(
            taken.rate.mean * 1000, taken.interval[0] * 1000, taken.interval[1] * 1000
        )
        if taken.rate and taken.interval
        else "",
    }


def _row(of: NeedRow) -> dict[str, Any]:
    taken = of.taken
    return {
        "of": of,
        "ours": rate_texts.bears(of.ours.use),
        "prior": rate_texts.prior(taken.stated),
        "taken": rate_texts.between(
            taken.rate.mean * 1000, taken.interval[0] * 1000, taken.interval[1] * 1000
        )
        if taken.rate and taken.interval
        else "",
        "made_from": rate_texts.made_from(
            taken.known_trips, pooled=taken.pooled, stated=taken.prior is not None
        )
        if taken.rate
        else "",
        "activities": [_of_activity(each) for each in of.activities],
        "known": rate_texts.known_trips(of.ours.known, of.ours.trips) if of.ours.trips else "",
    }


def _of_activity(of: Ours) -> dict[str, Any]:
    return {"activity": of.activity, "says": rate_texts.bears(of.use)}


# ------------------------------------------------------------------------------------- one need
class StateForm(PageForm):
    """How often a need comes up, said by the adviser or by a study."""

    per_1000 = Number(
        most=priors.MOST_PER_1000,
        required=False,
        label=gettext_lazy("Uses per 1,000 participant-days"),
    )
    weight = Number(
        most=Decimal(MOST_WEIGHT), label=gettext_lazy("Recorded uses that this rate counts as")
    )
    activity = ShortText(40)
    study = ShortText(40)
    note = ShortText(300)
    blank = Tick()


def _need_page(request: HttpRequest, need: str, problem: Problem | None = None) -> HttpResponse:
    of, known = need_of(need), rates.records()
    activities = list(Activity.objects.order_by("name"))
    row = need_rates.row(known, of, None, activities)
    return show(
        request,
        "site/planning/rates/rate.html",
        problem=problem,
        need=of,
        row=_row(row),
        group=rate_texts.group(of.group),
        statements=[(each, rate_texts.prior(each)) for each in need_rates.statements(of)],
        activities=[each for each in activities if each.retired_on is None],
        studies=_studies(),
        items=[each.item for each in known.serves.get(of.pk, {}).values()],
        may_state=actor(request).may("state_rate"),
        values=request.POST or {"weight": "1"},
        caution=texts.CAUTION,
    )


@form_view("look", "rate", page_of=_need_page)
def one_need(act: Act, request: HttpRequest, need: str) -> Done:
    """State how often a need comes up; nobody's statement is lost, the latest counts."""
    of, values = need_of(need), StateForm.read(request.POST)
    if values["per_1000"] is None and not values.pop("blank"):
        raise Invalid(
            _("Enter how often this is needed, or tick “Leave it blank”."), field="per_1000"
        )
    values.pop("blank", None)
    activity = chosen_activity(values.pop("activity"))
    priors.state(act, of, activity, **values)
    return Done(_("The rate for “%(need)s” has been saved.") % {"need": of.name})
