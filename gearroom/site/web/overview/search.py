"""Search everywhere: what fits, by group; what is named exactly is opened at once."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gearroom.site.web.page import actor, read_page, show
from gearroom.site.web.page.help import topics_named
from kits.rules.lookup.ranking import Query
from kits.services.overview import search as searching
from kits.services.overview.search import LONGEST, Group, Hit, Hits

_GROUPS: dict[Group, tuple[str | Promise, str, str]] = {
    Group.KITS: (_("Kits"), "kit", "kits"),
    Group.ITEMS: (_("Items"), "thing", "stock"),
    Group.BATCHES: (_("Batches"), "thing", ""),
    Group.PEOPLE: (_("People"), "person", ""),
    Group.TRIPS: (_("Trips"), "trip", ""),
    Group.LISTS: (_("Kit lists"), "list", ""),
}
"""What each group is called, the page of one of it, and the page that can be narrowed to all."""


@read_page()
def search(request: HttpRequest) -> HttpResponse:
    """What fits the text typed, or the page of what it names."""
    typed = " ".join(request.GET.get("q", "").split())[:LONGEST]
    who, query = actor(request), Query.of(typed)
    if (labelled := searching.labelled(who, typed)) is not None:
        return redirect(_address(labelled))
    found = searching.search(who, typed)
    if "all" not in request.GET and (named := searching.only_one_named(found)) is not None:
        return redirect(_address(named))
    return show(
        request,
        "site/overview/search.html",
        typed=typed,
        too_short=bool(typed) and query.too_short,
        groups=[_shown(hits, typed) for hits in found],
        topics=[] if query.too_short else topics_named(query),
        longest=LONGEST,
    )


def _address(hit: Hit) -> str:
    if hit.group is Group.BATCHES and len(hit.ref) > 1:
        return reverse("stock-at", args=hit.ref)
    return reverse(_GROUPS[hit.group][1], args=hit.ref)


def _shown(hits: Hits, typed: str) -> dict[str, Any]:
    title, _page, whole = _GROUPS[hits.group]
    return {
        "title": title,
        "rows": [(hit, _address(hit)) for hit in hits.best],
        "more": hits.total - len(hits.best),
        "all": reverse(whole, query={"search": typed}) if whole else "",
    }
