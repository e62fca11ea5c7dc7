"""The addresses of kit lists, trips and stripping."""

from django.urls import URLPattern, path

from gearroom.site.web.custody import due_times
from gearroom.site.web.lists import draft_editing, packing_lists
from gearroom.site.web.restocking import emptying, stripping
from gearroom.site.web.trips import trips

_VERSION = "lists/<int:id>/<int:number>/"

urlpatterns: list[URLPattern] = [
    path("lists/", packing_lists.every, name="lists"),
    path("lists/<int:id>/", packing_lists.one, name="list"),
    path(_VERSION, packing_lists.version, name="list-version"),
    path(f"{_VERSION}new-draft/", packing_lists.new_draft, name="list-new-draft"),
    path(f"{_VERSION}publish/", packing_lists.publish, name="list-publish"),
    path(f"{_VERSION}sign/", packing_lists.sign, name="list-sign"),
    path(f"{_VERSION}compare/", packing_lists.compare, name="list-compare"),
    path(f"{_VERSION}effect/", packing_lists.effect, name="list-effect"),
    path(f"{_VERSION}follow/", packing_lists.follow, name="list-follow"),
    path(f"{_VERSION}edit/", draft_editing.edit, name="list-edit"),
    path(f"{_VERSION}sections/<slug:key>/", draft_editing.section, name="list-section"),
    path(f"{_VERSION}sections/<slug:key>/instead/", draft_editing.instead, name="list-instead"),
    path("trips/", trips.every, name="trips"),
    path("trips/calendar/", trips.month, name="trips-month"),
    path("trips/add/", trips.add, name="trip-add"),
    path("trips/<int:trip>/", trips.one, name="trip"),
    path("trips/<int:trip>/reserve/", trips.reserve, name="trip-reserve"),
    path("trips/<int:trip>/release/", trips.release, name="trip-release"),
    path("trips/<int:trip>/edit/", trips.edit, name="trip-edit"),
    path("trips/<int:trip>/extend/", due_times.extend, name="trip-extend"),
    path("strip/", stripping.start, name="strip"),
    path("kits/<str:kit>/strip/", stripping.strip, name="strip-kit"),
    path("kits/<str:kit>/empty/", emptying.empty, name="empty-kit"),
    path("kits/<str:kit>/strip/new/", stripping.new_thing, name="strip-new"),
]
