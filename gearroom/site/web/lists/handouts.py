"""A version of a kit list as a handout to teach from: what is in each pouch and why, how it is
packed, and what is not carried."""

from django.http import HttpRequest, HttpResponse

from gearroom.site.web.lists import not_carried
from gearroom.site.web.lists.packing_lists import state_of
from gearroom.site.web.page import actor, read_page, show, today_here, words
from kits.services.kits import holds
from kits.services.lists import packing_lists
from kits.services.lookup import find
from kits.services.planning import vocabulary
from kits.services.text.planning.planning_texts import CAUTION


@read_page()
def handout(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """One version, to print and hand out."""
    today, of = today_here(request), packing_lists.version_of(id, number)
    newest = packing_lists.newest_published(of)
    sections = [(section, list(section.lines.all())) for section in of.sections.all()]
    trained = vocabulary.trained_for(line.item_id for _section, rows in sections for line in rows)
    who = actor(request)
    photos = holds.newest_packed(who, of.packing_list)
    return show(
        request,
        "site/lists/handout/handout.html",
        version=of,
        state=state_of(of, today, newest),
        hazards=words.hazards(of.hazards),
        sections=[
            (
                section,
                [(line, trained.get(line.item_id, ())) for line in rows],
                photos.get(section.key),
            )
            for section, rows in sections
        ],
        not_carried=not_carried.shown(of, today),
        kits=find.kits_of(who).active().filter(list_version=of).order_by("name"),
        caution=CAUTION,
    )
