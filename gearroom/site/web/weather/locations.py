"""The locations of a room: vans, boats, huts and homes where kits and shelves are, and what the
weather does there."""

from collections.abc import Collection, Iterator
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.dates import MONTHS, MONTHS_3
from django.utils.text import capfirst
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Problem
from gearroom.site.web.page import (
    Done,
    PageForm,
    Several,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    show,
)
from kits.models import Location
from kits.rules.ledger.weather import in_a_row
from kits.services.lookup import find
from kits.services.weather import locations as service
from kits.services.weather.locations import LocationFacts

_MONTHS = ("frost_months", "heat_months", "wet_months")
_LEGENDS = {
    "frost_months": gettext_lazy("Months with frost"),
    "heat_months": gettext_lazy("Months in which it gets hot"),
    "wet_months": gettext_lazy("Months in which it gets wet"),
}


class LocationForm(PageForm):
    """A location as its form sends it."""

    name = ShortText(200)
    frost_months = Several()
    heat_months = Several()
    wet_months = Several()
    coldest_c = WholeNumber(
        required=False, least=-90, most=40, label=gettext_lazy("Lowest temperature there (°C)")
    )
    hottest_c = WholeNumber(
        required=False, least=-20, most=120, label=gettext_lazy("Highest temperature there (°C)")
    )


def _facts(sent: QueryDict) -> LocationFacts:
    values = LocationForm.read(sent)
    months: dict[str, Any] = {
        name: [int(text) if text.isascii() and text.isdigit() else 0 for text in values[name]]
        for name in _MONTHS
    }
    return {**values, **months}  # type: ignore[typeddict-item]  # the form has the very fields


def _fields(kept: Location | None, sent: QueryDict | None) -> dict[str, Any]:
    """What the form of a location holds: as it was sent, else as it is kept."""

    def chosen(name: str) -> Collection[str]:
        if sent is not None:
            return sent.getlist(name)
        return [str(month) for month in getattr(kept, name)] if kept else ()

    def text(name: str) -> str:
        if sent is not None:
            return sent.get(name, "")
        value = getattr(kept, name) if kept else None
        return "" if value is None else str(value)

    return {
        "of": kept,
        "name": text("name"),
        "coldest_c": text("coldest_c"),
        "hottest_c": text("hottest_c"),
        "seasons": [(name, _LEGENDS[name], list(_month_boxes(chosen(name)))) for name in _MONTHS],
        "weather": list(_weather(kept)) if kept else (),
    }


def _month_boxes(chosen: Collection[str]) -> Iterator[tuple[int, str, str, bool]]:
    for number, name in MONTHS.items():
        yield number, str(name), _short(number), str(number) in chosen


def _weather(of: Location) -> Iterator[str]:
    """What the weather does at a location, a line each."""
    for months, degrees, text in (
        (of.frost_months, of.coldest_c, _("Frost: %(months)s")),
        (of.heat_months, of.hottest_c, _("Heat: %(months)s")),
        (of.wet_months, None, _("Wet: %(months)s")),
    ):
        if months:
            line = text % {"months": ", ".join(_short(month) for month in in_a_row(months))}
            yield (
                line
                if degrees is None
                else f"{line}; {degrees}\N{NO-BREAK SPACE}°C".replace("-", "\N{MINUS SIGN}")
            )


def _short(month: int) -> str:
    return capfirst(str(MONTHS_3[month]))


def _page(request: HttpRequest, room: str, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of = find.room(who, room)
    sent = request.POST if problem else None
    about = request.POST.get("location", "") if problem else ""
    rows = find.locations_of(who).filter(room=of).prefetch_related("kits", "shelves")
    return show(
        request,
        "site/weather/locations.html",
        problem=problem,
        room=of,
        may_edit=who.may("edit_shelf", of.pk),
        rows=[
            {
                **_fields(each, sent if about == str(each.pk) else None),
                "kits": [kit for kit in each.kits.all() if kit.retired_on is None],
                "shelves": [shelf for shelf in each.shelves.all() if shelf.closed_on is None],
            }
            for each in rows
        ],
        new=_fields(None, None if about else sent),
    )


@form_view("look", page_of=_page)
def locations(act: Act, request: HttpRequest, room: str) -> Done:
    """The locations of a room; a new one."""
    added = service.add_location(act, find.room(act.actor, room), **_facts(request.POST))
    says = _("%(location)s has been added. Choose it in the settings of kits that are kept there.")
    return Done(says % {"location": added.name}, to=reverse("locations", args=[room]))


def _refused(request: HttpRequest, location: int, problem: Problem) -> HttpResponse:
    return _page(request, find.location(actor(request), location).room.slug, problem)


@form_view("edit_shelf", refused=_refused)
def location(act: Act, request: HttpRequest, location: int) -> Done:
    """Change a location, or use it no longer."""
    of = find.location(act.actor, location)
    if request.POST.get("do") == "close":
        of = service.close_location(act, of)
        says = _("%(location)s is no longer used.")
    else:
        of = service.edit_location(act, of, **_facts(request.POST))
        says = _("%(location)s has been saved.")
    return Done(says % {"location": of.name}, to=reverse("locations", args=[of.room.slug]))
