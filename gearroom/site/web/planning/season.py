"""A season on one page, for whoever pays, to read and to print."""

from django.http import HttpRequest, HttpResponse

from gearroom.site.web.labelling.papers import as_pdf
from gearroom.site.web.page.shell import actor, read_page, show
from kits.services.planning import season_page as service, season_text
from kits.services.text.planning.planning_texts import CAUTION
from labels.services.paper import calendars


@read_page()
def season(request: HttpRequest) -> HttpResponse:
    """The page of a season; with `?print=1` as PDF."""
    of = service.season_page(actor(request), request.GET.get("season", ""))
    facts = (season_text.title(of), season_text.as_of(of), season_text.parts(of))
    if request.GET.get("print"):
        return as_pdf(calendars.one_page(*facts), f"season-{service.key(of.season)}.pdf")
    title, as_of, parts = facts
    return show(
        request,
        "site/planning/season.html",
        title=title,
        as_of=as_of,
        parts=parts,
        choices=season_text.choices(of),
        chosen=service.key(of.season),
        caution=CAUTION,
    )
