"""A list drafted for a trip that somebody describes: what to carry and why, and what not."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.lists import not_carried
from gearroom.site.web.lists.packing_lists import address, kits_of_list
from gearroom.site.web.page import (
    FOREIGN,
    Done,
    PageForm,
    Several,
    ShortText,
    Tick,
    WholeNumber,
    actor,
    form_view,
    id_of,
    read_field,
    show,
    today_here,
    words,
)
from gearroom.site.web.page.forms import Number
from gearroom.site.web.planning import fits, shown_rates
from gearroom.site.web.planning.vocabulary import chosen_activity
from kits.models import Activity, PackingListVersion
from kits.services.lists import drafts, packing_lists
from kits.services.planning import drafted_lists, drafting
from kits.services.planning.drafting import Profile, Proposal
from kits.services.planning.records import rates
from kits.services.text.planning import draft_texts, planning_texts, rate_texts

MOST_HOURS = Decimal(999)


class ProfileForm(PageForm):
    """The trip that a list is drafted for. Where `trained` is empty, `nobody` says whether nobody
    is trained, or nobody has said."""

    people = WholeNumber(least=1, most=drafts.MOST_PEOPLE, label=gettext_lazy("People"))
    children = WholeNumber(
        most=drafts.MOST_PEOPLE, required=False, initial=0, label=gettext_lazy("Children")
    )
    days = WholeNumber(least=1, most=drafts.MOST_DAYS, label=gettext_lazy("Days"))
    activity = ShortText(40)
    season = ShortText(10)
    hours = Number(MOST_HOURS, required=False, label=gettext_lazy("Hours to a hospital or doctor"))
    hazard = Several()
    trained = Several()
    nobody = Tick()
    like = ShortText(20)


def _profile(sent: QueryDict) -> Profile:
    values = ProfileForm.read(sent)
    if values["season"] and values["season"] not in draft_texts.SEASONS:
        raise Invalid(str(FOREIGN), field="season")
    if values["nobody"] and values["trained"]:
        raise Invalid(
            _("Tick what somebody is trained for, or tick that nobody is trained, but not both."),
            field="trained",
        )
    return Profile(
        people=values["people"],
        days=values["days"],
        children=values["children"],
        activity=chosen_activity(values["activity"]),
        season=values["season"] or None,
        hours_to_care=values["hours"],
        hazards=values["hazard"],
        trained_for=frozenset(values["trained"]) if values["trained"] or values["nobody"] else None,
        like=_version(values["like"]) if values["like"] else None,
    )


def _version(text: str) -> PackingListVersion:
    """The version that a draft starts from. Raises Invalid."""
    of = PackingListVersion.objects.select_related("packing_list").defer("signed_page")
    found = of.filter(pk=id_of(text) or 0).first()
    if found is None:
        raise Invalid(_("Choose a kit list from the list."), field="like")
    return found


def versions_to_start_from() -> list[PackingListVersion]:
    """Of each list the newest published version, or the draft where there is no other."""
    found = []
    for each in packing_lists.all_lists():
        versions = list(each.versions.all())
        published = [version for version in versions if version.published_at]
        found.append((published or versions)[-1])
    return sorted(found, key=lambda version: version.packing_list.name.casefold())


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    sent = request.POST if request.method == "POST" else request.GET
    known, proposal = rates.records(), None
    if "draft" in sent:
        try:
            proposal = drafting.propose(_profile(sent), known)
        except Invalid as wrong:
            problem = problem or wrong
    likes = versions_to_start_from()
    return show(
        request,
        "site/lists/proposal/proposal.html",
        problem=problem,
        values=sent,
        filled_in="people" in sent and "draft" not in sent,
        hazards=words.HAZARDS.items(),
        chosen=sent.getlist("hazard"),
        activities=Activity.objects.filter(retired_on=None).order_by("name"),
        seasons=draft_texts.SEASONS.items(),
        trainable=drafting.trainable(),
        trained=sent.getlist("trained"),
        likes=[(version.pk, draft_texts.version(version)) for version in likes],
        caution=planning_texts.CAUTION,
        may_edit=actor(request).may("edit_list"),
        sent=[(name, value) for name in ProfileForm.base_fields for value in sent.getlist(name)],
        **(_facts(request, proposal, known) if proposal else {}),
    )


def _facts(request: HttpRequest, proposal: Proposal, known: rates.Records) -> Mapping[str, Any]:
    """What is proposed, as the page shows it."""
    profile = proposal.profile
    activity, like = profile.activity, profile.like
    kits = kits_of_list(actor(request), like.packing_list_id) if like else ()
    latest = like.packing_list.versions.latest("number") if like else None
    left_out = not_carried.shown_lines(proposal.not_carried, today_here(request))
    return {
        "proposal": proposal,
        "like": like,
        "like_name": draft_texts.version(like) if like else "",
        "such": planning_texts.such_a_trip(
            profile.people, profile.days, rate_texts.word(activity.name) if activity else ""
        ),
        "made_for": words.hazards(proposal.hazards),
        "sections": [
            (
                section,
                [
                    (
                        line,
                        [
                            shown_rates.shown(rate, activity.key if activity else "", known)
                            for rate in line.rates
                        ],
                    )
                    for line in section.lines
                ],
            )
            for section in proposal.sections
        ],
        "undecided": [each for each in left_out if each.line.key in proposal.undecided],
        "not_carried": [each for each in left_out if each.line.key not in proposal.undecided],
        "fit": fits.shown_draft(drafted_lists.as_draft(proposal), kits),
        "draft_there": latest if latest and latest.published_at is None else None,
        "draft_name": draft_texts.version(latest) if latest else "",
    }


@form_view("look", "list-draft", page_of=_page)
def draft(act: Act, request: HttpRequest) -> Done:
    """What to carry on a trip that somebody describes; one act makes it a draft."""
    sent = request.POST
    proposal = drafting.propose(_profile(sent))
    if "next" in sent:
        made = drafted_lists.make_version(act, proposal)
    else:
        name = read_field(ShortText(80), sent, "name")
        made = drafted_lists.make_list(act, proposal, name=name)
    return Done(draft_texts.made(made), to=address("list-edit", made))
